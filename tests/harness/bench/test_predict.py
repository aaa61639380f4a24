"""Whole predictions: what is settled and when, other slots, and the facts that go with a golden."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from forelight.designs.catalogue import load_design, names
from forelight.designs.procedures.procedure import Procedure, Seconds, Strap, parse
from forelight.designs.sheets.bare import bare
from forelight.designs.sheets.reader import load
from forelight.harness.bench.predict import board_hash, predict, procedure_hash
from forelight.harness.boards.reader import load_board
from forelight.harness.golden.golden import Golden
from forelight.harness.hand.routine import bring_up, default_procedure, run_procedure
from forelight.sim.errors import UsageError

from tests.sizes import sized

QUAY, MOLE = load_board("quay"), load_board("mole")
FRAME = 4 * 8 * 192  # ticks


def procedure(*actions: str) -> Procedure:
    return Procedure("test", parse(actions))


def at(golden: Golden, tick: int) -> tuple[int, int, int]:
    """Inputs, outputs and settled bits at a tick."""
    row = int(np.searchsorted(golden.ticks, tick, side="right")) - 1
    return int(golden.inputs[row]), int(golden.outputs[row]), int(golden.settled[row])


def after_step(golden: Golden, step: int) -> tuple[int, int]:
    """Outputs and settled bits at the end of a step."""
    row = int(np.searchsorted(golden.steps, step, side="right")) - 1
    return int(golden.outputs[row]), int(golden.settled[row])


def test_plain_logic_answers_one_frame_after_its_inputs() -> None:
    sheet = load_design("watch_vote")
    golden = predict(QUAY, sheet, procedure("select 3", "set i0=1 i1=1", "set i2=1"))
    vote = {0: 0b1000_1000, 3: 0b0100_0010, 7: 0b1100_0000}  # the three words, and what the segments say
    assert [at(golden, tick) for tick in (0, FRAME - 2)] == [(0, 0, 0)] * 2
    assert at(golden, FRAME - 1) == (0, vote[0], 0xFF)  # captured in the first tick of the frame
    assert at(golden, 2 * FRAME - 2) == (0, vote[0], 0xFF)
    assert at(golden, 2 * FRAME - 1) == (0b011, vote[0], 0xFF)
    assert at(golden, 3 * FRAME - 1) == (0b111, vote[3], 0xFF)
    assert at(golden, 4 * FRAME - 1) == (0b111, vote[7], 0xFF)
    assert (golden.end, golden.facts["latency_ticks"]) == (4 * FRAME, FRAME)
    assert set(golden.proved.tolist()) == {0, 0xFF}
    assert not golden.sampled.any()
    assert set(golden.steps.tolist()) == {0}


def test_a_direct_link_answers_at_once() -> None:
    golden = predict(MOLE, load_design("watch_vote"), procedure("select 4", "set i0=1 i1=1", "set i2=1"))
    assert golden.ticks.tolist() == [0, 1, 2]
    assert golden.outputs.tolist() == [0b1000_1000, 0b0100_0010, 0b1100_0000]
    assert (golden.end, golden.facts["latency_ticks"]) == (3, 0)


def test_a_restart_settles_what_was_not() -> None:
    sheet = load_design("tide_gauge")
    golden = predict(QUAY, sheet, default_procedure(QUAY, sheet, hz=50, steps=10, slot=101))
    first = int(golden.steps[np.flatnonzero(golden.settled == 0xFF)[0]])
    assert 0 < first < golden.steps[-1]
    assert set(golden.settled[golden.steps >= first + 1].tolist()) == {0xFF}
    np.testing.assert_array_equal(golden.proved, golden.settled)  # the first edge loads a constant
    # The restart lasts for two steps, then ten: 1 to 9 and one down, with the point lit below 9 on the way up.
    digits = {"0": 0x3F, "1": 0x06, "9": 0x6F, "8": 0x7F}
    last = int(golden.steps[-1])
    assert (
        golden.end == golden.ticks[golden.steps == last][0] + 1 + (2 * 30 - 1) * FRAME
    )  # the last step whole
    assert after_step(golden, last - 10) == (digits["0"] | 0x80, 0xFF)
    assert after_step(golden, last - 9) == (digits["1"] | 0x80, 0xFF)
    assert after_step(golden, last - 1) == (digits["9"], 0xFF)
    assert after_step(golden, last) == (digits["8"], 0xFF)


def test_without_a_restart_it_stays_unsettled() -> None:
    sheet = load_design("tide_gauge")
    golden = predict(QUAY, sheet, procedure("strap 0", "steps 50"))
    assert not np.any(golden.settled == 0xFF)
    one = predict(QUAY, sheet, procedure("strap 0", "steps 50"), power_ups=1)
    assert np.all(one.settled[1:] == 0xFF)  # one power-up agrees with itself


@pytest.mark.parametrize(("frames", "edge"), [(9, True), (10, False)])
def test_an_unselected_slot_stands_still_and_an_empty_one_says_so(frames: int, edge: bool) -> None:
    board = replace(QUAY, empty_outputs=0x5A)
    sheet = load_design("tide_gauge")
    there = ["select 101", "strap 0", "restart", "steps 4", "frames 1"]
    away = ["select 3", "frames 99", "select 5", f"frames {frames}", "select 101"]
    golden = predict(board, sheet, procedure(*there, *away))
    shown = golden.outputs[golden.settled == 0xFF].tolist()
    kept = [value for value, before in zip(shown, [None, *shown], strict=False) if value != before]
    # Four steps; the vote of slot 3 (nobody says clear); the empty slot; and the gauge as it was.
    # The step line was left low; where it is found high again, coming back makes a step.
    four, five = 0x66 | 0x80, 0x6D | 0x80
    assert kept[-5:] == ([four, 0x88, 0x5A, four, five] if edge else [0x4F | 0x80, four, 0x88, 0x5A, four])
    empty = (golden.outputs == 0x5A) & (golden.settled == 0xFF)
    assert set(golden.proved[empty].tolist()) == {0xFF}
    assert golden.facts["slot"] == 101
    assert "netlist_sha256_slot_3" in golden.facts
    assert "netlist_sha256_slot_5" not in golden.facts


def test_the_same_question_has_the_same_answer_and_another_seed_says_so() -> None:
    sheet = load_design("dice")
    asked = procedure("strap 0", "set i0=1", "steps 40")
    one, two = predict(QUAY, sheet, asked), predict(QUAY, sheet, asked)
    for name in ("ticks", "steps", "inputs", "outputs", "proved", "sampled"):
        np.testing.assert_array_equal(getattr(one, name), getattr(two, name))
    assert one.facts == two.facts
    assert set(one.proved.tolist()) == {0, 0x80}  # the point is a switch
    assert predict(QUAY, sheet, asked, seed=3).facts["seed"] == 3


def test_facts_name_everything_but_the_place(tmp_path: Path) -> None:
    sheet = load_design("lighthouse")
    asked = default_procedure(QUAY, sheet, steps=5)
    facts = dict(predict(QUAY, sheet, asked).facts)
    assert (facts["design"], facts["slot"], facts["procedure"]) == ("lighthouse", 17, "default")
    assert (facts["start"], facts["power_ups"], facts["seed"], facts["bound"]) == ("fixed", 256, 0, "3/256")
    assert all(len(str(facts[name])) == 64 for name in facts if "sha256" in name)
    shutil.copytree(sheet.folder, tmp_path / "lighthouse")
    moved = predict(QUAY, load(tmp_path / "lighthouse"), asked, slot=17)
    assert moved.facts == facts
    board = replace(QUAY, title="Another", pins={}, display={}, slots={}, path=None)
    assert board_hash(board) == facts["board_sha256"]
    assert board_hash(replace(QUAY, positions=191)) != facts["board_sha256"]
    assert board_hash(replace(QUAY, debounce={"i0": 9})) != facts["board_sha256"]
    assert procedure_hash(replace(asked, name="else")) == facts["procedure_sha256"]
    assert procedure_hash(Procedure("default", asked.actions[:-1])) != facts["procedure_sha256"]


def test_the_facts_of_a_changed_design_differ(tmp_path: Path) -> None:
    folder = tmp_path / "tide_gauge"
    shutil.copytree(load_design("tide_gauge").folder, folder)
    asked = procedure("frames 1")
    before = predict(QUAY, load(folder), asked, slot=0).facts["netlist_sha256"]
    source = folder / "design.py"
    source.write_text("# a comment\n" + source.read_text())
    assert predict(QUAY, load(folder), asked, slot=0).facts["netlist_sha256"] == before
    source.write_text(source.read_text().replace("level != 8", "level != 7"))
    assert predict(QUAY, load(folder), asked, slot=0).facts["netlist_sha256"] != before


@pytest.mark.parametrize("name", names()[:: sized(3, 1)])
@pytest.mark.parametrize("board", [QUAY, MOLE], ids=["quay", "mole"])
def test_every_run_of_every_design_on_both_boards(name: str, board: object) -> None:
    where = QUAY if board is QUAY else MOLE
    sheet = load_design(name)
    for run in sheet.runs:
        golden = predict(where, sheet, run_procedure(where, sheet, run.name))
        assert golden.settled[-1] == 0xFF or sheet.restart is None or golden.races
        assert np.all(np.diff(golden.ticks) > 0)
        assert golden.ticks[0] == 0
        assert golden.ticks[-1] < golden.end


def test_the_usual_procedure_takes_the_nearest_code() -> None:
    sheet = load_design("weather_report")  # wants 300 steps a second
    straps = [action for action in bring_up(QUAY, sheet) if isinstance(action, Strap)]
    assert [QUAY.step_hz(strap.code) for strap in straps] == [300]
    at_50 = default_procedure(QUAY, sheet, hz=50)
    assert Strap(29) in at_50.actions
    assert Strap(7) in default_procedure(QUAY, sheet, code=7).actions
    plain = default_procedure(QUAY, load_design("watch_vote"), levels={"i1": 1})
    assert plain.actions[-1] == Seconds(1.0)
    assert not any(isinstance(action, Strap) for action in plain.actions)


def test_a_run_starts_from_the_levels_that_were_asked_for() -> None:
    sheet = load_design("lighthouse")
    asked = run_procedure(QUAY, sheet, "group flashing", slot=17, levels={"i3": 1})
    golden = predict(QUAY, sheet, asked)
    assert golden.inputs[-1] & 0b1001 == 0b1001


def test_power_ups_must_be_some() -> None:
    with pytest.raises(UsageError, match=r"^0 power-ups are too few; give at least 1$"):
        predict(QUAY, load_design("dice"), procedure("frames 1"), power_ups=0)


def test_progress_is_told_over_all_slots() -> None:
    told: list[tuple[int, int]] = []
    asked = procedure("select 137", "strap 0", "steps 200", "select 101", "steps 200")
    predict(QUAY, load_design("dice"), asked, progress=lambda done, total: told.append((done, total)))
    done, totals = zip(*told, strict=True)
    assert list(done) == sorted(done)
    assert len(set(totals)) == 1
    assert done[-1] == totals[0] > 800


def test_a_chain_that_never_runs_shows_nothing() -> None:
    golden = predict(QUAY, load_design("dice"), procedure("oscillator off", "set i0=1", "wait 1 s"))
    assert (golden.ticks.tolist(), golden.settled.tolist(), golden.inputs.tolist()) == ([0], [0], [0])
    assert golden.end == (1 + 1 + 3000 + 1) * FRAME


def test_a_loop_that_never_rests_is_told_with_its_place(tmp_path: Path) -> None:
    (tmp_path / "ring.v").write_text(
        "module ring (input [7:0] inputs, output [7:0] outputs);\n"
        "    wire ring = ~(ring & inputs[0]);\n"
        "    assign outputs = {8{ring}};\n"
        "endmodule\n"
    )
    sheet = bare(tmp_path / "ring.v", None, None, None)
    assert predict(QUAY, sheet, procedure("set i1=1")).settled[-1] == 0xFF
    found = predict(QUAY, sheet, procedure("set i0=1"))
    (loop,) = found.loops
    assert loop.places[0].startswith("ring.v:2") and found.facts["free_running"] == str(loop)
    assert not found.settled.any()
