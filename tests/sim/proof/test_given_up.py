"""What is proved where gated clocks, latches and loops are too much to follow: less, and never more than there is."""

from __future__ import annotations

import pytest
from forelight.sim.gates import memories as gate_memories
from forelight.sim.netlist import Cell, Const, Memory, Netlist, Override, Register, Word, WritePort
from forelight.sim.proof.ternary import MOST_CELLS, Proof, worth_following

from .contradictions import never_contradicted
from .test_ternary import circuit, flip_flop, line, one

#: Seeds on which a proof without glitches was once contradicted.
WRONG_ONCE = (210, 231)


@pytest.mark.parametrize("seed", [*range(20), *WRONG_ONCE])
def test_no_order_and_no_power_up_contradicts(seed: int) -> None:
    print("seed", seed)
    never_contradicted(seed, most_cells=0)


@pytest.mark.parametrize("seed", range(20))
def test_no_order_and_no_power_up_contradicts_where_memories_are_large(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Followed by rounds, where nothing is known of them, and row by row where the rest is plain."""
    print("seed", seed)
    monkeypatch.setattr(gate_memories, "MOST_BITS", 0)
    never_contradicted(seed, in_rounds=True)
    never_contradicted(seed, most_cells=0)


@pytest.mark.slow
def test_no_order_and_no_power_up_of_several_hundred_netlists_contradicts() -> None:
    claims = 0
    for seed in range(20, 500):
        print("seed", seed)
        claims += never_contradicted(seed, most_cells=0)
    assert claims > 10_000


def gated() -> Netlist:
    """Outputs, bit 0 first: a flip-flop on a line, one on a gated clock, one that takes what that shows, a latch."""
    return circuit(
        [("$and", 1, (line(0), line(1)))],
        [
            flip_flop(2, line(0), line(2)),
            flip_flop(3, one(1), line(2)),
            flip_flop(4, line(0), one(3)),
            Register(5, 1, None, True, Word(), (Override(line(3), one(3)),), Const(0, 1), "latch"),
        ],
        one(2) + one(3) + one(4) + one(5),
    )


def test_only_what_such_clocks_reach_is_unknown_and_words_say_so() -> None:
    followed, given_up = Proof(gated()), Proof(gated(), most_cells=0)
    assert followed.in_rounds
    assert not given_up.in_rounds
    for value in (0b1010, 0b1110, 0b1111, 0b1110, 0b1111):
        followed.update({"inputs": value})
        given_up.update({"inputs": value})
    assert followed.get("outputs") == (0b1111, 0b1111)
    assert given_up.get("outputs") == (0b0001, 0b0001)
    assert followed.settled
    assert not given_up.settled
    assert followed.left_open == ()
    (told,) = given_up.left_open
    assert told == (
        "clocks, controls and loops made by logic are not followed, so this counts as unknown: q3, latch"
    )


def test_a_loop_that_is_given_up_is_unknown_and_what_it_does_not_reach_is_known() -> None:
    cells: list[tuple[str, int, tuple[Word, ...]]] = [
        ("$or", 1, (line(0), one(2))),
        ("$and", 2, (line(1), one(1))),
        ("$not", 3, (line(2),)),
    ]
    given_up = Proof(circuit(cells, [], one(2) + one(3)), most_cells=0)
    given_up.update({"inputs": 0b11})
    assert given_up.get("outputs") == (0b10, 0b10)
    assert "2 cells in loops" in given_up.left_open[0]


def test_a_memory_on_a_gated_clock_is_given_up() -> None:
    port = WritePort(one(1), True, line(2), line(3), Word.const(1, 1))
    memory = Memory("store", 1, 2, 0, (Const(0, 1), Const(0, 1)), (port,))
    cells = Cell("$and", 1, (line(0), line(1))), Cell("read", 2, (line(2),), {"memory": 0})
    netlist = Netlist("one", (4, 1, 1), {"inputs": 0}, {"outputs": one(2)}, cells, (), (memory,))
    followed, given_up = Proof(netlist), Proof(netlist, most_cells=0)
    for value in (0b1010, 0b1011):
        followed.update({"inputs": value})
        given_up.update({"inputs": value})
    assert followed.get("outputs") == (1, 1)
    assert given_up.get("outputs") == (0, 0)
    assert given_up.left_open[0].endswith("unknown: store")


def test_a_long_run_follows_fewer_gates() -> None:
    assert worth_following(0) == worth_following(1000) == MOST_CELLS
    assert 12_000 < worth_following(2_000_000) < MOST_CELLS
    assert worth_following(10**9) == 12_000
