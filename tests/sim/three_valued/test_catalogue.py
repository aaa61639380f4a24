"""The catalogue's designs as gates under Icarus Verilog: what it knows is what is proved of the designs as written.

Those whose clocks and asynchronous resets are input lines, and that have neither latches nor loops nor large memories.
`sim/gates.py` makes gates of them, in which Icarus follows the tables of IEEE 1364-2005 (7.2, and 5.1.13 for choices).
The proof is made from the words of the source, not from those gates, and comes to the same in every named net: what is
unknown is found bit by bit by the same circuits. Power-up is unknown, clocks and resets move alone.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from forelight.designs import catalogue
from forelight.harness.chip.netlist import wrapper_netlist
from forelight.sim.gates.rewrite import gates
from forelight.sim.netlist import Const, Netlist
from forelight.sim.schedule import schedule
from forelight.sim.state import is_wiring

from tests.sizes import sized

from ..icarus import needs_icarus
from .bench import Drive, Line, rows, showing, tally, under_icarus, under_proof, under_unknowns
from .gate_text import GateText

SEED, STEPS = 37, 120
NAMES = sized(catalogue.names()[::3], catalogue.names())
#: Designs of thousands of gates.
SLOW = {"berth_board", "cell_array", "light_in_haze", "sight_line"}


def as_driven(netlist: Netlist) -> Drive | str:
    """How a netlist of gates is driven; in words why it is not one for this test."""
    if netlist.memories:
        return "a memory stays one"
    if schedule(netlist).loops:
        return "loops of gates"
    text, clocks, resets = GateText(netlist), set(), dict[Line, int]()
    for register in (one for one in netlist.registers if not is_wiring(one)):
        line = register.clock and text.line(register.clock)
        if not line:
            return "latches" if register.clock is None else "clocks made by logic"
        clocks.add(line[0])
        for override in register.overrides:
            line = text.line(override.mask)
            if not line or not isinstance(override.value.parts[0], Const):
                return "controls made by logic"
            resets[line[0]] = line[1]
    if clocks & resets.keys():
        return "a clock that is a control"
    return Drive(sorted(clocks), resets, change=0.2)


@needs_icarus
@pytest.mark.parametrize(
    "name",
    [pytest.param(name, marks=pytest.mark.slow) if name in SLOW else name for name in NAMES],
)
def test_a_design_as_gates(name: str, tmp_path: Path) -> None:
    netlist = wrapper_netlist(catalogue.load_design(name))
    drawn = gates(netlist, as_drawn=True)
    drive = as_driven(drawn)
    if isinstance(drive, str):
        pytest.skip(f"{name}: {drive}")
    text = GateText(drawn)
    names = [name for name, word in netlist.names.items() if word.width]
    shown = [text.word(drawn.names[name]) for name in names]
    widths = {port: netlist.widths[value] for port, value in netlist.inputs.items()}
    words = showing(netlist, [netlist.names[name] for name in names])
    print("seed", SEED)
    driven = rows(random.Random(SEED), widths, drive, STEPS, unknown=0.1)
    theirs = under_icarus(text.body(), words, shown, driven, tmp_path)
    found = tally(f"{name}, lines unknown", theirs, under_unknowns(words, driven))
    assert found.equal == found.bits
    driven = rows(random.Random(SEED + 1), widths, drive, STEPS)
    theirs = under_icarus(text.body(), words, shown, driven, tmp_path)
    found = tally(f"{name}, lines known", theirs, under_proof(words, driven))
    assert found.equal == found.bits
