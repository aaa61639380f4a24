"""What is proved where clocks and controls come from gates: glitches, loops that remember, latches, own resets."""

from __future__ import annotations

import random

import numpy as np
import pytest
from forelight.sim import Netlist, Simulation
from forelight.sim.loops import LoopError
from forelight.sim.netlist import Cell, Const, Override, Register, Word
from forelight.sim.proof.ternary import MOST_RACES, Proof

from tests.sizes import sized

from .contradictions import never_contradicted
from .test_ternary import circuit, flip_flop, line, one

Cells = list[tuple[str, int, tuple[Word, ...]]]
#: Two NAND gates, values 2 and 4: line 0 low sets value 2, line 1 low sets value 4.
NANDS: Cells = [
    ("$and", 1, (line(0), one(4))),
    ("$not", 2, (one(1),)),
    ("$and", 3, (line(1), one(2))),
    ("$not", 4, (one(3),)),
]


def shown(netlist: Netlist, *inputs: int, known_start: bool = True) -> list[str]:
    """The outputs after each update, bit 0 last, x where they are not proved."""
    proof = Proof(netlist, known_start=known_start)
    assert proof.in_rounds
    found = []
    for value in inputs:
        proof.update({"inputs": value})
        found.append(text(proof, netlist))
    return found


def text(proof: Proof, netlist: Netlist) -> str:
    value, known = proof.get("outputs")
    width = netlist.outputs["outputs"].width
    return "".join(str(value >> at & 1) if known >> at & 1 else "x" for at in reversed(range(width)))


def latch(output: int, enable: Word, data: Word) -> Register:
    return Register(output, 1, None, True, Word(), (Override(enable, data),), Const(0, 1), f"q{output}")


def toggle(output: int, clock: Word, inverse: int, *, rising: bool = True) -> Register:
    return Register(output, 1, clock, rising, one(inverse), (), Const(0, 1), f"q{output}")


def test_a_latch_of_gates_remembers_until_it_is_released_from_both() -> None:
    nands = circuit(NANDS, [], one(2) + one(4))
    # Set, held, set again, cleared, held.
    assert shown(nands, 0b10, 0b11, 0b10, 0b11, 0b01, 0b11) == ["01", "01", "01", "01", "10", "10"]
    # Both low: both high. One goes first, and the other decides; both at one instant, and nothing does.
    assert shown(nands, 0b00, 0b10, 0b11) == ["11", "01", "01"]
    assert shown(nands, 0b00, 0b01, 0b11) == ["11", "10", "10"]
    assert shown(nands, 0b00, 0b11) == ["11", "xx"]
    # Power-up on hold is either, and a set ends that.
    assert shown(nands, 0b11, 0b10, 0b11, known_start=False) == ["xx", "01", "01"]


def test_a_latch_against_bounce_makes_a_clean_clock() -> None:
    """Break before make: each contact may bounce, the latch does not (common practice, no source)."""
    nands = circuit([*NANDS, ("$not", 6, (one(5),))], [toggle(5, one(2), 6)], one(5))
    # The line that sets goes low, bounces and stays; then the one that clears, likewise.
    assert shown(nands, 0b01, 0b11, 0b10, 0b11, 0b10, 0b11, 0b01, 0b11, 0b01, 0b11, 0b10) == list(
        "00111111110"
    )


def test_a_loop_without_rest_is_unknown_while_it_runs() -> None:
    ring = circuit([("$and", 1, (line(0), one(2))), ("$not", 2, (one(1),))], [], one(2))
    assert shown(ring, 0, 1, 0) == ["1", "x", "1"]


