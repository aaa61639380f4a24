"""A contribution's source, in any of its forms, to a netlist."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from forelight.sim import rtlil
from forelight.sim.errors import SourceError
from forelight.sim.netlist import Netlist

from .datasheet import DATASHEET_FILE, FORMATS
from .python_source import amaranth_rtlil, component
from .verilog import Define, verilog_rtlil

__all__ = ["amaranth_rtlil", "component", "read", "verilog_rtlil"]

_FILE_AND_TOP = re.compile(rf"(.+(?:{'|'.join(map(re.escape, FORMATS))})):([^/:]+)")

Source = str | Path | Sequence[str | Path]


def read(
    source: Source,
    *,
    top: str | None = None,
    include: Sequence[str | Path] = (),
    define: Define | None = None,
    sandbox: bool = False,
) -> Netlist:
    """The netlist of a source.

    `source` is a path to a `.v`, `.sv`, `.il` or `.py` file, or `FILE:TOP`; or a folder with a datasheet or with one
    source; or several Verilog files. `top` names the module or component class; without it the one that no other
    uses, or the only component class. `include` (folders) and `define` (macros) are for Verilog, which is read in
    a `sandbox` on request. Raises SourceError, or what the netlist reader raises.
    """
    if not isinstance(source, str | Path):
        paths = [Path(path) for path in source]
    else:
        path = Path(source)
        named = _FILE_AND_TOP.fullmatch(str(source))
        if named and not path.exists():
            path, top = Path(named[1]), top or named[2]
        if path.is_dir():
            return _read_folder(path, top, include, define, sandbox)
        paths = [path]
    formats = {_format(path) for path in paths}
    if formats == {"verilog"}:
        text = verilog_rtlil(paths, top=top, include=include, define=define, sandbox=sandbox)
        return rtlil.parse(text)
    if len(paths) != 1:
        raise SourceError(
            f"{len(paths)} files that are not all Verilog", remedy="name one, or Verilog files only"
        )
    if include or define:
        raise SourceError("include and define are for Verilog", place=str(paths[0]), remedy="leave them out")
    return _read_text(paths[0], top) if formats == {"netlist"} else _read_python(paths[0], top, sandbox)


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


def _read_text(path: Path, top: str | None) -> Netlist:
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeError) as error:
        raise SourceError(f"cannot be read: {error}", place=str(path)) from None
    return rtlil.parse(text, top=top, root=str(path.absolute().parent))


def _read_python(path: Path, top: str | None, sandbox: bool) -> Netlist:
    if sandbox:
        raise SourceError(
            "a Python source cannot be read in a sandbox",
            place=str(path),
            remedy="read it only if you trust it",
        )
    return rtlil.parse(amaranth_rtlil(component(path, top), path.absolute().parent))


def _read_folder(
    folder: Path, top: str | None, include: Sequence[str | Path], define: Define | None, sandbox: bool
) -> Netlist:
    """The sources that the datasheet names; without one, the only source."""
    if (folder / DATASHEET_FILE).is_file():
        from .datasheet import load

        sheet = load(folder)
        paths, top = [folder / name for name in sheet.sources], top or sheet.top
    else:
        paths = sorted(path for path in folder.iterdir() if path.suffix in FORMATS)
        if len(paths) != 1:
            names = ", ".join(path.name for path in paths) or "none"
            raise SourceError(
                f"there is no {DATASHEET_FILE}, and not one source but {names}",
                place=str(folder),
                remedy="name one file, or write a datasheet",
            )
    source = paths[0] if len(paths) == 1 else paths
    return read(source, top=top, include=include, define=define, sandbox=sandbox)
