"""Which registers a synthesiser may code anew, and how long such a state machine is in none of its states."""

from __future__ import annotations

from pathlib import Path

import pytest
from forelight.designs import read
from forelight.sim.netlist import Netlist
from forelight.sim.proof.ternary import Proof
from forelight.sim.undefined.machines import CODED_ANEW, state_machines
from forelight.sim.undefined.opened import opened

_HEAD = """module m(input [7:0] inputs, output [7:0] outputs);
  wire clk = inputs[7], rst = inputs[6], go = inputs[0];
  reg [1:0] s;
"""
_TURN = "case (s) 0: if (go) s <= 1; 1: s <= 2; 2: if (!go) s <= 0; default: s <= 0; endcase"
_SHOW = " assign outputs = {s == 2, s == 1, 6'd0};"
_CLOCKED = "always @(posedge clk) "
#: Bodies by what they are, and whether the register `s` is a state machine.
BODIES = {
    "compared": (_CLOCKED + _TURN + _SHOW, True),
    "reset": (f"{_CLOCKED} if (rst) s <= 0; else {_TURN}{_SHOW}", True),
    "cleared": (f"always @(posedge clk or posedge rst) if (rst) s <= 0; else {_TURN}{_SHOW}", True),
    "shown": (_CLOCKED + _TURN + " assign outputs = {6'd0, s};", False),
    "counted": (_CLOCKED + "s <= s + 1;" + _SHOW, False),
    "loaded": (_CLOCKED + "if (go) s <= inputs[2:1]; else s <= 0;" + _SHOW, False),
    "one state": (_CLOCKED + "if (go) s <= 2;" + _SHOW, True),
    "one value": (_CLOCKED + "s <= 2;" + _SHOW, False),
    "a bit of it": (_CLOCKED + _TURN + " assign outputs = {s == 2, s == 1, 5'd0, s[1]};", False),
}


def netlist(folder: Path, body: str) -> Netlist:
    (folder / "m.v").write_text(f"{_HEAD}{body}\nendmodule\n")
    return read(folder / "m.v")


@pytest.mark.parametrize("kind", BODIES)
def test_a_state_is_compared_with_constants_and_takes_no_others(kind: str, tmp_path: Path) -> None:
    body, expected = BODIES[kind]
    found = netlist(tmp_path, body)
    assert [machine.register.name for machine in state_machines(found)] == ["s"] * expected
    assert (opened(found).drawn is found) is not expected


def test_only_a_reset_leads_out_of_no_state(tmp_path: Path) -> None:
    """Every state leads to another within a step or two, and yet what is none may stay that."""
    for kind in ("compared", "reset", "cleared"):
        proof = Proof(opened(netlist(tmp_path, BODIES[kind][0])).netlist)
        for value in (0x40, 0xC0, 0x00, 0x80):
            proof.update({"inputs": value})
        names = [one.name for one in proof.unsettled()]
        assert names == (["s", f"s{CODED_ANEW}"] if kind == "compared" else []), kind


def test_where_all_leads_to_one_state_it_is_that(tmp_path: Path) -> None:
    """Whatever the state, it is 3 after one step; with an input at 1 it may be anything."""
    body = _CLOCKED + "case (s) 1: s <= go ? 2 : 3; 2: s <= 3; default: s <= 3; endcase" + _SHOW
    for go, left in ((0, []), (1, ["s", f"s{CODED_ANEW}"])):
        proof = Proof(opened(netlist(tmp_path, body)).netlist)
        for value in (go, go | 0x80):
            proof.update({"inputs": value})
        assert [one.name for one in proof.unsettled()] == left