def test_a_line_that_reconverges_on_a_clock_glitches() -> None:
    """As the selector in `test_ternary.py`, but with one line that moves by itself: s a + s' b with a = b = 1.

    Source: D. A. Huffman, "The design and use of hazard-free switching networks", Journal of the ACM 4 (1957),
    from memory.
    """
    cells: Cells = [
        ("$not", 1, (line(0),)),
        ("$and", 2, (line(0), line(1))),
        ("$and", 3, (one(1), line(2))),
        ("$or", 4, (one(2), one(3))),
        ("$and", 5, (line(1), line(2))),
        ("$or", 6, (one(4), one(5))),
        ("$not", 7, (one(8),)),
    ]
    glitching = circuit(cells, [flip_flop(8, one(4), one(7))], one(8))
    covered = circuit(cells, [flip_flop(8, one(6), one(7))], one(8))
    proof = Proof(glitching, known_start=True)
    for value in (0b000, 0b010, 0b110, 0b111):
        proof.update({"inputs": value})
    assert text(proof, glitching) == "x"
    (race,) = proof.races
    assert (race.update, race.lines, race.registers) == (3, (("inputs", 0),), ("q8",))
    assert str(race) == "update 3: inputs[0] may glitch and leaves q8, outputs unsettled"
    assert shown(covered, 0b000, 0b010, 0b110, 0b111, 0b110) == ["0", "0", "1", "1", "1"]


def test_registers_that_reconverge_on_a_clock_glitch() -> None:
    """Two bits that step 00 01 10 11: their and may be 1 between 01 and 10; in the order 00 01 11 10 it may not."""
    counting: Cells = [
        ("$not", 1, (one(5),)),
        ("$xor", 2, (one(5), one(6))),
        ("$and", 3, (one(5), one(6))),
        ("$not", 4, (one(7),)),
    ]
    registers = [flip_flop(5, line(0), one(1)), flip_flop(6, line(0), one(2)), toggle(7, one(3), 4)]
    steps = [0, 1, 0, 1, 0, 1]
    assert shown(circuit(counting, registers, one(7)), *steps) == ["0", "0", "0", "x", "x", "x"]
    folded: Cells = [("$not", 1, (one(6),)), ("$and", 3, (one(5), one(6))), ("$not", 4, (one(7),))]
    registers = [flip_flop(5, line(0), one(1)), flip_flop(6, line(0), one(5)), toggle(7, one(3), 4)]
    assert shown(circuit(folded, registers, one(7)), *steps) == ["0", "0", "0", "1", "1", "1"]


def test_a_ripple_counter_counts() -> None:
    cells: Cells = [("$not", 1, (one(3),)), ("$not", 2, (one(4),))]
    netlist = circuit(cells, [toggle(3, line(0), 1), toggle(4, one(3), 2, rising=False)], one(3) + one(4))
    assert shown(netlist, *[0, 1] * 5) == ["00", "01", "01", "10", "10", "11", "11", "00", "00", "01"]


def test_a_clock_gated_through_a_latch_is_clean() -> None:
    """The enable, line 1, passes while the clock, line 0, is low, so it moves freely (common practice, no source)."""
    cells: Cells = [("$not", 1, (line(0),)), ("$and", 2, (line(0), one(4))), ("$not", 3, (one(5),))]
    netlist = circuit(cells, [latch(4, one(1), line(1)), toggle(5, one(2), 3)], one(5))
    # Enabled, two clocks; dropped and raised again while the clock is high; then off.
    assert shown(netlist, 0b00, 0b10, 0b11, 0b10, 0b11, 0b01, 0b11, 0b10, 0b00, 0b01) == list("0011000000")


def test_a_clock_gated_without_a_latch_is_clean_only_while_it_is_low() -> None:
    cells: Cells = [("$and", 1, (line(0), line(1))), ("$not", 2, (one(3),))]
    netlist = circuit(cells, [toggle(3, one(1), 2)], one(3))
    assert shown(netlist, 0b00, 0b10, 0b11, 0b10, 0b00, 0b01, 0b00) == ["0", "0", "1", "1", "1", "1", "1"]
    # Clock and enable at one instant: a pulse, or none.
    assert shown(netlist, 0b10, 0b01) == ["0", "x"]


