"""Functions of LLVM text as machine code, kept from run to run; what is kept needs no LLVM to run."""

from __future__ import annotations

import ctypes
import hashlib
from collections.abc import Callable
from functools import cache
from pathlib import Path

import llvmlite

from ..disk_cache import DiskCache, key
from ..frozen import frozen
from .blocks import longest_block
from .mapped import mapped

#: Compiled code, keyed by its LLVM text (which is the content and the engine in one), LLVM and processor.
CACHE = DiskCache(".code", 64 * 2**20)

#: Where Linux tells of the processors, and what tells kinds of them apart there.
PROCESSORS, _KIND = Path("/proc/cpuinfo"), ("vendor_id", "cpu family", "model", "stepping", "flags")
#: More bytes than what is told of one.
_ONE = 8192


class Code:
    """Machine code of one function that takes pointers and counts as 64-bit integers."""

    def __init__(self, address: int, arguments: int, keep: object) -> None:
        self.call = ctypes.CFUNCTYPE(None, *[ctypes.c_uint64] * arguments)(address)
        # The code lies at its address while `keep` lives: also for one who holds nothing but the function.
        self.call.keep = keep  # type: ignore[attr-defined]


@frozen
class Traits:
    """What is to be known of a text to find its machine code: its hash, the arguments of its function, and the machine
    words of its longest block.
    """

    digest: str
    arguments: int
    longest: int


def traits(text: str, function: str) -> Traits:
    """The same of a module's text and the function of that name in it."""
    arguments = text.split(f"@{function}(", 1)[1].split(")", 1)[0].count("%")
    return Traits(hashlib.sha256(text.encode()).hexdigest(), arguments, longest_block(text))


def compile_text(text: str, function: str, level: int = 3, *, passes: bool = True) -> Code:
    """Compile a module's text, or find it compiled on disk, and return its function of that name.

    Without `passes` the level is that of the code alone, and the text is taken as it is.
    """
    return machine_code(traits(text, function), lambda: text, function, level, passes=passes)


def machine_code(of: Traits, write: Callable[[], str], function: str, level: int, *, passes: bool) -> Code:
    """The same of a text that is written where it has not been compiled before."""
    entry = key((of.digest, f"{level} {passes}", *_maker()))
    image = CACHE.load(entry)
    if image is None:
        from . import jit

        image = jit.object_file(write(), level, passes=passes)
        CACHE.store(entry, image)
    found = mapped(image, function)
    if found is None:
        from . import jit

        found = jit.linked(image, function)
    return Code(found[0], of.arguments, found[1])


@cache
def _maker() -> tuple[str, ...]:
    """What else machine code depends on: LLVM, and the processor."""
    library = Path(llvmlite.__file__)
    return llvmlite.__version__, f"{library} {library.stat().st_mtime_ns}", processor()


def processor() -> str:
    """The kind of the first processor: as Linux tells it of those that it knows by their flags, else as LLVM does."""
    try:
        with PROCESSORS.open("rb", buffering=0) as file:
            lines = file.read(_ONE).decode().partition("\n\n")[0].splitlines()
    except (OSError, UnicodeError):
        lines = []
    found = [line for line in lines if line.partition("\t")[0].rstrip() in _KIND]
    if len(found) == len(_KIND):
        return "\n".join(found)
    from . import jit

    return jit.processor()
