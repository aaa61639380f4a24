"""Which line holds a design still: of designs of the catalogue whose datasheet says so."""

from __future__ import annotations

import pytest
from forelight.designs.catalogue import load_design
from forelight.harness.bench.course import seated
from forelight.harness.bench.holding import holders
from forelight.harness.boards.reader import load_board


@pytest.mark.parametrize(
    ("name", "inputs", "held"),
    [
        ("tide_gauge", 0b0000_0001, (0,)),  # i0: hold
        ("tide_gauge", 0, ()),
        ("free_counter", 0b1, (0,)),
        ("free_counter", 0, ()),
        ("watch_vote", 0, ()),
        ("lighthouse", 0x40, ()),  # dark for seconds, but it goes on by itself
    ],
)
def test_what_holds_it(name: str, inputs: int, held: tuple[int, ...]) -> None:
    sheet = load_design(name)
    sim = seated(load_board("quay"), sheet).simulation
    step = None if sheet.step is None else int(sheet.step.line[1:])
    sim.power_cycle()
    for level in (0x40, 0xC0, 0x40, 0, inputs):  # a restart, with one step in it
        sim.set("inputs", level)
        sim.settle()
    state = sim.snapshot()
    assert holders(sim, state, inputs, step, range(6)) == held
    assert sim.snapshot() == state
