"""Memories from RTLIL: against Yosys' Verilog model of `$mem_v2` under Icarus Verilog, and in each form Yosys has."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from forelight.sim.reference import Reference
from forelight.sim.rtlil.reader import parse

from tests.sizes import sized

from ..icarus import needs_icarus
from .test_yosys_cells import Bench, Cell, walk

SEED = 30
WIDTHS = {"c": 1, "e": 4, "t": 4, "q": 4, "ra": 16, "w": 12, "wa": 8, "wd": 12}
# Four read ports (asynchronous; synchronous; transparent; with resets) and two write ports, 11 words of 6 bits.
MEMORY = Cell(
    "$mem_v2",
    {"RD_CLK": "clocks", "RD_EN": "e", "RD_ARST": "t", "RD_SRST": "q", "RD_ADDR": "ra"}
    | {"WR_CLK": "clocks2", "WR_EN": "w", "WR_ADDR": "wa", "WR_DATA": "wd"},
    "RD_DATA",
    24,
    {"MEMID": '"\\\\m"', "SIZE": "11", "OFFSET": "3", "ABITS": "4", "WIDTH": "6"}
    | {"INIT": "66'" + "000001100000" * 5 + "110011"}
    | {"RD_PORTS": "4", "RD_CLK_ENABLE": "4'1110", "RD_CLK_POLARITY": "4'1111"}
    | {"RD_TRANSPARENCY_MASK": "8'10110000", "RD_COLLISION_X_MASK": "8'00000000"}
    | {"RD_WIDE_CONTINUATION": "4'0000", "RD_CE_OVER_SRST": "4'0100"}
    | {"RD_ARST_VALUE": "24'" + "110101" * 4, "RD_SRST_VALUE": "24'" + "011100" * 4}
    | {"RD_INIT_VALUE": "24'" + "100111" * 4}
    | {"WR_PORTS": "2", "WR_CLK_ENABLE": "2'11", "WR_CLK_POLARITY": "2'11", "WR_PRIORITY_MASK": "4'0100"}
    | {"WR_WIDE_CONTINUATION": "2'00"},
)


@pytest.mark.slow
@needs_icarus
def test_the_model_of_yosys(tmp_path: Path) -> None:
    bench = Bench({**WIDTHS, "clocks": 4, "clocks2": 2}, [MEMORY])
    rows = []
    for row in walk(SEED, WIDTHS, 6000):
        # Reset lines of the asynchronous port stay at rest; the model would let them act on it.
        clock = {"clocks": row["c"] * 15, "clocks2": row["c"] * 3}
        rows.append({name: row[name] for name in WIDTHS} | clock | {"t": row["t"] & 8, "q": row["q"] & 14})
    compared, unknown = bench.compare(rows, tmp_path)
    print(f"{compared} bits compared, {unknown} unknown")
    assert compared > 2 * unknown  # reads out of range are x there


def yosys(text: str, commands: str, folder: Path) -> str:
    """RTLIL text after some commands of Yosys."""
    (folder / "in.il").write_text(text)
    script = "from pyosys import libyosys as ys; import sys; d = ys.Design(); ys.run_pass(sys.argv[1], d)"
    order = f"read_rtlil in.il; {commands}; write_rtlil out.il"
    subprocess.run(
        [sys.executable, "-c", script, order], cwd=folder, check=True, timeout=60, capture_output=True
    )
    return (folder / "out.il").read_text()


INPUTS = {"c": 1, "k": 1, "a": 3, "b": 3, "d": 4, "v": 8, "e": 4, "f": 8, "n": 1, "s": 1}
HEAD = "module \\m\n" + "".join(
    f"  wire width {width} input {number} \\{name}\n" for number, (name, width) in enumerate(INPUTS.items())
)
NEW = (
    HEAD
    + """
  wire width 4 output 20 \\q
  wire width 8 output 21 \\w
  wire width 4 output 22 \\x
  memory width 4 size 8 \\mem
  cell $meminit_v2 $1
    parameter \\MEMID "\\\\mem"
    parameter \\ABITS 3
    parameter \\WIDTH 4
    parameter \\WORDS 3
    parameter \\PRIORITY 2
    connect \\ADDR 3'001
    connect \\DATA 12'101011000011
    connect \\EN 4'1110
  end
  cell $meminit_v2 $2
    parameter \\MEMID "\\\\mem"
    parameter \\ABITS 3
    parameter \\WIDTH 4
    parameter \\WORDS 2
    parameter \\PRIORITY 1
    connect \\ADDR 3'000
    connect \\DATA 8'01010101
    connect \\EN 4'1111
  end
  cell $memwr_v2 $3
    parameter \\MEMID "\\\\mem"
    parameter \\ABITS 3
    parameter \\WIDTH 4
    parameter \\CLK_ENABLE 1
    parameter \\CLK_POLARITY 1
    parameter \\PORTID 0
    parameter \\PRIORITY_MASK 0
    connect \\ADDR \\a
    connect \\DATA \\d
    connect \\EN \\e
    connect \\CLK \\c
  end
  cell $memwr_v2 $4
    parameter \\MEMID "\\\\mem"
    parameter \\ABITS 3
    parameter \\WIDTH 8
    parameter \\CLK_ENABLE 1
    parameter \\CLK_POLARITY 1
    parameter \\PORTID 1
    parameter \\PRIORITY_MASK 1'1
    connect \\ADDR { \\b [2:1] 1'0 }
    connect \\DATA \\v
    connect \\EN \\f
    connect \\CLK \\c
  end
  cell $memrd_v2 $5
    parameter \\MEMID "\\\\mem"
    parameter \\ABITS 3
    parameter \\WIDTH 4
    parameter \\CLK_ENABLE 1
    parameter \\CLK_POLARITY 1
    parameter \\TRANSPARENCY_MASK 2'10
    parameter \\COLLISION_X_MASK 2'00
    parameter \\ARST_VALUE 4'1001
    parameter \\SRST_VALUE 4'0110
    parameter \\INIT_VALUE 4'1100
    parameter \\CE_OVER_SRST 1
    connect \\ADDR \\b
    connect \\DATA \\q
    connect \\ARST 1'0
    connect \\SRST \\s
    connect \\EN \\n
    connect \\CLK \\c
  end
  cell $memrd_v2 $6
    parameter \\MEMID "\\\\mem"
    parameter \\ABITS 3
    parameter \\WIDTH 8
    parameter \\CLK_ENABLE 1
    parameter \\CLK_POLARITY 0
    parameter \\TRANSPARENCY_MASK 2'00
    parameter \\COLLISION_X_MASK 2'00
    parameter \\ARST_VALUE 8'11110000
    parameter \\SRST_VALUE 8'xxxxxxxx
    parameter \\INIT_VALUE 8'00111100
    parameter \\CE_OVER_SRST 0
    connect \\ADDR { \\a [2:1] 1'0 }
    connect \\DATA \\w
    connect \\ARST \\s
    connect \\SRST 1'0
    connect \\EN \\n
    connect \\CLK \\k
  end
  cell $memrd_v2 $7
    parameter \\MEMID "\\\\mem"
    parameter \\ABITS 3
    parameter \\WIDTH 4
    parameter \\CLK_ENABLE 0
    parameter \\CLK_POLARITY 0
    parameter \\TRANSPARENCY_MASK 2'00
    parameter \\COLLISION_X_MASK 2'00
    parameter \\ARST_VALUE 4'x
    parameter \\SRST_VALUE 4'x
    parameter \\INIT_VALUE 4'x
    parameter \\CE_OVER_SRST 0
    connect \\ADDR \\b
    connect \\DATA \\x
    connect \\ARST 1'0
    connect \\SRST 1'0
    connect \\EN 1'1
    connect \\CLK 1'x
  end
end
"""
)


def same_behaviour(texts: list[str], steps: int) -> None:
    designs = [Reference(parse(text), "init") for text in texts]
    for number, row in enumerate(walk(SEED, INPUTS, steps)):
        for design in designs:
            for name in INPUTS:
                design.set(name, row[name])
            design.settle()
        shown = [[design.get(name) for name in design.netlist.outputs] for design in designs]
        assert shown.count(shown[0]) == len(shown), f"row {number}: {shown}"


@pytest.mark.parametrize(
    "commands", ["memory_collect", "memory_collect; memory_unpack", "memory_collect; memory_map"]
)
def test_the_forms_of_one_memory(tmp_path: Path, commands: str) -> None:
    """Ports in cells of their own, two of them wide, are the memory that Yosys makes of them."""
    same_behaviour([NEW, yosys(NEW, commands, tmp_path)], sized(500, 4000))
