"""A loop comes to a stable state wherever it can get to one, and is called free-running only where it cannot.

The judge walks through every state of a small random loop: from what closes the loop at first, any of the gates
that close it may answer, alone or together, before the others do.
"""

from __future__ import annotations

import random
from itertools import product

import pytest
from forelight.sim import Simulation
from forelight.sim.loops import LoopError
from forelight.sim.netlist import Cell, Netlist, Slice, Word
from forelight.sim.reference import Reference
from forelight.sim.schedule import Schedule, schedule

from tests.sizes import sized

LINES = 2
KINDS = {"$and": 2, "$or": 2, "$xor": 2, "$xnor": 2, "$not": 1, "$mux": 3}

State = tuple[int, ...]


def tangle(rng: random.Random) -> Netlist:
    """Two to seven gates that read each other and two lines at random."""
    count = rng.randint(2, 7)

    def operand() -> Word:
        if rng.random() < 0.3:
            return Word.of([Slice(0, rng.randrange(LINES), 1)])
        return Word.value(rng.randint(1, count), 1)

    cells = []
    for output in range(1, count + 1):
        kind = rng.choice(list(KINDS))
        cells.append(Cell(kind, output, tuple(operand() for _ in range(KINDS[kind]))))
    shown = Word.of([Slice(value, 0, 1) for value in range(1, count + 1)])
    return Netlist("tangle", (LINES, *[1] * count), {"i": 0}, {"o": shown}, tuple(cells), (), (), {})


def answer(kind: str, operands: list[int]) -> int:
    if kind == "$mux":
        return operands[1] if operands[2] else operands[0]
    if kind == "$not":
        return 1 - operands[0]
    one, other = operands
    return {"$and": one & other, "$or": one | other, "$xor": one ^ other, "$xnor": 1 - (one ^ other)}[kind]


def swept(netlist: Netlist, plan: Schedule, lines: int, closing: State) -> dict[int, int]:
    """What every gate says, in the order of the schedule, from what closes the loop."""
    values = dict(zip(plan.cuts, closing, strict=True))

    def read(word: Word) -> int:
        (part,) = word.parts
        assert isinstance(part, Slice)
        return values[part.value] if part.value else lines >> part.low & 1

    for node in plan.order:
        cell = netlist.cells[node]
        values[cell.output] = answer(cell.kind, [read(word) for word in cell.operands])
    return values


def stable_in_reach(netlist: Netlist, plan: Schedule, lines: int) -> bool:
    work: list[State] = [(0,) * len(plan.cuts)]
    seen = set(work)
    for state in work:
        values = swept(netlist, plan, lines, state)
        after = tuple(values[value] for value in plan.cuts)
        if after == state:
            return True
        for following in product(*({old, new} for old, new in zip(state, after, strict=True))):
            if following not in seen:
                seen.add(following)
                work.append(following)
    return False


def chases(netlist: Netlist, plan: Schedule, lines: int) -> bool:
    """Whether sweeps in the order of the schedule, each from the end of the one before, never come to rest."""
    state: State = (0,) * len(plan.cuts)
    for _ in range(1 << len(plan.cuts)):
        values = swept(netlist, plan, lines, state)
        before, state = state, tuple(values[value] for value in plan.cuts)
        if before == state:
            return False
    return True


def is_stable(netlist: Netlist, lines: int, shown: int) -> bool:
    values = {value: shown >> value - 1 & 1 for value in range(1, len(netlist.widths))}

    def read(word: Word) -> int:
        (part,) = word.parts
        assert isinstance(part, Slice)
        return values[part.value] if part.value else lines >> part.low & 1

    return all(answer(c.kind, [read(word) for word in c.operands]) == values[c.output] for c in netlist.cells)


def one_loop(first: int) -> tuple[int, Netlist, Schedule]:
    """The first random netlist from a seed on that has exactly one loop; and the seed."""
    for seed in range(first, first + 1000):
        netlist = tangle(random.Random(seed))
        plan = schedule(netlist)
        if len(plan.loops) == 1:
            return seed, netlist, plan
    raise AssertionError("no netlist with one loop")


@pytest.mark.parametrize("first", range(0, 160_000, sized(4000, 1000)))
def test_a_stable_state_in_reach_is_found(first: int) -> None:
    seed, netlist, plan = one_loop(first)
    print("seed", seed)
    for lines in range(1 << LINES):
        settles = stable_in_reach(netlist, plan, lines)
        sim = Simulation(netlist)
        sim.set("i", lines)
        if settles:
            sim.settle()
            assert is_stable(netlist, lines, sim.get("o"))
        else:
            with pytest.raises(LoopError):
                sim.settle()


@pytest.mark.slow
def test_the_interpreter_is_stable_where_it_comes_to_rest() -> None:
    found = {True: 0, False: 0}
    for first in range(0, 160_000, 1000):
        seed, netlist, _ = one_loop(first)
        judge = Reference(netlist)
        judge.set("i", seed % (1 << LINES))
        try:
            judge.settle()
        except LoopError:
            found[False] += 1
            continue
        found[True] += 1
        assert is_stable(netlist, seed % (1 << LINES), judge.get("o")), f"seed {seed}"
    print(found)
    assert min(found.values()) > 10


def test_gates_that_chase_each_other_in_order_come_to_rest_by_chance() -> None:
    """Those that never rest where all answer every time, but do where some of them answer late."""
    late = 0
    for seed, netlist, plan in (one_loop(first) for first in range(0, 400_000, 1000)):
        for lines in range(1 << LINES):
            if chases(netlist, plan, lines) and stable_in_reach(netlist, plan, lines):
                print("seed", seed)
                late += 1
                sim = Simulation(netlist)
                sim.set("i", lines)
                sim.settle()
                assert is_stable(netlist, lines, sim.get("o"))
    print(late)
    assert late > 3
