"""Large clocked blocks that are taken apart mean what they meant, and each register keeps its line."""

from __future__ import annotations

import random
import re
from pathlib import Path

import pytest
from forelight.designs.sources.text import large_blocks
from forelight.designs.sources.text.large_blocks import split_large_blocks
from forelight.designs.sources.verilog import verilog_rtlil
from forelight.sim.errors import SourceError
from forelight.sim.rtlil.reader import parse
from forelight.sim.simulation import Simulation

SEED = 61
HEAD = """module many(input c, r, input [3:0] a, output [7:0] y);
  reg [7:0] q0, q1, q2, q3, q4, q5, \\odd+name ;
  reg [7:0] m [0:3];
  assign y = q0 ^ q1 ^ q2 ^ q3 ^ q4 ^ q5 ^ m[a[3:2]] ^ \\odd+name ;
"""
#: Blocks that are taken apart.
BLOCKS = (
    "always @(posedge c) begin q0 <= a; q1 <= q0 + a; q2 <= q1; q3 <= q2; end",
    "always @(posedge c) if (r) begin q0 <= 1; q1 <= 2; end else begin\n q1 <= q0;"
    "\n if (a[0]) q0 <= q1; else q2 <= q0;\n"
    " {q3, q4} <= {q0, q2} + 1; ; q3 <= a; end",
    "always @(posedge c or posedge r)\n if (r) begin q0 <= 3; q1 <= 5; q2 <= 7; end\n else if (a[1]) begin q0 <= q1;"
    "\n q2[a[1:0]] <= q0[3]; q1[7:4] <= a; if (a[2]) begin end else q4 <= q1 <= q2; end",
    "always @(posedge c) begin m[a[1:0]] <= q0; q0 <= q0 + m[a[3:2]]; if (r) m[a[1:0]] <= a;"
    " \\odd+name <= q0; q1 <= 9; end",
)
#: Blocks that hold something else.
AS_THEY_ARE = (
    "always @(posedge c) begin q0 = a; q1 <= q0; q2 <= q0; end",
    "always @(posedge c) begin : name reg [7:0] t; q0 <= t; q1 <= a; end",
    "always @(posedge c) begin q0 <= 1; case (a) 0: q1 <= 2; default: q1 <= 3; endcase q2 <= 5; end",
    "always @* begin q0 <= a; q1 <= q0; end",
    "genvar i; generate for (i = 0; i < 1; i = i + 1) always @(posedge c) begin q0 <= a; q1 <= q0; end endgenerate",
)


@pytest.fixture(autouse=True)
def few(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """As if two assignments were many."""
    monkeypatch.setattr(large_blocks, "MANY", 2)
    monkeypatch.setattr(large_blocks, "PART", 1)
    monkeypatch.setenv("FORELIGHT_CACHE", str(tmp_path / "cache"))
    monkeypatch.chdir(tmp_path)


def heard(text: str) -> tuple[str, list[int]]:
    """What the circuit says to levels by chance, and its RTLIL."""
    Path("many.v").write_text(text)
    rtlil = verilog_rtlil(["many.v"])
    rng, sim, found = random.Random(SEED), Simulation(parse(rtlil), power_up=0), list[int]()
    for _ in range(400):
        sim.set_many({"a": rng.randrange(16), "r": int(rng.random() < 0.2), "c": 0})
        sim.settle()
        sim.set("c", 1)
        sim.settle()
        found.append(sim.get("y"))
    return rtlil, found


@pytest.mark.parametrize("block", BLOCKS, ids=range(len(BLOCKS)))
def test_it_means_the_same(block: str, monkeypatch: pytest.MonkeyPatch) -> None:
    print("seed", SEED)
    text = f"{HEAD}  {block}\nendmodule\n"
    apart = heard(text)
    assert split_large_blocks(text).count("always") > 1
    monkeypatch.setattr(large_blocks, "MANY", 1000)
    monkeypatch.setenv("FORELIGHT_CACHE", "elsewhere")
    whole = heard(text)
    assert apart[1] == whole[1] and len(set(whole[1])) > 10
    assert apart[0] != whole[0]


@pytest.mark.parametrize("block", AS_THEY_ARE, ids=range(len(AS_THEY_ARE)))
def test_what_holds_something_else_stays(block: str) -> None:
    text = f"{HEAD}  {block}\nendmodule\n"
    assert split_large_blocks(text) == text


def test_each_statement_keeps_its_line(monkeypatch: pytest.MonkeyPatch) -> None:
    Path("many.v").write_text(f"{HEAD}{BLOCKS[1]}\n  assign nowhere = 1 +;\nendmodule\n")
    line = 1 + (HEAD + BLOCKS[1]).count("\n") + 1
    with pytest.raises(SourceError, match=f"^many.v:{line}: "):
        verilog_rtlil(["many.v"])
    Path("many.v").write_text(f"{HEAD}\n{BLOCKS[1]}\nendmodule\n")
    apart = set(re.findall(r"many\.v:(\d+)\.", verilog_rtlil(["many.v"])))
    monkeypatch.setattr(large_blocks, "MANY", 1000)
    monkeypatch.setenv("FORELIGHT_CACHE", "elsewhere")
    assert apart == set(re.findall(r"many\.v:(\d+)\.", verilog_rtlil(["many.v"]))) > {"6", "8"}