def test_a_bit_that_resets_itself_comes_back() -> None:
    """A pulse: the clock sets it, and what it shows clears it."""
    clear = (Override(one(1), Word.const(0, 1)),)
    pulse = circuit([], [Register(1, 1, line(0), True, Word.const(1, 1), clear, Const(0, 1), "q")], one(1))
    assert shown(pulse, 0, 1, 0, 1, known_start=False) == ["0", "0", "0", "0"]


def test_bits_that_reset_one_another_are_known_again_after_a_reset() -> None:
    """Which of two bits falls first decides whether the other does: 11 ends in any state, until line 1 clears both."""
    cells: Cells = [
        ("$not", 1, (one(5),)),
        ("$not", 2, (one(6),)),
        ("$and", 3, (one(5), one(6))),
        ("$or", 4, (one(3), line(1))),
    ]
    clear = (Override(one(4), Word.const(0, 1)),)
    registers = [
        Register(5, 1, line(0), True, one(1), clear, Const(0, 1), "q5"),
        Register(6, 1, one(1), True, one(2), clear, Const(0, 1), "q6"),
    ]
    netlist = circuit(cells, registers, one(6) + one(5))
    steps = [0b00, 0b10, 0b00, 0b01, 0b00, 0b01, 0b00, 0b01, 0b00, 0b10, 0b00, 0b01]
    expected = ["xx", "00", "00", "10", "10", "01", "01", "xx", "xx", "00", "00", "10"]
    assert shown(netlist, *steps, known_start=False) == expected


def test_data_that_moves_with_a_gated_clock_is_old_or_new() -> None:
    """The register on a divided clock takes what moves at the same edge of the undivided one."""
    cells: Cells = [("$not", 1, (one(3),)), ("$not", 2, (one(4),))]
    registers = [toggle(3, line(0), 1), flip_flop(4, line(0), one(2)), flip_flop(5, one(3), one(4))]
    assert shown(circuit(cells, registers, one(5)), 0, 1, 0, 1) == ["0", "x", "x", "x"]
    registers = [toggle(3, line(0), 1), flip_flop(4, one(1), one(2)), flip_flop(5, one(3), one(4))]
    assert shown(circuit(cells, registers, one(5)), *[0, 1] * 4) == ["0", "0", "0", "0", "0", "1", "1", "1"]


def test_a_run_in_rounds_is_its_updates_one_by_one() -> None:
    cells: Cells = [("$and", 1, (line(0), line(1))), ("$not", 2, (one(3),))]
    netlist = circuit(cells, [toggle(3, one(1), 2), flip_flop(4, line(2), one(3))], one(3) + one(4))
    rng = random.Random(5)
    print("seed 5")
    values = [
        rng.getrandbits(3) if rng.random() < 0.002 else 0b10 | at & 1 | (at & 2) << 1 for at in range(3000)
    ]
    clear = Override(line(3), Word.const(0, 1))
    registers = tuple(
        Register(r.output, 1, r.clock, True, r.data, (clear,), r.init, r.name) for r in netlist.registers
    )
    netlist = Netlist("run", netlist.widths, netlist.inputs, netlist.outputs, netlist.cells, registers, ())
    for at in range(0, 3000, 150):
        values[at] = 0b1000
    whole, single = Proof(netlist), Proof(netlist)
    seen, known = whole.run("inputs", np.array(values, np.uint8), "outputs")
    for at, value in enumerate(values):
        single.update({"inputs": value})
        assert single.get("outputs") == (seen[at], known[at]), at
    assert single.races == whole.races
    assert len(whole.races) > 1
    assert 0 < np.count_nonzero(known == 3) < len(values)


