"""`forelight wall`: a small chip on which one design flashes too much and one cannot be read."""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from forelight.harness.asking.question import USUAL_STEPS, Asked
from forelight.harness.boards.reader import load_board
from forelight.harness.boards.writer import write_board
from forelight.harness.cli import cli
from forelight.harness.commands.wall import Moving, held, pane
from forelight.harness.terminal import cores
from forelight.harness.view.display import UNICODE, colour
from forelight.harness.view.motion import UNLIT
from forelight.harness.view.wall import Pane, as_html

from tests.harness.browser import colours, needs_browser
from tests.harness.test_terminal import on_terminal

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def board(tmp_path: Path) -> Path:
    """Quay with three designs: 88 sends text at a rate that flashes, 101 counts, 3 is plain logic."""
    file = tmp_path / "small.toml"
    slots = {3: "watch_vote", 88: "weather_report", 101: "tide_gauge"}
    write_board(replace(load_board("quay"), slots=slots), file)
    return file


def wall(board: Path, *options: str) -> Result:
    return CliRunner(env={"COLUMNS": "80"}).invoke(
        cli, ["wall", "--board", str(board), "--seconds", "3", *options]
    )


@pytest.fixture(autouse=True)
def one_core(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three designs are ready sooner in this process than another one has begun."""
    monkeypatch.setattr(cores, "core_count", lambda: 1)


STILL = """\
Quay: the board with the chain (small): 3 displays, each from when its slot is
up.

3            88           101
 ···          ▒▒▒          ███
·   ·        ·   ·        █   ·
 ···          ···          ███
·   ·        ·   ·        █   █
 ███  █       ···  ·       ███  █
watch_vote   weather_re…  tide_gauge
steady       flickering   readable

· dark, ▒ up to half, █ lit

To the eye: 1 steady, 1 flickering, 1 readable.
To read what flickers or blends, take strap code 149 for weather_report (88); or
a slower one.
"""


def test_a_pipe_gets_the_last_moment_and_what_the_eye_makes_of_it(board: Path) -> None:
    assert wall(board).output == STILL


def test_json_holds_the_pictures_that_show_has(board: Path) -> None:
    slots = {one["slot"]: one for one in json.loads(wall(board, "--json").output)["slots"]}
    assert [slot for slot, one in slots.items() if one["held"]] == [88]
    shown = CliRunner().invoke(cli, ["show", "tide_gauge", "--seconds", "3", "--json"])
    for one, other in zip(slots[101]["pictures"], json.loads(shown.output)["pictures"], strict=True):
        assert one["brightness"] == other["brightness"]
        assert abs(one["time_s"] - other["time_s"]) <= 1 / 25
    assert slots[101]["eye"] == json.loads(shown.output)["eye"]


def test_a_slot_that_cannot_be_read_gets_a_complaint(board: Path, tmp_path: Path) -> None:
    (tmp_path / "broken.v").write_text("module broken(", "utf-8")
    board.write_text(board.read_text("utf-8").replace('"watch_vote"', '"broken.v"'), "utf-8")
    result = wall(board, "--still")
    assert result.exit_code == 2
    assert "broken.v:1" in result.stderr
    assert "tide_gauge" in result.stdout


def test_a_picture_that_moves_is_written_whole(board: Path, tmp_path: Path) -> None:
    for name in ("wall.svg", "wall.html"):
        result = wall(board, "-o", str(tmp_path / name))
        assert result.exit_code == 0
        assert "88 weather_report (" in result.output
    root = ET.fromstring((tmp_path / "wall.svg").read_text("utf-8"))
    assert len(list(root.iter(f"{SVG}rect"))) == 1 + 3  # the ground, and a window for each
    assert "Held still, as they flash too often" in (tmp_path / "wall.html").read_text("utf-8")
    assert "not that of a wall" in wall(board, "-o", str(tmp_path / "wall.png")).output
    assert "contradict" in wall(board, "--runs").output


def test_an_empty_board_is_said(board: Path) -> None:
    board.write_text(re.sub(r'(?m)^\d+ = ".*"$', "", board.read_text("utf-8")), "utf-8")
    assert "holds no design" in wall(board).output


@pytest.fixture(scope="module")
def panes() -> list[Pane]:
    asked = [Asked(slot, "quay", None, None, {}, None, None, 3.0, 0, 8) for slot in ("3", "88", "101")]
    found = [pane((one, False)) for one in asked]
    assert all(isinstance(one, Pane) for one in found)
    return [one for one in found if isinstance(one, Pane)]


def test_keys_stop_it_and_turn_to_other_slots(panes: list[Pane]) -> None:
    moving = Moving(load_board("quay"), panes, list(held(panes)), UNICODE)
    assert moving.press("right", 2) and moving.first == 2
    assert moving.press("right", 2) and moving.first == 2, "no page beyond the last"
    assert moving.press("left", 2) and moving.first == 0
    assert moving.press("space", 2) and not moving.going
    assert moving.press(None, 2) and not moving.press("q", 2)


def test_it_plays_in_a_terminal_and_holds_still_what_flashes(board: Path) -> None:
    ended = on_terminal("wall", "--board", str(board), "--seconds", "1")
    assert ended.code == 0
    assert "held still" in ended.text and "88 weather_report" in ended.text
    assert len(set(re.findall(r"(\d\.\d) s of 1\.5 s", ended.text))) > 5


@pytest.mark.slow
@needs_browser
def test_a_browser_shows_each_lamp_as_foretold(panes: list[Pane], tmp_path: Path) -> None:
    """The style of every lamp, as a browser computes it at three moments, against the plan of the terminal."""
    board, moments = load_board("quay"), (0.3, 1.3, 2.8)
    found = colours(
        as_html("Wall", panes, board.display, list(held(panes, again=True)), []), tmp_path, moments
    )
    expected = {
        f"s{one.slot}-{line}@{at}": colour(lamp) if lamp else UNLIT
        for one in panes
        for at in moments
        for line, lamp in enumerate(one.at(0 if one.slot == 88 else at).lamps)
    }
    assert found == expected
    assert len(found) == 3 * 3 * 8


def test_a_fast_step_clock_is_followed_for_the_usual_steps_only() -> None:
    found = pane((Asked("tide_gauge", "mole", None, 1e6, {}, None, None, 60.0, 0, 8), False))
    assert isinstance(found, Pane)
    assert found.lasts_s == pytest.approx(USUAL_STEPS / 1e6, rel=0.01)
