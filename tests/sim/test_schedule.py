"""Order, loops, clock groups and the rule for one round."""

from __future__ import annotations

import random

import networkx
import pytest
from forelight.sim.netlist import Cell, Const, Netlist, Override, Register, Slice, Word
from forelight.sim.schedule import components, schedule

IN = Word.value(0, 1)


def chain(count: int) -> Netlist:
    """Inverters in a row, listed last first."""
    cells = [Cell("$not", n + 1, (Word.value(n, 1),)) for n in range(count)]
    return Netlist(
        "chain", (1,) * (count + 1), {"a": 0}, {"y": Word.value(count, 1)}, tuple(cells[::-1]), (), ()
    )


def test_a_chain_of_any_depth_is_ordered_without_recursion() -> None:
    plan = schedule(chain(50_000))
    assert plan.order == tuple(reversed(range(50_000)))
    assert plan.settles_once


def test_the_printed_form() -> None:
    flip = Cell("$not", 2, (Word.value(1, 1),))
    registers = (
        Register(1, 1, IN, True, Word.value(2, 1), (), Const(0, 1), "a"),
        Register(3, 1, Word.value(1, 1), False, Word.value(4, 1), (), Const(0, 1), "b"),
    )
    loop = Cell("$or", 4, (Word.value(4, 1), IN))
    netlist = Netlist("two", (1,) * 5, {"i": 0}, {"y": Word.value(3, 1)}, (flip, loop), registers, ())
    assert str(schedule(netlist)) == (
        "order 0 1\ncuts v4\nrise v0[0+:1]: registers 0\nfall v1[0+:1]: registers 1\nsettles in rounds\n"
    )


def test_a_reset_that_comes_from_a_register_settles_in_one_round() -> None:
    """An override is logic, not a clock: only state that reaches a clock asks for rounds."""
    forced = Register(
        1,
        1,
        IN,
        True,
        Word.const(1, 1),
        (Override(Word.value(2, 1), Word.const(0, 1)),),
        Const(0, 1),
        "forced",
    )
    plain = Register(2, 1, IN, True, Word.value(1, 1), (), Const(0, 1), "plain")
    netlist = Netlist("reset", (1, 1, 1), {"clk": 0}, {"y": Word.value(1, 1)}, (), (forced, plain), ())
    plan = schedule(netlist)
    assert plan.settles_once
    assert plan.order == (0,)


@pytest.mark.parametrize("seed", range(5))
def test_components_are_those_of_networkx(seed: int) -> None:
    """Judge: networkx `strongly_connected_components`, another implementation."""
    print("seed", seed)
    rng = random.Random(seed)
    count = 60
    edges = [[rng.randrange(count) for _ in range(rng.choice((0, 1, 1, 2)))] for _ in range(count)]
    found = components(edges)
    graph = networkx.DiGraph()
    graph.add_nodes_from(range(count))
    graph.add_edges_from((a, b) for a, targets in enumerate(edges) for b in targets)
    assert {frozenset(c) for c in found} == {
        frozenset(c) for c in networkx.strongly_connected_components(graph)
    }
    place = {node: at for at, c in enumerate(found) for node in c}
    assert all(place[b] <= place[a] for a, targets in enumerate(edges) for b in targets)


def test_a_reader_before_its_loop_closes_sees_the_cut() -> None:
    """The order holds for every read but those of a cut value."""
    seed = 11
    print("seed", seed)
    rng = random.Random(seed)
    count = 40
    cells = [
        Cell("$xor", n + 1, tuple(Word.of([Slice(rng.randrange(count + 1), 0, 1)]) for _ in range(2)))
        for n in range(count)
    ]
    netlist = Netlist("web", (1,) * (count + 1), {"a": 0}, {"y": Word.value(1, 1)}, tuple(cells), (), ())
    plan = schedule(netlist)
    place = {node: at for at, node in enumerate(plan.order)}
    assert sorted(plan.order) == list(range(count))
    for node in plan.order:
        for other in plan.graph.reads[node]:
            assert place[other] < place[node] or netlist.cells[other].output in plan.cuts
