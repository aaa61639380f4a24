"""The sluice keeper against an interpreter that knows its programs as texts, and against a pond."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

import numpy as np
import pytest
from amaranth.back import rtlil
from forelight.designs.breakwater.sluice_keeper.design import PROGRAM, SluiceKeeper
from forelight.sim import Simulation
from forelight.sim.rtlil.reader import parse

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tests.designs.breakwater.conftest import Drive

OPEN, OPENING, SHUTTING, SHUT = 1, 2, 4, 8
HIGH, LOW = 1, 2
VERBS = ("load", "add", "look", "show", "goto", "zero", "some")


def interpret(program: str, inputs: list[int]) -> Iterator[int]:
    """The outputs after each instruction, by what the verbs' comments in the design say."""
    lines = [line.split("#")[0].replace(":", ": ").split() for line in program.strip().split("\n")]
    place, number, shown = 0, 0, 0
    for levels in inputs:
        *_, verb, what = (
            lines[place] if place < len(lines) else ("load", "0")
        )  # beyond the program stand zeros
        following = (place + 1) % 32
        target = next((at for at, line in enumerate(lines) if line[0] == f"{what}:"), None)
        operand = int(what) if target is None else target
        if verb == "load":
            number = operand
        elif verb == "add":
            number = (number + operand) % 32
        elif verb == "look":
            number = levels & operand & 3
        elif verb == "show":
            shown = operand % 16
        elif verb == "goto" or (verb == "zero" and not number) or (verb == "some" and number):
            following = operand
        place = following
        yield shown


def test_its_own_program_on_changing_marks(drive: Drive) -> None:
    """Twenty thousand instructions, the marks anyhow."""
    seed = 11
    print("seed", seed)
    chance = random.Random(seed)
    marks = [chance.randrange(64) for _ in range(200) for _ in range(chance.randrange(1, 200))]
    design = drive("sluice_keeper")
    design.restart()
    assert design.follow(marks).tolist() == list(interpret(PROGRAM, marks))


@pytest.mark.parametrize("seed", range(12))
def test_any_program(seed: int) -> None:
    """Programs of random instructions, with and without labels, on random inputs: every verb, every operand."""
    print("seed", seed)
    chance = random.Random(seed)
    length = chance.randrange(1, 33)
    lines = []
    for number in range(length):
        verb = chance.choice(VERBS)
        jumps = verb in VERBS[4:] and chance.random() < 0.5
        operand = f"p{chance.randrange(length)}" if jumps else chance.randrange(32)
        lines.append(f"p{number}: {verb} {operand}")
    program = "\n".join(lines)
    simulation = Simulation(parse(rtlil.convert(SluiceKeeper(program))), power_up=0)
    simulation.set_many({"rst": 0, "clk": 0})
    simulation.settle()
    inputs = [chance.randrange(32) for _ in range(500)]
    outputs = []
    for levels in inputs:
        for clock in (0, 1):
            simulation.set_many({"inputs": levels, "clk": clock})
            simulation.settle()
        outputs.append(simulation.get("outputs"))
    assert outputs == list(interpret(program, inputs))


@pytest.mark.parametrize(("rain", "drain"), [(1, 3), (2, 5), (1, 10)])
def test_a_pond_stays_between_its_marks(drive: Drive, rain: int, drain: int) -> None:
    """Water in at every step and out while the gate is not shut; the marks are passed by a motor's run at most."""
    upper, lower, run = 2000, 1000, 70  # steps from a mark to the gate's rest: 62 of motor, and looking
    design = drive("sluice_keeper")
    design.restart()
    level, levels, gates = 500, [], []
    for _ in range(20_000):
        design.switch((HIGH if level >= upper else 0) | (LOW if level >= lower else 0))
        gate = int(design.steps(1)[0])
        level += rain - (0 if gate == SHUT else drain)
        levels.append(level)
        gates.append(gate)
    begun = levels.index(next(level for level in levels if level >= lower))
    assert lower - run * (drain - rain) <= min(levels[begun:])
    assert max(levels) <= upper + run * rain
    assert {upper, lower} <= set(range(min(levels), max(levels) + 1))
    order = [gate for gate, before in zip(gates[1:], gates, strict=False) if gate != before]
    assert order[:8] == [OPENING, OPEN, SHUTTING, SHUT] * 2
    assert set(np.unique(gates)) <= {OPEN, OPENING, SHUTTING, SHUT}
