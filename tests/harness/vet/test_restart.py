"""What a restart leaves out: the same whatever the rate, and whether or not an output shows it."""

from __future__ import annotations

from pathlib import Path

import pytest
from forelight.harness.boards.reader import load_board
from forelight.harness.boards.roster import find
from forelight.harness.chip.netlist import wrapper_netlist
from forelight.harness.vet.restart import left_out

HEAD = (
    "module odd(input [7:0] inputs, output [7:0] outputs);\n  wire step = inputs[7], restart = inputs[6];\n"
)


def said(folder: Path, body: str) -> list[str]:
    (folder / "odd.v").write_text(f"{HEAD}{body}\nendmodule\n")
    sheet = find(load_board("quay"), str(folder / "odd.v")).datasheet
    return [finding.said for finding in left_out(sheet, wrapper_netlist(sheet))]


def test_a_register_that_no_output_shows_is_named_with_its_line(tmp_path: Path) -> None:
    (found,) = said(
        tmp_path,
        "  reg [3:0] n; reg [1:0] t;\n"
        "  always @(posedge step) if (restart) n <= 0; else n <= n + 1;\n"
        "  always @(posedge step) if (!restart) t <= t + 1;\n"
        "  assign outputs = {3'd0, n[3] & ~n[3] & t[0], n};",
    )
    assert found.startswith("the restart leaves out t (odd.v:5):")


@pytest.mark.parametrize(
    "body",
    [
        "  reg q; always @(posedge step) q <= restart ? 0 : ~q; assign outputs = q;",
        "  reg q; always @(posedge step or posedge restart) if (restart) q <= 0; else q <= ~q; assign outputs = q;",
        # What is passed on settles within the two steps that a restart lasts.
        "  reg p, q; always @(posedge step) begin p <= restart; q <= p; end assign outputs = q;",
    ],
)
def test_a_restart_that_reaches_all_leaves_nothing_out(body: str, tmp_path: Path) -> None:
    assert said(tmp_path, body) == []


def test_steps_before_the_restart_do_not_count(tmp_path: Path) -> None:
    """Three steps settle the row, and the restart lasts two; one that came before hid the last register."""
    (found,) = said(
        tmp_path,
        "  reg p, q, r; always @(posedge step) begin p <= restart; q <= p; r <= q; end assign outputs = r;",
    )
    assert found.startswith("the restart leaves out r (odd.v:3):")
