"""Which stuck-at faults a run reveals on the outputs, and when; and those that no run could reveal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..netlist import Netlist
from ..state import PowerUp
from .faults import Fault, FaultLines, Net, Site
from .variants import Lanes

LANES = 512  # the sound design, and faults
ROWS = 1 << 11  # updates that are compared at a time
NEVER = -1


def first_revealed(
    netlist: Netlist,
    faults: Sequence[Fault],
    columns: Mapping[str, NDArray[Any]],
    settled: Mapping[str, NDArray[np.uint64]],
    power_ups: Sequence[PowerUp] = (0, 1),
) -> NDArray[np.int64]:
    """For each fault the update at which it has made a settled output bit differ from every one of these power-ups.

    `columns` hold the inputs of each update; `settled` holds for each output that is looked at, of up to 64 bits, a
    mask for each update. NEVER for a fault that the run does not reveal.
    """
    count = len(next(iter(columns.values())))
    found = np.full(len(faults), NEVER, np.int64)
    for begin in range(0, len(faults), LANES - 1):
        part = list(faults[begin : begin + LANES - 1])
        late = np.zeros(len(part), np.int64)
        for power_up in power_ups:
            first = np.full(len(part), NEVER, np.int64)
            lanes = Lanes(netlist, LANES, power_up, faults=[None, *part])
            for row in range(0, count, ROWS):
                rows = slice(row, row + ROWS)
                differs = _differing(lanes, {name: column[rows] for name, column in columns.items()},
                                     {name: mask[rows] for name, mask in settled.items()})  # fmt: skip
                new = (first == NEVER) & differs[: len(part)].any(axis=1)
                first[new] = row + differs[: len(part)][new].argmax(axis=1)
                if (first != NEVER).all():
                    break
            late = np.where((late == NEVER) | (first == NEVER), NEVER, np.maximum(late, first))
        found[begin : begin + len(part)] = late
    return found


def _differing(
    lanes: Lanes, columns: Mapping[str, NDArray[Any]], settled: Mapping[str, NDArray[np.uint64]]
) -> NDArray[np.bool_]:
    """Faults x updates: where a settled bit is another than that of lane 0. The lanes end after the updates."""
    before = lanes.save() if len(settled) > 1 else []
    differs: NDArray[np.bool_] | None = None
    for number, (name, mask) in enumerate(settled.items()):
        if number:
            lanes.load(before)
        shown = np.asarray(lanes.run_samples(columns, name)).astype(np.uint64)
        here = ((shown[1:] ^ shown[0]) & mask) != 0
        differs = here if differs is None else differs | here
    assert differs is not None
    return differs


def hopeless(netlist: Netlist, faults: Sequence[Fault]) -> list[bool]:
    """Whether a fault lies where nothing leads to an output: no run could reveal it."""
    lines = FaultLines(netlist)
    made: dict[int, Net] = {number: (cell.output, 0) for number, cell in enumerate(netlist.cells)}
    held: dict[int, Net] = {number: (r.output, 0) for number, r in enumerate(netlist.registers)}

    def behind(site: Site) -> Net | None:
        """What a line at a reader leads to; None for an output."""
        if site.place == "output":
            return None
        return made[site.number] if site.place == "gate" else held[site.number]

    sources: dict[Net | None, list[Net]] = {}
    for net, sites in lines.readers.items():
        for site in sites:
            sources.setdefault(behind(site), []).append(net)
    seen: set[Net | None] = {None}
    waiting: list[Net | None] = [None]
    while waiting:
        for net in sources.get(waiting.pop(), ()):
            if net not in seen:
                seen.add(net)
                waiting.append(net)
    return [
        ((f.site.number, f.site.bit) if f.site.place == "driver" else behind(f.site)) not in seen
        for f in faults
    ]
