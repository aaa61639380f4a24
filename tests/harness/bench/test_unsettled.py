"""What a prediction leaves unsettled: races by their lines and instant, and runs that may begin anywhere."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from forelight.designs.catalogue import load_design, names
from forelight.designs.datasheet import Datasheet
from forelight.designs.sheets.bare import bare
from forelight.harness.bench import period
from forelight.harness.bench.predict import predict
from forelight.harness.hand.routine import default_procedure, run_procedure

from tests.sizes import sized

from .test_predict import FRAME, QUAY, at, procedure


def counter(tmp_path: Path, body: str) -> Datasheet:
    """A design of eight bits of state without a restart, its step line i7."""
    (tmp_path / "free.v").write_text(
        "module free (input [7:0] inputs, output [7:0] outputs);\n"
        f"    reg [7:0] state;\n    always @(posedge inputs[7]) state <= {body};\n"
        "    assign outputs = state;\nendmodule\n"
    )
    return bare(tmp_path / "free.v", None, "i7", None)


def test_a_free_counter_starts_anywhere_in_its_period(tmp_path: Path) -> None:
    sheet = counter(tmp_path, "state + 1")
    golden = predict(QUAY, sheet, procedure("strap 29", "steps 700"))  # half is 30 frames
    facts = golden.facts
    assert (facts["start"], facts["period_steps"]) == ("anywhere", 256)
    assert facts["period_ticks"] == 256 * 60 * FRAME
    begun = golden.ticks >= int(facts["period_from_tick"])
    assert set(golden.settled[begun].tolist()) == {0xFF}
    assert set(golden.settled[~begun].tolist()) <= {
        0,
        0x80,
    }  # two power-ups of 256 may differ in all but one bit
    first = int(facts["period_from_tick"])
    seen = [at(golden, first + step * 60 * FRAME)[1] for step in range(256)]
    assert seen == [(seen[0] + step) % 256 for step in range(256)]
    assert not golden.races


@pytest.mark.parametrize(
    ("body", "steps"),
    [
        ("state + 1", 250),  # no period within the run
        ("state == 0 ? 0 : state == 255 ? 1 : state + 1", 700),  # stuck at 0 from one power-up
        ("{state[0], state[7:1]}", 700),  # a ring: what went in goes round for ever
        ("state < 128 ? (state + 1) & 127 : 128 | (state + 1)", 700),  # two cycles
    ],
)
def test_what_does_not_come_round_for_all_has_a_fixed_start(tmp_path: Path, body: str, steps: int) -> None:
    golden = predict(QUAY, counter(tmp_path, body), procedure("strap 29", f"steps {steps}"))
    assert golden.facts["start"] == "fixed"
    assert golden.settled[-1] == 0


def test_a_period_that_would_take_too_long_to_compare_is_not_claimed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """256 steps of two updates, from each state that the sampled power-ups came to: two at least."""
    sheet, tried = counter(tmp_path, "state + 1"), procedure("strap 29", "steps 700")
    for most, start in ((512 * 16, "anywhere"), (512 * 2 - 1, "fixed")):
        monkeypatch.setattr(period, "_MOST", most)
        assert predict(QUAY, sheet, tried, power_ups=16).facts["start"] == start


def test_a_period_begins_where_nothing_but_the_step_line_moves(tmp_path: Path) -> None:
    sheet = counter(tmp_path, "inputs[0] ? state + 1 : state")
    moved = predict(
        QUAY, sheet, procedure("set i0=1", "strap 29", "steps 300", "set i0=0", "set i0=1", "steps 600")
    )
    again = next(
        tick
        for tick, level in zip(moved.ticks.tolist(), (moved.inputs & 1).tolist(), strict=True)
        if tick > 300 * 60 * FRAME and level
    )
    assert moved.facts["start"] == "anywhere"
    assert int(moved.facts["period_from_tick"]) > again
    left = predict(QUAY, sheet, procedure("set i0=1", "strap 29", "steps 600", "disable", "frames 5"))
    assert left.facts["start"] == "fixed"


def test_a_race_is_named_with_its_lines_and_its_instant(tmp_path: Path) -> None:
    (tmp_path / "hold.v").write_text(
        "module hold (input [7:0] inputs, output [7:0] outputs);\n"
        "    reg kept; always @(posedge inputs[7]) kept <= inputs[0];\n"
        "    assign outputs = {7'd0, kept};\nendmodule\n"
    )
    sheet = bare(tmp_path / "hold.v", None, "i7", None)
    by_hand = predict(
        QUAY, sheet, procedure("set i7=1", "set i7=0", "set i0=1 i7=1", "frames 2", "set i7=0", "set i7=1")
    )
    (race,) = by_hand.races
    assert (race.tick, race.step, race.lines, race.outputs) == (3 * FRAME - 1, 2, ("i0", "i7"), ("o0",))
    assert [name.rpartition(".")[2] for name in race.registers] == ["kept"]
    # It shows one frame later, and the next step settles it.
    assert [at(by_hand, tick * FRAME - 1)[2] & 1 for tick in (3, 4, 7, 8)] == [1, 0, 0, 1]
    apart = predict(QUAY, sheet, procedure("set i7=1", "set i7=0", "set i0=1", "set i7=1", "frames 2"))
    falling = predict(QUAY, sheet, procedure("set i7=1", "set i0=1 i7=0", "set i7=1", "frames 2"))
    assert not apart.races and not falling.races


def test_a_race_that_only_the_proof_suspects_is_named_apart(tmp_path: Path) -> None:
    # In silicon two flip-flops may take one moving line each its way; in a sample both take the same.
    (tmp_path / "twins.v").write_text(
        "module twins (input [7:0] inputs, output [7:0] outputs);\n"
        "    reg one, two; always @(posedge inputs[7]) begin one <= inputs[0]; two <= inputs[0]; end\n"
        "    assign outputs = {6'd0, two, one ^ two};\nendmodule\n"
    )
    sheet = bare(tmp_path / "twins.v", None, "i7", None)
    moves = ("set i7=1", "set i7=0", "set i0=1 i7=1", "frames 2", "set i7=0", "set i7=1", "frames 2")
    golden = predict(QUAY, sheet, procedure(*moves))
    (race,), (suspect,) = golden.races, golden.suspects
    assert (race.tick, race.step, race.lines, race.outputs) == (3 * FRAME - 1, 2, ("i0", "i7"), ("o1",))
    assert (suspect.tick, suspect.step, suspect.lines, suspect.outputs) == (
        *(3 * FRAME - 1, 2, ("i0", "i7")),
        ("o0",),
    )
    # Proved at first, then only sampled, and proved again once a step comes alone.
    claims = [(int(p) & 3, int(s) & 3) for p, s in zip(golden.proved, golden.sampled, strict=True)]
    assert [claim for claim, before in zip(claims, [None, *claims], strict=False) if claim != before][-3:] == [
        (3, 0), (0, 1), (3, 0),
    ]  # fmt: skip
    apart = ("set i7=1", "set i7=0", "set i0=1", "set i7=1", "frames 2")
    assert not predict(QUAY, sheet, procedure(*apart)).suspects


def test_what_a_glitch_may_decide_is_unsettled_and_nothing_else(tmp_path: Path) -> None:
    """No sampled power-up glitches, so their agreement is no ground to say how the chip counts (Time 5)."""
    (tmp_path / "hazard.v").write_text(
        "module hazard (input [7:0] inputs, output [7:0] outputs);\n"
        "    wire tick = inputs[0] & inputs[1] | ~inputs[0] & inputs[2]; reg count, follows, other;\n"
        "    always @(posedge tick or posedge inputs[6]) if (inputs[6]) count <= 0; else count <= ~count;\n"
        "    always @(posedge inputs[7]) begin follows <= count; other <= inputs[3]; end\n"
        "    assign outputs = {5'd0, other, follows, count};\nendmodule\n"
    )
    sheet = bare(tmp_path / "hazard.v", None, "i7", None)
    up = ("set i6=1", "set i7=1", "set i6=0", "set i7=0", "set i1=1", "set i2=1", "frames 2")
    golden = predict(QUAY, sheet, procedure(*up, "set i0=1", "frames 2"))
    (race,) = golden.races
    assert (race.lines, race.outputs) == (("i0",), ("o0",))
    assert not golden.suspects
    assert [int(golden.settled[row]) & 0b111 for row in (-2, -1)] == [0b111, 0b110]
    stepped = predict(QUAY, sheet, procedure(*up, "set i0=1", "set i7=1", "frames 2"))
    assert int(stepped.settled[-1]) & 0b111 == 0b100
    again = predict(QUAY, sheet, procedure(*up, "set i0=1", "set i6=1", "set i7=1", "frames 2"))
    assert int(again.proved[-1]) & 0b111 == 0b111


def test_a_pulse_that_clears_itself_counts_or_does_not(tmp_path: Path) -> None:
    """Its width is a few gate delays: common practice, no source."""
    (tmp_path / "pulse.v").write_text(
        "module pulse (input [7:0] inputs, output [7:0] outputs);\n"
        "    reg pulse, count; wire clear = pulse | inputs[6];\n"
        "    always @(posedge inputs[7] or posedge clear) if (clear) pulse <= 0; else pulse <= 1;\n"
        "    always @(posedge pulse or posedge inputs[6]) if (inputs[6]) count <= 0; else count <= ~count;\n"
        "    assign outputs = {6'd0, count, 1'b1};\nendmodule\n"
    )
    sheet = bare(tmp_path / "pulse.v", None, "i7", None)
    golden = predict(QUAY, sheet, procedure("set i6=1", "set i6=0", "set i7=1", "frames 2"))
    assert int(golden.settled[-1]) & 0b11 == 0b01
    assert [race.lines for race in golden.races] == [("i7",)]


def test_nothing_is_suspected_where_lines_move_one_at_a_time() -> None:
    for name in ("dice", "ferry_whistle", "gated_clock", "ripple_clock"):
        sheet = load_design(name)
        for run in sheet.runs:
            assert not predict(QUAY, sheet, run_procedure(QUAY, sheet, run.name), power_ups=3).suspects


@pytest.mark.slow
def test_proof_and_sample_never_contradict_each_other() -> None:
    for name in names()[:: sized(6, 1)]:
        sheet = load_design(name)
        golden = predict(QUAY, sheet, default_procedure(QUAY, sheet, steps=50), power_ups=16)
        assert not np.any(golden.proved & golden.sampled)
        one = predict(QUAY, sheet, default_procedure(QUAY, sheet, steps=50), power_ups=1, seed=1)
        for tick in golden.ticks.tolist():
            assert (at(golden, tick)[1] ^ at(one, tick)[1]) & at(golden, tick)[2] == 0
