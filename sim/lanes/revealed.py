"""Which stuck-at faults a run reveals on the outputs, and when."""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping, Sequence
from copy import copy
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..loops import LoopError
from ..netlist import Cell, Netlist, Word
from ..state import PowerUp
from .faults import Fault, Site
from .together import Together

LANES = 512  # the sound design, and faults
ROWS = 1 << 14  # updates that are compared at a time
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
    mask for each update. NEVER for a fault that the run does not reveal, or that makes a loop run free.
    """
    parts = list(batches(faults))
    found = [_first(netlist, part, columns, settled, power_ups) for part in parts]
    return np.concatenate(found) if found else np.zeros(0, np.int64)


def batches(faults: Sequence[Fault]) -> Iterator[Sequence[Fault]]:
    """As many faults as run side by side."""
    return (faults[begin : begin + LANES - 1] for begin in range(0, len(faults), LANES - 1))


def _first(
    netlist: Netlist,
    faults: Sequence[Fault],
    columns: Mapping[str, NDArray[Any]],
    settled: Mapping[str, NDArray[np.uint64]],
    power_ups: Sequence[PowerUp],
) -> NDArray[np.int64]:
    late = np.zeros(len(faults), np.int64)
    try:
        trial = FaultRun(netlist, faults)
        for power_up in power_ups:
            trial.power_cycle(power_up)
            first = trial.run(columns, settled)
            late = np.where((late == NEVER) | (first == NEVER), NEVER, np.maximum(late, first))
    except LoopError:  # one fault is enough to make a loop run free
        if len(faults) == 1:
            return np.full(1, NEVER, np.int64)
        half = len(faults) // 2
        halves = (
            _first(netlist, part, columns, settled, power_ups) for part in (faults[:half], faults[half:])
        )
        return np.concatenate(list(halves))
    return late


class FaultRun:
    """The sound design beside up to `LANES - 1` faults, run after run from where they stand."""

    def __init__(self, netlist: Netlist, faults: Sequence[Fault]) -> None:
        self.netlist, self.count = netlist, len(faults)
        looked_at, moved = _looked_at(netlist)
        lanes = [None, *(replace(fault, site=moved.get(fault.site, fault.site)) for fault in faults)]
        self._lanes = Together(looked_at, looked_at, LANES, (), lanes)

    def power_cycle(self, power_up: PowerUp) -> None:
        """All flip-flops anew, each lane alike."""
        self._lanes.wake_alike(copy(power_up) if isinstance(power_up, random.Random) else power_up)

    def save(self) -> bytes:
        return self._lanes.state.save()

    def load(self, state: bytes) -> None:
        """Go back to where `save` was asked."""
        self._lanes.resume(state)

    def run(
        self, columns: Mapping[str, NDArray[Any]], settled: Mapping[str, NDArray[np.uint64]]
    ) -> NDArray[np.int64]:
        """For each fault the first of these updates in which a settled bit is another than in the sound design."""
        count = len(next(iter(columns.values())))
        first = np.full(LANES, NEVER, np.int64)
        seen = np.zeros(LANES // 64, np.uint64)
        masks = {
            f"{name}{_SETTLED}": settled.get(name, np.zeros(count, np.uint64))
            for name in self.netlist.outputs
        }
        for row in range(0, count, ROWS):
            rows = slice(row, row + ROWS)
            differ = self._lanes.difference(
                {name: column[rows] for name, column in {**columns, **masks}.items()}
            )
            for at, new in _news(differ.view(np.uint64), seen):
                first[np.unpackbits(new.view(np.uint8), bitorder="little").astype(bool)] = row + at
        return first[1 : 1 + self.count]


def _news(differ: NDArray[np.uint64], seen: NDArray[np.uint64]) -> Iterator[tuple[int, NDArray[np.uint64]]]:
    """The rows in which bits are set for the first time, with those; `seen` takes them up."""
    at = 0
    while len(fresh := np.flatnonzero((differ[at:] & ~seen).any(axis=1))):
        at += int(fresh[0])
        new = differ[at] & ~seen
        seen |= new
        yield at, new


#: Behind the name of an output: the port that says which of its bits count.
_SETTLED = " settled"


def _looked_at(netlist: Netlist) -> tuple[Netlist, dict[Site, Site]]:
    """The netlist with gates before its outputs that hide bits, and where the outputs' own sites have come to be."""
    widths, cells, inputs = list(netlist.widths), list(netlist.cells), dict(netlist.inputs)
    outputs, moved = {}, {}
    for number, (name, word) in enumerate(netlist.outputs.items()):
        mask = inputs[f"{name}{_SETTLED}"] = len(widths)
        widths.append(word.width)
        shown = Word()
        for place, bit in enumerate(word.bits()):
            moved[Site("output", number, place)] = Site("gate", len(cells), 0)
            cells.append(Cell("$and", len(widths), (bit, Word.value(mask, word.width).bit(place))))
            shown += Word.value(len(widths), 1)
            widths.append(1)
        outputs[name] = shown
    return replace(
        netlist, widths=tuple(widths), cells=tuple(cells), inputs=inputs, outputs=outputs, names={}
    ), moved
