"""A contribution's source, in any of its forms, to a netlist."""

from __future__ import annotations

import re
from collections.abc import Sequence
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

from forelight.sim.errors import ForelightError, SourceError
from forelight.sim.files import INPUTS

from ..catalogue import load_design, names
from ..datasheet import DATASHEET_FILE, FORMATS

if TYPE_CHECKING:
    from forelight.sim.netlist import Netlist

    from .python_source import amaranth_rtlil, component
    from .verilog import Define, verilog_rtlil

__all__ = ["amaranth_rtlil", "component", "read", "verilog_rtlil"]

_FILE_AND_TOP = re.compile(rf"(.+(?:{'|'.join(map(re.escape, FORMATS))})):([^/:]+)")


_HOMES = {"verilog_rtlil": ".verilog", "amaranth_rtlil": ".python_source", "component": ".python_source"}


def __getattr__(name: str) -> object:
    """The reader of each form on its first use: none needs the others' libraries."""
    if name in _HOMES:
        return getattr(import_module(_HOMES[name], __package__), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def read(
    source: str | Path | Sequence[str | Path],
    *,
    top: str | None = None,
    include: Sequence[str | Path] = (),
    define: Define | None = None,
    sandbox: bool = False,
) -> Netlist:
    """The netlist of a source.

    `source` is a path to a `.v`, `.sv`, `.il` or `.py` file, or `FILE:TOP`; or a folder with a datasheet or with one
    source; or several Verilog files; or the name of a design of the catalogue, which goes before a file of that name.
    `top` names the module or component class; without it the one that no other uses, or the only component class.
    `include` (folders) and `define` (macros) are for Verilog, which is read in a sandbox on request. Raises
    SourceError, or what the netlist reader raises.
    """
    if not isinstance(source, str | Path):
        return _read_files([Path(path) for path in source], top, include, define, sandbox)
    path = Path(source)
    if isinstance(source, str) and source in names():
        path = load_design(source).folder
    named = _FILE_AND_TOP.fullmatch(str(source))
    if named and not path.exists():
        path, top = Path(named[1]), top or named[2]
    if not path.is_dir():
        return _read_files([path], top, include, define, sandbox)
    if (path / DATASHEET_FILE).is_file():
        from ..sheets.reader import load

        sheet = load(path)
        files, top = [path / name for name in sheet.sources], top or sheet.top
    else:
        files = [_only_source(path)]
    return _read_files(files, top, include, define, sandbox)


def _only_source(folder: Path) -> Path:
    files = sorted(file for file in folder.iterdir() if file.suffix in FORMATS)
    if len(files) != 1:
        names = ", ".join(file.name for file in files) or "none"
        raise SourceError(
            f"there is no {DATASHEET_FILE}, and not one source but {names}",
            place=str(folder),
            remedy="name one file, or write a datasheet",
        )
    return files[0]


def _read_files(
    files: list[Path],
    top: str | None,
    include: Sequence[str | Path],
    define: Define | None,
    sandbox: bool,
) -> Netlist:
    formats = {_format(path) for path in files}
    if formats == {"verilog"}:
        from forelight.sim.rtlil.reader import parse

        from .verilog import verilog_rtlil

        return parse(verilog_rtlil(files, top=top, include=include, define=define, sandbox=sandbox))
    if len(files) != 1:
        names = ", ".join(map(str, files)) or "none"
        raise SourceError(f"several sources must all be Verilog, not {names}", remedy="name one")
    (path,) = files
    if include or define:
        raise SourceError("include and define are for Verilog", place=str(path), remedy="leave them out")
    return _read_rtlil(path, top) if formats == {"netlist"} else _read_python(path, top, sandbox)


def _format(path: Path) -> str:
    if not path.exists():
        raise SourceError("no such file", place=str(path), remedy="check the path")
    if path.suffix not in FORMATS:
        raise SourceError(
            f"the ending `{path.suffix}` is not that of a source",
            place=str(path),
            remedy=f"allowed: {', '.join(FORMATS)}, or a folder with a {DATASHEET_FILE}",
        )
    return FORMATS[path.suffix]


def _read_rtlil(path: Path, top: str | None) -> Netlist:
    from forelight.sim.rtlil.reader import parse

    try:
        text = path.read_text(encoding="utf-8")
        INPUTS.note(path)
    except (OSError, UnicodeError) as error:
        raise SourceError(f"cannot be read: {error}", place=str(path)) from None
    try:
        return parse(text, top=top, root=str(path.absolute().parent))
    except ForelightError as error:
        place = f"{path}, {error.place}" if error.place else str(path)
        raise type(error)(error.what, place=place, remedy=error.remedy) from None


def _read_python(path: Path, top: str | None, sandbox: bool) -> Netlist:
    from forelight.sim.rtlil.reader import parse

    from .python_apart import rtlil_apart
    from .python_source import amaranth_rtlil, component
    from .trust import runs_apart

    if sandbox:
        raise SourceError(
            "a Python source cannot be read in a sandbox",
            place=str(path),
            remedy="read it only if you trust it",
        )
    if runs_apart(path):
        return parse(rtlil_apart(path, top))
    return parse(amaranth_rtlil(component(path, top), path.absolute().parent))
