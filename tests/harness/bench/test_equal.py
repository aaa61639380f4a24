"""The chip, tick by tick, and the bench, frame by frame, are equal on random procedures (DEVELOPERS.md, Time)."""

from __future__ import annotations

import random
from collections import Counter

import pytest
from forelight.harness.bench.bench import run
from forelight.harness.bench.timeline import timeline

from .rig import STAGES, Rig, chip_on_amaranth, chip_on_engine, compare
from .setups import SETUPS
from .walk import Walk

SEED = 20_26
CONTACTS = {"amaranth, debounced and pulled": 0b1111_0011, "direct, step clock on i7": 0b1111_1011}


def walks(name: str, count: int, frames: int, stages: int = 0) -> tuple[Rig, Counter[str], int]:
    """Compare on so many procedures of about so many frames; what was drawn, and how many frames were compared."""
    made = SETUPS[name]()
    rig = Rig(made, CONTACTS.get(name, 0xFF), stages)
    chip = chip_on_amaranth(rig) if stages else chip_on_engine(rig)
    drawn: Counter[str] = Counter()
    total = 0
    for number in range(count):
        rng = random.Random(f"{SEED}/{name}/{number}")
        slot = rng.choice(sorted(made.sheets))
        walk = Walk(made, slot, rng)
        plan = timeline(
            made.board, made.sheets[slot], walk.procedure(frames), slot=slot, contacts=rig.contacts
        )
        compare(rig, plan, chip(plan), run(plan, made.seats, slot, lambda: ["init"]))
        drawn += walk.drawn
        total += plan.end
    return rig, drawn, total


@pytest.mark.parametrize("name", SETUPS)
def test_chip_and_bench_are_equal_on_the_engine(name: str) -> None:
    count = 22
    _, drawn, total = walks(name, count, 480)
    print(f"{name}: seed {SEED}, {count} procedures, {total} frames, {dict(sorted(drawn.items()))}")
    assert total >= 10_000
    assert len(drawn) >= 12


@pytest.mark.parametrize("name", [name for name in SETUPS if name.startswith("amaranth")])
def test_chip_and_bench_are_equal_under_amaranth(name: str) -> None:
    count = 4
    _, drawn, total = walks(name, count, 120, stages=STAGES)
    print(f"{name}: seed {SEED}, {count} procedures, {total} frames, {dict(sorted(drawn.items()))}")
    assert total >= 400
