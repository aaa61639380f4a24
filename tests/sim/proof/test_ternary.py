"""Coincident changes: what is called settled is what every order of the lines gives; races are found and named."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest
from forelight.sim import Netlist, Simulation
from forelight.sim.errors import UsageError
from forelight.sim.loops import LoopError
from forelight.sim.netlist import Cell, Const, Register, Slice, Word
from forelight.sim.proof.ternary import Proof
from forelight.sim.state import PowerUp

from tests.sizes import sized

from ..any_netlists import any_netlist
from ..random_netlists import random_netlist
from .contradictions import held

Line = tuple[str, int]


def line(bit: int) -> Word:
    """A bit of the port `inputs`, which is value 0."""
    return Word.of([Slice(0, bit, 1)])


def circuit(
    cells: list[tuple[str, int, tuple[Word, ...]]], registers: list[Register], shown: Word
) -> Netlist:
    """Four input lines; values of one bit each."""
    top = max([0, *(output for _, output, _ in cells), *(r.output for r in registers)])
    return Netlist(
        "circuit",
        (4, *[1] * top),
        {"inputs": 0},
        {"outputs": shown},
        tuple(Cell(kind, output, operands) for kind, output, operands in cells),
        tuple(registers),
        (),
    )


def one(value: int) -> Word:
    return Word.value(value, 1)


def flip_flop(output: int, clock: Word, data: Word) -> Register:
    return Register(output, 1, clock, True, data, (), Const(0, 1), f"q{output}")


def driven(netlist: Netlist, *inputs: int) -> Proof:
    proof = Proof(netlist, known_start=True)
    for value in inputs:
        proof.update({"inputs": value})
    return proof


def test_a_latch_released_from_both_inputs_low_is_unsettled() -> None:
    latch = circuit(
        [
            ("$and", 1, (line(0), one(4))),
            ("$not", 2, (one(1),)),
            ("$and", 3, (line(1), one(2))),
            ("$not", 4, (one(3),)),
        ],
        [],
        one(2) + one(4),
    )
    assert driven(latch, 0b00).get("outputs") == (0b11, 0b11)
    assert driven(latch, 0b00, 0b11).get("outputs") == (0, 0)
    assert driven(latch, 0b00, 0b10).get("outputs") == (0b01, 0b11)


def test_a_name_of_the_source_shows_what_an_output_on_it_shows() -> None:
    """Bits that are 0, that are 1, and that nothing proves."""
    netlist = circuit([], [flip_flop(1, line(0), line(1)), flip_flop(2, line(2), line(3))], one(1) + one(2))
    netlist = replace(netlist, names={"both": one(2) + one(1), "first": one(1), "lines": line(3) + line(1)})
    proof = Proof(netlist)
    proof.update({"inputs": 0})
    assert (proof.get("both"), proof.get("lines")) == ((0, 0), (0, 0b11))
    for value in (0b0010, 0b0011, 0b1010):
        proof.update({"inputs": value})
    assert proof.get("outputs") == (0b01, 0b01)
    assert (proof.get("both"), proof.get("first"), proof.get("lines")) == ((0b10, 0b10), (1, 1), (0b11, 0b11))
    proof.update({"inputs": 0b1000})
    proof.update({"inputs": 0b0000})
    proof.update({"inputs": 0b0100})
    assert (proof.get("both"), proof.get("lines")) == ((0b10, 0b11), (0, 0b11))


def test_data_and_clock_together_leave_the_register_unsettled() -> None:
    netlist = circuit([], [flip_flop(1, line(0), line(1))], one(1))
    assert driven(netlist, 0b00, 0b01).get("outputs") == (0, 1)
    one_by_one = driven(netlist, 0b00, 0b10, 0b11)
    assert (one_by_one.get("outputs"), one_by_one.settled) == ((1, 1), True)
    proof = driven(netlist, 0b00, 0b11)
    assert (proof.get("outputs"), proof.settled) == ((0, 0), False)
    (race,) = proof.races
    assert (race.update, race.lines, race.registers) == (1, (("inputs", 0), ("inputs", 1)), ("q1",))
    assert dict(race.outputs) == {"outputs": 1}
    assert "inputs[0], inputs[1] move together" in str(race)


def test_lines_that_are_up_at_power_up_neither_clock_nor_race() -> None:
    """The first settling makes no edges (DEVELOPERS.md, Time 4)."""
    netlist = circuit([], [flip_flop(1, line(0), line(1))], one(1))
    proof = Proof(netlist, known_start=True)
    proof.update({"inputs": 0b11})
    assert (proof.get("outputs"), proof.settled, list(proof.races)) == ((0, 1), True, [])


def test_an_edge_beside_a_line_that_does_not_matter_is_settled() -> None:
    netlist = circuit([], [flip_flop(1, line(0), line(1)), flip_flop(2, line(0), one(1))], one(1) + one(2))
    proof = driven(netlist, 0b0010, 0b0111, 0b0010, 0b1011)
    assert proof.get("outputs") == (0b11, 0b11)
    assert not proof.races


def test_a_clock_that_is_also_data_is_seen_at_its_new_level() -> None:
    netlist = circuit([], [flip_flop(1, line(0), line(0))], one(1))
    assert driven(netlist, 0b00, 0b01).get("outputs") == (1, 1)
    assert driven(netlist, 0b00, 0b11).get("outputs") == (1, 1)


def test_a_gated_clock_may_glitch_where_both_of_its_lines_move() -> None:
    toggle = [("$and", 1, (line(0), line(1))), ("$not", 2, (one(3),))]
    netlist = circuit([*toggle], [flip_flop(3, one(1), one(2))], one(3))
    # 01 to 10: the gate is 0 before and after, but 11 may lie between.
    proof = driven(netlist, 0b01, 0b10)
    assert proof.get("outputs") == (0, 0)
    assert proof.races[0].registers == ("q3",)
    # 00 to 01: no line moves beside it.
    assert driven(netlist, 0b00, 0b01).get("outputs") == (0, 1)


def test_a_selector_with_its_cover_does_not_glitch() -> None:
    """A clock s a + s' b, glitches when s moves; a b added to it makes it free of hazards.

    Source: D. A. Huffman, "The design and use of hazard-free switching networks", Journal of the ACM 4 (1957),
    from memory.
    """
    cells: list[tuple[str, int, tuple[Word, ...]]] = [
        ("$not", 1, (line(0),)),
        ("$and", 2, (line(0), line(1))),
        ("$and", 3, (one(1), line(2))),
        ("$or", 4, (one(2), one(3))),
        ("$and", 5, (line(1), line(2))),
        ("$or", 6, (one(4), one(5))),
        ("$not", 7, (one(8),)),
    ]
    # Line 3 moves along, so that the update has more than one line; nothing reads it.
    glitching = circuit(cells, [flip_flop(8, one(4), one(7))], one(8))
    covered = circuit(cells, [flip_flop(8, one(6), one(7))], one(8))
    assert driven(glitching, 0b0111, 0b1110).get("outputs") == (0, 0)
    assert driven(covered, 0b0111, 0b1110).get("outputs") == (0, 1)


def moved(sim: Simulation, order: tuple[Line, ...]) -> None:
    for port, bit in order:
        sim.set(port, sim.get(port) ^ 1 << bit)
        sim.settle()


@pytest.mark.parametrize("known_start", [False, True])
@pytest.mark.parametrize("seed", range(sized(3, 20)))
def test_settled_is_what_every_order_gives(seed: int, known_start: bool) -> None:
    """Up to four lines at once, at every fourth update; every order, from several power-ups."""
    print("seed", seed)
    rng = random.Random(seed)
    netlist = random_netlist(seed, registers=6, cells=15) if seed % 2 else any_netlist(rng, cells=15)
    lines = [(port, bit) for port, value in netlist.inputs.items() for bit in range(netlist.widths[value])]
    proof = Proof(netlist, known_start=known_start)
    proof.update(dict.fromkeys(netlist.inputs, 0))
    sims = []
    starts: list[PowerUp] = [0, 1, random.Random(seed), random.Random(seed + 1)]
    for start in ["init", *([] if known_start else starts)]:
        sims.append(Simulation(netlist, start))
        sims[-1].settle()
    now = dict.fromkeys(netlist.inputs, 0)
    states = {sim.snapshot() for sim in sims}
    sim, claims = sims[0], 0
    for step in range(16):
        moving = rng.sample(lines, rng.randint(2, 4) if step % 4 == 3 else 1)
        for port, bit in moving:
            now[port] ^= 1 << bit
        proof.update(now)
        after: dict[tuple[object, ...], bytes] = {}
        for state in states:
            for order in permutations(moving):
                sim.restore(state)
                try:
                    moved(sim, order)
                except LoopError:
                    return
                after[held(sim)] = sim.snapshot()
                for port in netlist.outputs:
                    value, known = proof.get(port)
                    assert (sim.get(port) ^ value) & known == 0, (step, port, order)
                    claims += known.bit_count()
        assert len(after) == 1 or not proof.settled
        states = set(rng.sample(sorted(after.values()), min(len(after), 6)))
    assert claims


@pytest.mark.parametrize(("clock", "count", "often"), [(0, 3000, 0.02), (1, 300, 0.8)])
def test_a_run_is_its_updates_one_by_one(clock: int, count: int, often: float) -> None:
    netlist = circuit(
        [("$xor", 1, (line((clock + 1) % 3), one(2))), ("$and", 3, (one(1), line((clock + 2) % 3)))],
        [flip_flop(2, line(clock), one(3))],
        one(2) + one(1),
    )
    rng = random.Random(5)
    print("seed 5")
    values = np.array(
        [rng.getrandbits(4) if rng.random() < often else (at >> 6 & 1) * 4 | at & 1 for at in range(count)],
        np.uint8,
    )
    seen, known = Proof(netlist).run("inputs", values, "outputs")
    single = Proof(netlist)
    for at, value in enumerate(values.tolist()):
        single.update({"inputs": value})
        assert single.get("outputs") == (seen[at], known[at]), at
    assert 0 < np.count_nonzero(known == 3) < len(values)


def test_a_port_that_is_not_there() -> None:
    netlist = circuit([], [flip_flop(1, line(0), line(1))], one(1))
    with pytest.raises(UsageError, match="no port is called input"):
        Proof(netlist).run("input", np.zeros(3, np.uint8), "outputs")