def test_a_long_run_names_what_is_lost_again_and_again() -> None:
    """A counter of two bits, whose and glitches between 01 and 10 and clocks a bit that 00 clears."""
    cells: Cells = [
        ("$not", 1, (one(5),)),
        ("$xor", 2, (one(5), one(6))),
        ("$and", 3, (one(5), one(6))),
        ("$not", 4, (one(7),)),
        ("$not", 8, (one(6),)),
        ("$and", 9, (one(1), one(8))),
    ]
    clear = (Override(one(9), Word.const(0, 1)),)
    registers = [
        flip_flop(5, line(0), one(1)),
        flip_flop(6, line(0), one(2)),
        Register(7, 1, one(3), True, one(4), clear, Const(0, 1), "q7"),
    ]
    netlist = circuit(cells, registers, one(7))
    values = (np.arange(20_000) & 1).astype(np.uint8)
    whole, single = Proof(netlist, known_start=True), Proof(netlist, known_start=True)
    for proof in (whole, single):
        proof.update({"inputs": 0})
    seen, known = whole.run("inputs", values, "outputs")
    for at, value in enumerate(values.tolist()):
        single.update({"inputs": value})
        assert single.get("outputs") == (seen[at], known[at]), at
    assert [race.registers for race in whole.races] == [("q7",)] * MOST_RACES
    assert whole.races == single.races[:MOST_RACES]
    assert len(single.races) > MOST_RACES


def test_a_train_of_edges_without_end_is_unknown() -> None:
    """One register moves when the clock rises, another when it falls, and both move it: the engine gives it up."""
    cells: Cells = [
        ("$xor", 1, (one(5), one(6))),
        ("$xor", 2, (line(0), one(1))),
        ("$not", 3, (one(5),)),
        ("$not", 4, (one(6),)),
    ]
    netlist = circuit(cells, [toggle(5, one(2), 3), toggle(6, one(2), 4, rising=False)], one(5) + one(6))
    sim = Simulation(netlist, "init")
    sim.settle()
    sim.set("inputs", 1)
    with pytest.raises(LoopError):
        sim.settle()
    assert shown(netlist, 0, 1) == ["00", "xx"]


@pytest.mark.parametrize("seed", range(sized(12, 80)))
def test_no_order_and_no_power_up_contradicts(seed: int) -> None:
    """Every order of up to three lines, from every state that is found: thousands of runs in all."""
    print("seed", seed)
    never_contradicted(seed, in_rounds=True)


def test_cells_of_a_netlist_in_rounds_are_those_of_plain_logic() -> None:
    """Known low bits of a sum stay known, and a choice between equals, as on a plain netlist."""
    add = Cell("$add", 1, (Word.value(0, 4), Word.of([*line(0).parts, *Word.const(0b110, 3, 0b100).parts])))
    netlist = Netlist("add", (4, 4), {"inputs": 0}, {"outputs": Word.value(1, 4)}, (add,), (), ())
    proof = Proof(netlist, in_rounds=True)
    proof.update({"inputs": 0b0010})
    assert text(proof, netlist) == "x110"


def test_lines_that_can_only_let_a_clock_fall_make_no_edge_whichever_goes_first() -> None:
    # A clear, line 1, is let go as the clock, line 0, falls. The second bit counts falls of the first.
    cells: Cells = [("$not", 3, (one(1),)), ("$not", 4, (one(2),))]
    clear = (Override(line(1), Word.const(0, 1)),)
    counter = circuit(
        cells,
        [
            Register(1, 1, line(0), True, one(3), clear, Const(0, 1), "q1"),
            Register(2, 1, one(3), True, one(4), clear, Const(0, 1), "q2"),
        ],
        one(1) + one(2),
    )
    assert shown(counter, 0b10, 0b11, 0b00, 0b01, known_start=False) == ["00", "00", "00", "01"]
    # The clock rises instead: the edge may come before the clear has gone or after.
    assert shown(counter, 0b10, 0b01, known_start=False) == ["00", "xx"]


def test_lines_together_glitch_a_gated_clock_where_one_opens_before_the_other_closes() -> None:
    gated = circuit([("$and", 2, (line(0), line(1))), ("$not", 3, (one(1),))], [toggle(1, one(2), 3)], one(1))
    assert shown(gated, 0b11, 0b00, 0b01) == ["0", "0", "0"]
    assert shown(gated, 0b01, 0b10) == ["0", "x"]
    assert shown(gated, 0b00, 0b11) == ["0", "x"]
