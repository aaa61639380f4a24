"""The RTLIL text of a design in Verilog, in RTLIL, or in Python that runs apart, with the ports of its top module."""

from __future__ import annotations

from collections.abc import Mapping

from forelight.designs.datasheet import Datasheet
from forelight.designs.sources.python_apart import rtlil_apart
from forelight.designs.sources.trust import trust
from forelight.designs.sources.verilog import verilog_rtlil
from forelight.sim.errors import SourceError
from forelight.sim.frozen import frozen
from forelight.sim.rtlil.text import read_modules


@frozen
class ModuleText:
    """A module to instantiate: its RTLIL, and direction (`input`, `output`, `inout`) and width of each port."""

    name: str
    text: str
    ports: Mapping[str, tuple[str, int]]


def module_text(datasheet: Datasheet) -> ModuleText:
    """Read the sources that the datasheet names. Raises SourceError, or what the readers raise."""
    if datasheet.format == "verilog":
        text = verilog_rtlil(
            datasheet.sources, top=datasheet.top, folder=datasheet.folder, sandbox=trust().sandbox
        )
    elif datasheet.format == "amaranth":
        text = rtlil_apart(datasheet.folder / datasheet.sources[0], datasheet.top)
    else:
        text = _read(datasheet)
    modules = {module.name.removeprefix("\\"): module for module in read_modules(text)}
    tops = [name for name, module in modules.items() if module.top] or list(modules)
    name = datasheet.top or (tops[0] if len(tops) == 1 else "")
    if name not in modules:
        raise SourceError(
            f"there is no module {name}" if name else "which module is the top?",
            place=source_file(datasheet),
            remedy=f"the source holds {', '.join(modules) or 'none'}: name one in the datasheet's module",
        )
    ports = {wire.name.removeprefix("\\"): (wire.direction, wire.width) for wire in modules[name].ports()}
    return ModuleText(name, text, ports)


def source_file(datasheet: Datasheet) -> str:
    """The design's first source, for messages."""
    return str(datasheet.folder / datasheet.sources[0]) if datasheet.sources else datasheet.name


def _read(datasheet: Datasheet) -> str:
    path = datasheet.folder / datasheet.sources[0]
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeError) as error:
        raise SourceError(f"cannot be read: {error}", place=str(path), remedy="check the file") from None
