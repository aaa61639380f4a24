"""Whether a restart settles a design, after how many steps, and which outputs never settle."""

from __future__ import annotations

from pathlib import Path

import pytest
from forelight.designs.catalogue import load_design
from forelight.designs.datasheet import Datasheet
from forelight.designs.sheets.bare import bare
from forelight.harness.bench.predict import predict
from forelight.harness.bench.settling import Settling, restart_tick, settling
from forelight.harness.hand.routine import default_procedure

from .test_predict import FRAME, QUAY, procedure

EIGHT = tuple(f"o{bit}" for bit in range(8))


def found(sheet: Datasheet, *actions: str, power_ups: int = 64) -> Settling:
    asked = procedure(*actions) if actions else default_procedure(QUAY, sheet, steps=40)
    golden = predict(QUAY, sheet, asked, power_ups=power_ups)
    return settling(golden, restart_tick(QUAY, sheet, asked, 0))


def verilog(tmp_path: Path, *lines: str, restart: str | None = "i6") -> Datasheet:
    body = "\n    ".join(("wire step = inputs[7], restart = inputs[6];", *lines))
    (tmp_path / "own.v").write_text(
        f"module own (input [7:0] inputs, output [7:0] outputs);\n    {body}\nendmodule\n"
    )
    return bare(tmp_path / "own.v", None, "i7", restart)


@pytest.mark.parametrize("name", ["tide_gauge", "lighthouse", "weather_report"])
def test_the_restart_of_a_design_settles_it(name: str) -> None:
    answer = found(load_design(name))
    assert (answer.restarted, answer.steps, answer.never, answer.proved) == (True, 1, (), EIGHT)


def test_a_restart_that_forgets_a_register(tmp_path: Path) -> None:
    sheet = verilog(
        tmp_path,
        "reg [3:0] count; reg kept;",
        "always @(posedge step) count <= restart ? 0 : count + 1;",
        "always @(posedge step) if (count == 15) kept <= ~kept;",
        "assign outputs = {kept, 3'd0, count};",
    )
    answer = found(sheet)  # 40 steps, and after 32 it is where it was
    assert (answer.restarted, answer.steps, answer.never, answer.raced) == (True, None, ("o7",), ())
    assert answer.anywhere
    short = found(sheet, "strap 0", "restart", "steps 20")
    assert (short.steps, short.never, short.anywhere) == (None, ("o7",), False)
    assert short.proved == EIGHT[:7]


def test_it_may_take_some_steps(tmp_path: Path) -> None:
    sheet = verilog(
        tmp_path,
        "reg [4:0] line;",
        "always @(posedge step) line <= {line[3:0], restart};",
        "assign outputs = {3'd0, line};",
    )
    assert found(sheet).steps == 5
    none = found(sheet, "strap 0", "steps 20")
    assert (none.restarted, none.steps) == (False, 5)


def test_what_only_a_sample_can_tell(tmp_path: Path) -> None:
    # a ^ a is 0, whatever a is; ternary logic does not see that (Kleene 1952).
    sheet = verilog(
        tmp_path,
        "reg [1:0] a;",
        "always @(posedge step) a <= {a[0] ^ a[1] ^ a[0] ^ a[1], a[1]};",
        "assign outputs = {7'd0, a[0]};",
        restart=None,
    )
    answer = found(sheet, "strap 0", "steps 20")
    assert (answer.steps, answer.never) == (2, ())
    assert answer.proved == EIGHT[1:] and answer.sampled == ("o0",)


def test_what_a_race_has_unsettled(tmp_path: Path) -> None:
    sheet = verilog(
        tmp_path,
        "reg kept;",
        "always @(posedge step) kept <= restart ? 0 : kept | inputs[0];",
        "assign outputs = {7'd0, kept};",
    )
    answer = found(sheet, "restart", "set i7=1", "set i7=0", "set i6=1", "set i7=1", "set i6=0 i7=0", "set i0=1 i7=1",
                   "set i0=0 i7=0", "frames 3")  # fmt: skip
    assert (answer.never, answer.raced) == (("o0",), ("o0",))


def test_the_restart_begins_when_its_line_moves() -> None:
    sheet = load_design("tide_gauge")
    assert restart_tick(QUAY, sheet, procedure("strap 0", "restart", "steps 3"), 0) == 3 * FRAME
    assert restart_tick(QUAY, sheet, procedure("frames 3"), 0) is None
