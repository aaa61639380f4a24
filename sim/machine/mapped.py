"""Object files laid into memory and run from there, without the library that made them, which takes long to load.

Only what the compiler writes for x86-64 is known: ELF objects whose code and constants refer to each other by whole
addresses (System V ABI, "Object Files"; its AMD64 supplement, R_X86_64_64). Whatever else an object holds, such as data
that the code changes or names from outside, is left to a linker.
"""

from __future__ import annotations

import ctypes
import mmap
from struct import Struct, unpack_from

#: How an ELF object of 64-bit words, lowest byte first, begins; then, 16 bytes on: relocatable, for x86-64.
_BEGINS, _MACHINE = b"\x7fELF\x02\x01\x01", b"\x01\x00\x3e\x00"
_SECTION, _SYMBOL, _CHANGE, _ADDRESS = Struct("<IIQQQQIIQQ"), Struct("<IBBHQQ"), Struct("<QQq"), Struct("<Q")
#: Kinds of sections: content of its own, symbols, changes with addends, and what only exceptions need.
_CONTENT, _SYMBOLS, _CHANGES, _UNWINDING = 1, 2, 4, 0x70000001
#: Flags of sections: changed in a run, in memory in a run.
_WRITTEN, _LOADED = 1, 2
#: The kind of change that puts a whole address in place.
_WHOLE = 1


def mapped(image: bytes, function: str) -> tuple[int, object] | None:
    """The address of a function of an object file, and what keeps its code there; None if a linker is needed."""
    if not image.startswith(_BEGINS) or image[16:20] != _MACHINE:
        return None
    (table,), (count,) = _ADDRESS.unpack_from(image, 40), unpack_from("<H", image, 60)
    sections = list(_SECTION.iter_unpack(image[table : table + count * _SECTION.size]))
    laid: dict[int, int] = {}  # where each section lies in the memory
    code = bytearray()
    for number, (_, kind, flags, _, offset, size, _, _, align, _) in enumerate(sections):
        if flags & _LOADED and size and kind != _UNWINDING:
            if kind != _CONTENT or flags & _WRITTEN:
                return None
            code += bytes(-len(code) % align)
            laid[number] = len(code)
            code += image[offset : offset + size]
    memory = mmap.mmap(
        -1, len(code), mmap.MAP_PRIVATE | mmap.MAP_ANONYMOUS, prot=mmap.PROT_READ | mmap.PROT_WRITE
    )
    held = ctypes.c_char.from_buffer(memory)  # which keeps the memory where it is
    base = ctypes.addressof(held)
    found = None
    for _, kind, _, _, offset, size, link, changed, _, _ in sections:
        beside, entries = sections[link][4], image[offset : offset + size]
        if kind == _SYMBOLS:
            for name, _, _, home, value, _ in _SYMBOL.iter_unpack(entries):
                if home in laid and image.startswith(function.encode() + b"\0", beside + name):
                    found = base + laid[home] + value
        elif kind == _CHANGES and changed in laid:
            for where, what, addend in _CHANGE.iter_unpack(entries):
                _, _, _, home, value, _ = _SYMBOL.unpack_from(image, beside + (what >> 32) * _SYMBOL.size)
                if what & 0xFFFFFFFF != _WHOLE or home not in laid:
                    return None
                _ADDRESS.pack_into(code, laid[changed] + where, base + laid[home] + value + addend)
    memory.write(code)
    return (found, held) if found is not None and _closed(base, len(code)) else None


def _closed(base: int, size: int) -> bool:
    """Let memory be carried out from now on, and no longer be changed."""
    rights = mmap.PROT_READ | mmap.PROT_EXEC
    refused: int = ctypes.CDLL(None).mprotect(ctypes.c_void_p(base), ctypes.c_size_t(size), rights)
    return not refused
