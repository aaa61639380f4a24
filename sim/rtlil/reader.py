"""RTLIL text (as Amaranth and Yosys print it) to netlist, hierarchy linked and flattened."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import PurePath

from ..errors import RtlilError
from ..netlist import Netlist
from .link import Library, Linker
from .records import Module, public
from .text import read_modules


def parse(text: str, modules: Sequence[str] = (), top: str | None = None, root: str = "") -> Netlist:
    """The netlist of the module `top` of RTLIL `text`, flattened; further texts hold modules that it names.

    Without `top` it is the module that the text marks as top, else the only one that no other one uses.
    Source places are given relative to the folder `root` where they lie in it, else by their file name alone.
    Raises RtlilError for text that cannot be read, UnsupportedError for a construct that is refused,
    NetlistError for a design that contradicts itself.
    """
    library: Library = []
    clean = _cleaner(root)
    for part in (text, *modules):
        found: dict[str, Module] = {}
        for module in read_modules(part, clean):
            if module.name in found:
                raise RtlilError(
                    f"module {public(module.name)} is there twice", place=f"RTLIL line {module.line}"
                )
            found[module.name] = module
        library.append(found)
    warnings = [line for part in (text, *modules) for line in _warnings(part)]
    linker = Linker(library, _find_top(library[0], top), warnings)
    try:
        return linker.run()
    except (
        ValueError,
        KeyError,
        IndexError,
        OverflowError,
    ) as error:  # a constant or parameter that is damaged
        said = f"{linker.at} cannot be read: {error}"
        raise RtlilError(said, remedy="is this RTLIL text, and whole?") from None


def _warnings(text: str) -> Iterator[str]:
    """The warnings that whoever made the text has put at its head as comments."""
    for line in text.split("\n", 1000):
        if not line.startswith("# "):
            break
        if "Warning: " in line:
            yield line[2:]


def _find_top(modules: dict[str, Module], top: str | None) -> str:
    if not modules:
        raise RtlilError("the text holds no module", remedy="is this RTLIL text?")
    names = ", ".join(public(name) for name in modules)
    if top is not None:
        if f"\\{top}" not in modules:
            raise RtlilError(f"there is no module {top}", remedy=f"the text holds {names}")
        return f"\\{top}"
    used = {cell.kind for module in modules.values() for cell in module.cells}
    for candidates in (
        [m.name for m in modules.values() if m.top],
        [name for name in modules if name not in used],
    ):
        if len(candidates) == 1:
            return candidates[0]
    raise RtlilError("which module is the top?", remedy=f"name one of {names}")


def _cleaner(root: str) -> Callable[[str], str]:
    """Takes this machine's paths out of source places; of several places it keeps the first."""

    known: dict[str, str] = {}

    def short(path: str) -> str:
        place = PurePath(path)
        if root and place.is_relative_to(root):
            place = place.relative_to(root)
        return place.name if place.is_absolute() else place.as_posix()

    def clean(src: str) -> str:
        first = src.split("|", 1)[0]
        path, colon, line = first.rpartition(":")
        if not colon:
            return first
        if path not in known:
            known[path] = short(path)
        return f"{known[path]}:{line}"

    return clean
