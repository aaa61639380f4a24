"""Random circuits of Yosys' fine-grained cells: what is proved is what Icarus Verilog knows, bit for bit.

Several clocks that are input lines, both edges, enables and synchronous resets made by logic, asynchronous resets that
are input lines; power-up unknown. A clock or reset moves alone and is always known, since Icarus takes a change
from 0 to x for an edge (IEEE 1364-2005, 9.7.2) and `if (x)` for no (9.4).

Where choices are the conditional operator, equality is exact, for each of the three ways to a proof: by 5.1.13 a choice
between equals is known though the selector is not, and so it is for `$mux`. Where Icarus has them as and, or and not
(7.2), it knows less there, and what else it knows is proved.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from forelight.sim.rtlil.reader import parse

from ..icarus import needs_icarus
from .bench import Tally, rows, showing, tally, under_icarus, under_proof, under_unknowns
from .fine_cells import random_circuit

STEPS = 60
#: Circuits of one test.
TEN = 10

pytestmark = needs_icarus


@pytest.mark.parametrize(
    "first", [0, *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(TEN, 300, TEN))]
)
def test_random_circuits(first: int, tmp_path: Path) -> None:
    """A part is known and a part is not, so that neither is compared with itself alone."""
    found = [tallied for seed in range(first, first + TEN) for tallied in compared(seed, tmp_path)]
    bits, icarus = sum(one.bits for one in found), sum(one.icarus for one in found)
    print(f"seeds {first} to {first + TEN - 1}: {bits:,} bits compared, of which Icarus knows {icarus:,}")
    assert 0.1 * bits < icarus < 0.9 * bits


def compared(seed: int, folder: Path) -> list[Tally]:
    """One circuit, in every way that there is to a proof."""
    print("seed", seed)
    circuit = random_circuit(seed)
    netlist = parse(circuit.source())
    netlist = showing(netlist, [netlist.names[net] for net in circuit.nets])
    widths = dict.fromkeys(circuit.inputs, 1)
    driven = rows(random.Random(seed), widths, circuit.drive, STEPS, unknown=0.2)
    theirs = under_icarus(circuit.body(choices=True), netlist, circuit.nets, driven, folder)
    found = [tally("lines unknown", theirs, under_unknowns(netlist, driven))]
    driven = rows(random.Random(seed), widths, circuit.drive, STEPS)
    theirs = under_icarus(circuit.body(choices=True), netlist, circuit.nets, driven, folder)
    for how, in_rounds in (("plain", False), ("in rounds", True)):
        found.append(tally(f"lines known, {how}", theirs, under_proof(netlist, driven, in_rounds=in_rounds)))
    assert all(one.equal == one.bits for one in found)
    less = under_icarus(circuit.body(choices=False), netlist, circuit.nets, driven, folder)
    tally("choices as primitives", less, theirs)
    return found
