"""Several drivers that share a net through high impedance: one of them drives it, or it floats and is 0 in a run."""

from __future__ import annotations

from itertools import product
from pathlib import Path

from forelight.designs import read
from forelight.sim import Simulation

BUS = """
module bus(input a, b, ea, eb, output inside, output pin, output both);
  wire shared;
  assign shared = ea ? a : 1'bz;
  assign shared = eb ? b : 1'bz;
  assign inside = ~shared;
  assign pin = ea ? a : 1'bz;
  assign both = ea ? a : 1'bz;
  assign both = eb ? b : 1'bz;
endmodule
"""


def test_a_shared_net_has_the_level_of_its_one_driver(tmp_path: Path) -> None:
    """IEEE 1364-2005, 4.6.1, table 4-2: z gives way to 0 and 1; where both drive alike the level is theirs."""
    (tmp_path / "bus.v").write_text(BUS)
    netlist = read(tmp_path / "bus.v")
    sim = Simulation(netlist)
    for a, b, ea, eb in product((0, 1), repeat=4):
        sim.set_many({"a": a, "b": b, "ea": ea, "eb": eb})
        sim.settle()
        assert sim.get("pin") == (a if ea else 0)
        driven = {level for level, enable in ((a, ea), (b, eb)) if enable}
        if len(driven) < 2:  # two against each other is x: contention, in silicon a short circuit
            level = driven.pop() if driven else 0
            assert sim.get("both") == level
            if ea or eb:
                assert sim.get("inside") == 1 - level


def test_what_may_float_is_said(tmp_path: Path) -> None:
    (tmp_path / "bus.v").write_text(BUS)
    said = [line for line in read(tmp_path / "bus.v").warnings if "floats" in line]
    assert (
        "bus.v:7.16-7.29: pin floats (z) where nothing drives it: what hangs on it is unsettled then" in said
    )
