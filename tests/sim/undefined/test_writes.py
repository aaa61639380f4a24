"""What a write port takes while nothing is written is nobody's business; what it may write is."""

from __future__ import annotations

from pathlib import Path

import pytest
from forelight.designs import read
from forelight.sim.undefined.opened import opened

#: Bodies of a clocked block that writes a memory of eight words, and the reasons that are open.
WRITES = {
    "if (go) m[at] <= d;": [],
    "if (go) begin if (d[0]) m[at] <= 9; else m[at + 3'd1] <= d; end": [],
    "case (at) 0: m[at] <= 1; 2: m[1] <= d; default: ; endcase": [],
    "if (go) m[at][1:0] <= d[1:0];": [],
    "m[at] <= go ? d : 4'bx;": ["an undefined value (x, or a net that nothing drives)"],
    "if (go) m[at] <= 4'b1x; else m[at] <= d;": ["an undefined value (x, or a net that nothing drives)"],
}


@pytest.mark.parametrize("body", WRITES)
def test_only_what_is_written_is_open(body: str, tmp_path: Path) -> None:
    (tmp_path / "m.v").write_text(
        "module m(input c, go, input [2:0] at, input [3:0] d, output [3:0] y);\n"
        f"  reg [3:0] m [0:7];\n  always @(posedge c) {body}\n  assign y = m[at];\nendmodule\n"
    )
    assert [place.reason for place in opened(read(tmp_path / "m.v")).places] == WRITES[body]
