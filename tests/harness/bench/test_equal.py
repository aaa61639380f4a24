"""The chip, tick by tick, and the bench, frame by frame, are equal on random procedures (DEVELOPERS.md, Time)."""

from __future__ import annotations

import random
from collections import Counter

import pytest
from forelight.designs.procedures.procedure import Procedure, parse
from forelight.harness.bench.bench import run
from forelight.harness.hand.timeline import timeline

from tests.sizes import WHOLE, sized

from .rig import STAGES, Rig, Setup, chip_on_amaranth, chip_on_engine, compare
from .setups import SETUPS, chain, quay, setup, sheet
from .walk import Walk

SEED = 20_26
CONTACTS = {"amaranth, debounced and pulled": 0b1111_0011, "direct, step clock on i7": 0b1111_1011}


class Pair:
    """Chip and bench of one setup, side by side."""

    def __init__(self, made: Setup, *, contacts: int = 0xFF, under_amaranth: bool = False) -> None:
        self.made = made
        self.rig = Rig(made, contacts, STAGES if under_amaranth else 0)
        self.chip = chip_on_amaranth(self.rig) if under_amaranth else chip_on_engine(self.rig)

    def compare(self, slot: int, procedure: Procedure) -> Counter[str]:
        sheet = self.made.sheets[slot]
        plan = timeline(self.made.board, sheet, procedure, slot=slot, contacts=self.rig.contacts)
        shown = run(plan, self.made.seats, slot, lambda: ["init"])
        return compare(self.rig, plan, self.chip(plan), shown, slot)

    def walks(self, name: str, count: int, frames: int) -> Counter[str]:
        """Compare on so many random procedures of about so many frames; prints and returns what was compared."""
        total: Counter[str] = Counter()
        for number in range(count):
            rng = random.Random(f"{SEED}/{name}/{number}")
            slot = rng.choice(sorted(self.made.sheets))
            walk = Walk(self.made, slot, rng)
            total += self.compare(slot, walk.procedure(frames)) + walk.drawn
        print(f"{name}: seed {SEED}, {count} procedures, {dict(sorted(total.items()))}")
        return total


@pytest.mark.parametrize("name", SETUPS)
def test_chip_and_bench_are_equal_on_the_engine(name: str) -> None:
    pair = Pair(SETUPS[name](), contacts=CONTACTS.get(name, 0xFF))
    total = pair.walks(name, sized(5, 22), 480)
    assert total["frames"] >= sized(2_000, 10_000)
    assert total["changes of the pins"] >= sized(50, 300)
    assert total["steps counted"] >= sized(50, 300)
    assert total["drive"] >= sized(1, 3)
    if WHOLE:
        assert total["let go"] >= 3
    assert len(total) >= sized(10, 15)


#: On the engine each of these is tried as well; a step clock on i3 is slow under the simulator of Amaranth.
UNDER_AMARANTH = [name for name in SETUPS if name.startswith("amaranth") and ("i3" not in name or WHOLE)]


@pytest.mark.parametrize("name", UNDER_AMARANTH)
def test_chip_and_bench_are_equal_under_amaranth(name: str) -> None:
    pair = Pair(SETUPS[name](), contacts=CONTACTS.get(name, 0xFF), under_amaranth=True)
    total = pair.walks(name, sized(1, 4), 130)
    assert total["frames"] >= sized(50, 400)
    assert total["changes of the pins"] >= sized(1, 20)


@pytest.mark.slow
def test_quay_with_all_its_positions_on_the_engine() -> None:
    total = Pair(quay(3, 17, 66, 88, 101, 137, 175)).walks("quay", sized(3, 6), 60)
    assert total["frames"] >= sized(100, 200)
    assert total["changes of the pins"] >= 10


@pytest.mark.slow
def test_192_positions_under_amaranth() -> None:
    made = setup(
        chain(192, 1), slot_0=sheet("tally", "i7", "i6"), slot_95="lighthouse", slot_191="tide_gauge"
    )
    visits = [
        "strap 0",
        "restart 1",
        "steps 2",
        "select 95",
        "set i3=1 i6=1",
        "select 191",
        "steps 3",
        "select 0",
    ]
    total = Pair(made, under_amaranth=True).compare(0, Procedure("visits", parse(visits)))
    print(dict(total))
    assert total["changes of the pins"] >= 6
