"""Chooses, by measurement, the fastest code for a long run of a toggling clock with inputs at rest.

1. A short run is profiled: the values of the registers in each cycle.
2. Candidate control words are grown register by register, few values first, as long as the joint values stay
few and the
   next value can be foretold from the last ones: splitting on a bit that cannot costs a mispredicted jump a cycle.
3. Each candidate is compiled for the very levels of the inputs and timed, beside the code without a split.

Tuning runs in a thread of its own while the run goes on, and stops early when the program ends.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import replace
from time import perf_counter
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..frozen import frozen
from ..machine.code import Code, compile_text
from ..netlist import Const, Slice, Word
from .clock import Split, Toggle, clock
from .layout import aligned, element_bits
from .program import Program

#: Cycles that are profiled, and that a candidate is timed over.
PROFILED = 20_000
TIMED = 100_000
#: A control word gets at most so many copies of the body.
COPIES = 320
#: Copies times cells at most: compile time grows with it.
SIZE = 40_000
#: Of the profiled cycles, the share whose next control value may be a surprise.
SURPRISES = 0.02
#: Candidates that are compiled, and how often each is timed.
_TRIED, _TIMES = 5, 15
#: Cycles back that a branch predictor is taken to see.
_HISTORY = 4

Column = NDArray[np.uint64]


@frozen
class Variant:
    """One candidate: its split, its code, and cycles a second as measured."""

    split: Split
    code: Code
    rate: float


def surprises(values: NDArray[np.int64]) -> float:
    """The share of steps whose next value is not the usual one after the last few (`values` are small integers)."""
    context = values[:-1].copy()
    for back in range(1, _HISTORY):
        older = np.zeros_like(context)
        older[back:] = values[: -1 - back]
        context = np.unique(context * (int(values.max()) + 1) + older, return_inverse=True)[1].astype(
            np.int64
        )
    pairs, counts = np.unique(context * (int(values.max()) + 1) + values[1:], return_counts=True)
    best: NDArray[np.int64] = np.zeros(int(context.max()) + 1, np.int64)
    np.maximum.at(best, pairs // (int(values.max()) + 1), counts)
    return 1 - float(best.sum()) / len(context)


def splits(columns: Sequence[Column | None], cells: int) -> list[Split]:
    """Control words worth a trial, smaller first; `columns` hold each register's value a cycle, None where unknown."""
    most = min(COPIES, max(SIZE // max(cells, 1), 2))
    known = [
        (index, column)
        for index, column in enumerate(columns)
        if column is not None and len(column) > _HISTORY
    ]
    kinds = {index: _numbered(column) for index, column in known}
    order = sorted((int(ids.max()) + 1, index) for index, ids in kinds.items())
    chosen: list[int] = []
    waiting: list[int] = []  # registers that surprise on their own, but may not beside another
    joint = np.zeros(PROFILED, np.int64)
    found: list[Split] = []
    untried = [index for _, index in order]
    while untried:
        index = untried.pop(0)
        for added in ([*waiting, index], [index]):
            together = joint
            for one in added:
                together = _joined(together[: len(kinds[one])], kinds[one])
            if int(together.max()) < most and surprises(together) <= SURPRISES:
                break
        else:
            waiting.append(index)
            continue
        # A register that the others determine comes for nothing: it replaces the last candidate.
        if found and int(together.max()) == int(joint.max()):
            found.pop()
        joint = together
        chosen += added
        untried = [one for one in waiting if one not in added] + untried
        waiting = []
        found.append(_split(chosen, columns))
    return found


def _joined(a: NDArray[np.int64], b: NDArray[np.int64]) -> NDArray[np.int64]:
    """Small integers that number the pairs."""
    return _numbered(a * (int(b.max()) + 1) + b)


def _numbered(values: NDArray[Any]) -> NDArray[np.int64]:
    """Small integers in place of values, equal for equal."""
    numbers: NDArray[np.int64] = np.unique(values, return_inverse=True)[1].astype(np.int64)
    return numbers


def _split(registers: Sequence[int], columns: Sequence[Column | None]) -> Split:
    table = np.stack([column for index in registers if (column := columns[index]) is not None])
    values, places = np.unique(table, axis=1, return_inverse=True)
    places = places.reshape(-1).astype(np.int64)
    count = values.shape[1]
    pairs, times = np.unique(places[:-1] * count + places[1:], return_counts=True)
    follows: list[list[int]] = [[] for _ in range(count)]
    for pair in pairs[np.argsort(-times, kind="stable")].tolist():
        follows[pair // count].append(pair % count)
    return Split(
        tuple(registers), tuple(tuple(map(int, row)) for row in values.T), tuple(map(tuple, follows))
    )


def _spread(found: Sequence[Split], most: int) -> list[Split]:
    """At most so many candidates, the first and the last among them."""
    if len(found) <= most:
        return list(found)
    return [found[round(step * (len(found) - 1) / (most - 1))] for step in range(most)]


def profile(program: Program, toggle: Toggle, state: NDArray[np.uint8]) -> list[Column | None]:
    """The value of each register of at most 64 bits after each of `PROFILED` cycles from a state, which is kept."""
    before = state.copy()
    columns: list[Column | None] = [None] * len(program.netlist.registers)
    waiting = [(i, r.width) for i, r in enumerate(program.netlist.registers) if r.width <= 64]
    out = np.empty(PROFILED, np.uint64)
    while waiting:
        together, at = [], 0
        while waiting and at + waiting[0][1] <= 64:
            index, width = waiting.pop(0)
            together.append((index, at, width))
            at += width
        registers = [program.netlist.registers[index] for index, _, _ in together]
        # The spare bits make every such record 64 bits wide.
        observe = Word.of([*(Slice(r.output, 0, r.width) for r in registers), Const(0, 64 - at)])
        code = compile_text(clock(program, replace(toggle, observe=observe)), "clock", 1)
        state[:] = before
        code.call(state.ctypes.data, out.ctypes.data, PROFILED)
        for index, low, width in together:
            columns[index] = out >> np.uint64(low) & np.uint64((1 << width) - 1)
    state[:] = before
    return columns


def tune(program: Program, toggle: Toggle, image: bytes) -> list[Variant]:
    """All variants that were tried, fastest first, run from a copy of the state in `image` (at rest, clock low)."""
    state = aligned(len(image))
    state[:] = before = np.frombuffer(image, np.uint8)
    candidates = [Split()]
    if program.plan.settles_once and program.netlist.registers:
        columns = profile(program, toggle, state)
        candidates += _spread(splits(columns, len(program.netlist.cells)), _TRIED)
    out = np.empty(TIMED, f"u{element_bits(toggle.observe.width) // 8}")
    variants = []
    for split in candidates:
        if not threading.main_thread().is_alive():
            break
        code = compile_text(clock(program, toggle, split), "clock", 3)
        seconds = []
        for _ in range(_TIMES):
            state[:] = before
            start = perf_counter()
            code.call(state.ctypes.data, out.ctypes.data, TIMED)
            seconds.append(perf_counter() - start)
        variants.append(Variant(split, code, TIMED / min(seconds)))
    return sorted(variants, key=lambda variant: -variant.rate)
