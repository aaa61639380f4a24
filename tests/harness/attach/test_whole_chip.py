"""A serial memory at the pins of the whole chip, tick by tick, against the bench that runs it row by row."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from amaranth.hdl import Cat, Const, Module, Value
from forelight.harness.attach.memory import SerialMemory
from forelight.harness.bench.bench import run
from forelight.harness.bench.course import seated
from forelight.harness.bench.powerups import sampled_power_ups
from forelight.harness.boards.profile import Board
from forelight.harness.hand.timeline import timeline

from tests.harness.bench.rig import Rig, Setup, by_frame, chip_on_engine
from tests.harness.bench.setups import chain

from .test_answering import DATA, procedure, reader


class WithMemory(Rig):
    """The chip with the memory wired to its pins: it sees the output pins, and drives i0 as a hand would."""

    def __init__(self, setup: Setup) -> None:
        super().__init__(setup, 0xFF)
        self.memory = SerialMemory(DATA)

    def elaborate(self, platform: object) -> Module:
        m = super().elaborate(platform)
        m.submodules.memory = self.memory
        m.d.comb += Cat(self.memory.cs, self.memory.sck, self.memory.si).eq(self.seen[:3])
        return m

    def _moved(self) -> Iterator[Value]:
        driven, outside = (Cat(bit, Const(0, 7)) for bit in (self.memory.driving, self.memory.so))
        for name, value in zip(self.fields, super()._moved(), strict=True):
            yield {"driven": driven, "outside": outside}.get(name, value)


@pytest.mark.parametrize("code", [0, 1, 2, 5])
def test_chip_and_bench_are_equal(tmp_path: Path, code: int) -> None:
    sheet = reader(tmp_path)
    board: Board = chain(4, 2)
    plan = timeline(board, sheet, procedure(code), slot=2)
    rig = WithMemory(Setup(board, {2: sheet}, {}))
    chip = chip_on_engine(rig)(plan)[:, -1]
    shown = run(plan, {2: seated(board, sheet)}, 2, lambda: sampled_power_ups(8, 1))
    row = np.searchsorted(shown.frames, np.arange(plan.end), side="right") - 1
    settled = (shown.proved | shown.sampled)[row]
    pins = (chip & np.uint64(0xFF)).astype(np.uint8)
    assert np.array_equal(pins & settled, by_frame(shown, plan) & settled)
    inputs = (chip >> np.uint64(8) & np.uint64(0xFF)).astype(np.uint8)
    if code:
        assert np.array_equal(inputs, shown.inputs[row])
        assert (settled[-200:] == 0xFF).all()
        assert np.count_nonzero(np.diff(inputs & 1)) > 20
