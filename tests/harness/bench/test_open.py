"""Claims where the language leaves values open: contradicted neither by draws nor by the gates of another tool."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from forelight.designs import read
from forelight.harness.bench.predict import predict
from forelight.harness.boards.reader import load_board
from forelight.harness.boards.roster import find
from forelight.harness.hand.routine import default_procedure
from forelight.sim.undefined.opened import opened

from ...sim.icarus import needs_icarus
from .open_designs import designs
from .open_judges import Tally, by_chip, by_icarus, chip, claims, stimulus

DESIGNS = designs()
#: Designs in which nothing is open, whatever comes: none may lose a bit.
CLOSED = ("table_all", "bit_of_8", "write_past_5", "default_x_never", "plain_casez", "no_restart", "flushed")
#: Of drivers that share a net through high impedance Yosys' `synth` makes no gates, or makes inputs one.
NO_CHIP = ("three_state", "three_state_and_logic")


def judge(names: list[str], folder: Path, seed: int, updates: int) -> tuple[Tally, Tally]:
    """The sums of both judges over some of the designs."""
    drawn, made = Tally(), Tally()
    for number, name in enumerate(names):
        source = folder / f"{name}.v"
        source.write_text(DESIGNS[name])
        values = stimulus(seed + number, updates)
        claimed = claims(read(source), values, seed)
        before = drawn.proved_contradicted, made.proved_contradicted
        drawn.add(claimed, by_icarus(source, name, values, folder))
        if name not in NO_CHIP:
            made.add(claimed, by_chip(chip(f"read_verilog {source}", name, folder), values, seed))
        if before != (drawn.proved_contradicted, made.proved_contradicted):
            print(f"contradicted: {name}, seed {seed + number}")
    print(f"seed {seed}, {len(names)} designs\ndrawn: {drawn}\nmade: {made}")
    return drawn, made


def check(tally: Tally) -> None:
    assert tally.proved > 0 and tally.proved_contradicted == 0
    # Each of the sampled bits states a bound that holds with 95 % confidence.
    assert tally.sampled_contradicted <= 0.05 * tally.sampled


@needs_icarus
def test_no_claim_is_contradicted(tmp_path: Path) -> None:
    seed = random.randrange(1 << 30)
    for tally in judge(random.Random(seed).sample(sorted(DESIGNS), 4), tmp_path, seed, 40):
        check(tally)


@needs_icarus
@pytest.mark.slow
def test_no_claim_of_any_design_is_contradicted(tmp_path: Path) -> None:
    for tally in judge(list(DESIGNS), tmp_path, 1, 300):
        check(tally)


@pytest.mark.parametrize("name", CLOSED)
def test_what_is_never_open_costs_nothing(name: str, tmp_path: Path) -> None:
    (tmp_path / "closed.v").write_text(DESIGNS[name])
    netlist = read(tmp_path / "closed.v")
    assert opened(netlist).drawn is netlist


def test_a_fact_names_the_line_the_reason_and_the_step(tmp_path: Path) -> None:
    """The third step after the restart counts the divisor down to 0, and the step after takes the quotient over."""
    (tmp_path / "alu.v").write_text(
        "module alu(input [7:0] inputs, output [7:0] outputs);\n"
        "  wire step = inputs[7], restart = inputs[6];\n"
        "  reg [3:0] n, q;\n"
        "  always @(posedge step) if (restart) n <= 3; else n <= n - 1;\n"
        "  always @(posedge step) if (restart) q <= 0;\n"
        "    else q <= 12 / n;\n"
        "  assign outputs = {n, q};\n"
        "endmodule\n"
    )
    board = load_board("quay")
    sheet = find(board, str(tmp_path / "alu.v")).datasheet
    golden = predict(board, sheet, default_procedure(board, sheet, steps=20), power_ups=16)
    reset = 2  # steps of which the restart takes hold
    assert golden.facts["undefined"] == f"division by zero at step {reset + 3}, alu.v:6"
    lost = golden.steps[(golden.settled & 0x0F) != 0x0F]
    # The output pins answer a frame later, in which the next step has begun.
    assert set(lost[lost > reset].tolist()) == {reset + 4, reset + 5, reset + 20}


def test_what_the_reader_found_odd_stands_in_the_facts(tmp_path: Path) -> None:
    (tmp_path / "odd.v").write_text(
        "module odd(input [7:0] inputs, output [7:0] outputs);\n"
        "  wire loose;\n"
        "  assign outputs = {6'd0, loose, inputs[0] & missing};\n"
        "endmodule\n"
    )
    board = load_board("quay")
    sheet = find(board, str(tmp_path / "odd.v")).datasheet
    golden = predict(board, sheet, default_procedure(board, sheet, steps=2), power_ups=16)
    said = str(golden.facts["warnings"])
    assert "missing is not declared" in said and "loose (odd.v:2" in said and "nothing drives it" in said
    assert not golden.settled[-1] & 0b10
