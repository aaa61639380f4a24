"""The card of a slot: its sentences are enough to do it, its headings stand in order, and it fits the paper."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest
from forelight.designs.catalogue import load_design
from forelight.designs.procedures.procedure import Procedure, parse
from forelight.harness.asking.question import Asked, question
from forelight.harness.bench.predict import predict
from forelight.harness.boards.reader import load_board
from forelight.harness.card import markdown, page
from forelight.harness.card.compose import Occasion, compose
from forelight.harness.card.leaf import Card, Sentences, Shots, Task, Traces
from forelight.harness.card.plain import lines
from forelight.harness.card.probing import round_up
from forelight.harness.card.start import tasks
from forelight.harness.commands.card import by_kind, card
from forelight.harness.golden.write import to_csv
from forelight.harness.view.display import ASCII, UNICODE

from .hand_reader import actions, visible

HEADINGS = ("Care", "Set", "Start", "See", "Probe", "Slips")
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")


def asked(slot: str, board: str = "quay", run: str | None = None, **more: object) -> Asked:
    said: dict[str, object] = {"levels": {}, "seed": 0, "power_ups": 8}
    said |= dict.fromkeys(("strap", "hz", "procedure", "seconds"))
    return Asked(slot, board, run_name=run, **(said | more))  # type: ignore[arg-type]


def printed(made: Card, width: int = 80) -> list[str]:
    return [line.plain for line in lines(made, width, UNICODE)]


#: A run of each kind of action that the catalogue has; all runs of both boards below, marked slow.
SOME = [
    ("quay", "tide_gauge", "one tide"),
    ("quay", "sluice_code", "a wrong code"),
    ("quay", "tide_clock", "a tide by hand"),
    ("quay", "watch_vote", "one against two"),
    ("quay", "cell_array", "four blinkers"),
    ("mole", "hex_segments", None),
]


def execute(board: str, name: str, run: str | None) -> None:
    """What is printed, done again by somebody who reads nothing else, gives the same golden to the last byte."""
    made, asking = card(asked(name, board, run)), question(asked(name, board, run))
    if run is None:
        asking = question(asked(name, board, load_design(name).runs[0].name))
    golden = asking.golden()
    for told in (
        printed(made),
        printed(made, 40),
        visible(page.page(made)),
        markdown.page(made).splitlines(),
    ):
        procedure = Procedure("as read", actions(told))
        again = predict(asking.board, asking.sheet, procedure, slot=asking.slot, power_ups=8, seed=0)
        assert to_csv(again) == to_csv(golden)
        assert again.facts["procedure_sha256"] == golden.facts["procedure_sha256"]


@pytest.mark.parametrize(("board", "name", "run"), SOME)
def test_its_sentences_alone_give_the_same_golden(board: str, name: str, run: str | None) -> None:
    execute(board, name, run)


@pytest.mark.slow
@pytest.mark.parametrize("board", ["quay", "mole"])
def test_the_sentences_of_every_run_give_the_same_actions(board: str) -> None:
    for slot in load_board(board).slots:
        for run in question(asked(str(slot), board)).sheet.runs:
            asking = question(asked(str(slot), board, run.name))
            told = [
                f"{task.number} [ ] {task.sentence}"
                for top in tasks(asking.board, asking.sheet, asking.procedure.actions).tasks
                for task in (top, *_all(top))
            ]
            assert actions(["Start", *told]) == asking.procedure.actions


def _all(task: Task) -> list[Task]:
    return [one for below in task.inner for one in (below, *_all(below))]


@pytest.mark.parametrize(
    "text",
    [
        "press i0 bouncing",
        "release i6 bouncing",
        "drive i2=1 i4=0",
        "let go i2 i4",
        "oscillator off",
        "enable",
        "pulse 1",
        "frames 7",
        "wait 1.25e-05 s",
        "restart 1",
        "set i0=1 i1=1 i2=1 i3=1 i4=1 i5=1 i6=0 i7=0",
        "repeat 2 (repeat 3 (press i0; wait 1 s; release i0); steps 2)",
    ],
)
def test_each_action_can_be_read_from_its_sentence(text: str) -> None:
    board, sheet = load_board("quay"), load_design("dice")
    action = parse([text])
    found = tasks(board, sheet, action).tasks[0]
    told = [f"{task.number} [ ] {task.sentence}" for task in (found, *_all(found))]
    assert actions(["Start", *told]) == action


def test_its_headings_stand_in_the_order_of_need() -> None:
    made = card(asked("tide_gauge"))
    assert tuple(part.heading for part in made.parts) == HEADINGS
    found = [line for line in printed(made) if line in HEADINGS]
    assert tuple(found) == HEADINGS


def test_set_names_each_switch_by_label_level_and_contact() -> None:
    told = "\n".join(printed(card(asked("tide_gauge")), 100))
    assert "Selector: slot 101. Strap code 182: 2.03804 Hz, 1.902 % above the wish of 2 Hz." in told
    # 182 is 10110110; the pulls of quay are 0, so a 1 is a closed switch.
    for line, level in zip(range(7, -1, -1), "10110110", strict=True):
        contact = "closed" if level == "1" else "open"
        assert re.search(rf"i{line} +A{line} +{level} {contact} +0 open", told)


def test_on_a_board_that_pulls_up_a_zero_is_a_closed_switch() -> None:
    told = "\n".join(printed(card(asked("watch_vote", "mole"))))
    label = load_board("mole").pins["i0"]
    assert re.search(rf"i0 +{label} +0 closed +left keeper says clear", told)
    assert "Set all eight switches to 0 (closed)." in told


def test_see_has_the_pictures_with_their_steps_and_tasks() -> None:
    made = card(asked("tide_gauge", run="held at half tide"))
    shots = next(block for part in made.parts for block in part.blocks if isinstance(block, Shots))
    assert [shot.words[1] for shot in shots.shots] == [f"step {n}" for n in (0, 1, 2, 3, 4, 5, 16, 17, 18)]
    # Tasks: 5 waits five steps, 6 holds, 7 waits ten more, 8 lets go, 9 waits three.
    assert [shot.words[2] for shot in shots.shots] == ["task 5"] * 6 + ["task 9"] * 3


def test_see_says_what_may_be_anything() -> None:
    told = " ".join(printed(card(asked("nor_latch"))))
    assert "May be anything:" in told


def test_care_is_of_this_slot() -> None:
    care = {
        name: " ".join(printed(card(asked(name)), 500))
        for name in ("ferry_whistle", "chart_reader", "tide_gauge")
    }
    assert "loudspeaker" in care["ferry_whistle"] and "loudspeaker" not in care["tide_gauge"]
    assert "the serial memory drives A0 (i0), so its switch stays open" in care["chart_reader"]
    assert "seizures" in " ".join(printed(card(asked("lamp_dimmer", seconds=1.0, strap=60))))
    assert all("motor, relay or mains" in told and "navigation" in told for told in care.values())


def test_see_names_the_class_of_the_display_and_a_rate_at_which_it_can_be_read() -> None:
    told = " ".join(printed(card(asked("tide_gauge", strap=100)), 500))
    assert (
        "the display is flickering: its patterns pass too fast to be read; at strap code 112, 11.0294 Hz"
        in told
    )
    assert "the display is blended" in " ".join(printed(card(asked("lamp_dimmer", seconds=1.0)), 500))
    assert "To the eye" not in " ".join(printed(card(asked("tide_gauge", hz=2.0)), 500))


def test_probe_sets_the_instrument() -> None:
    told = " ".join(" ".join(printed(card(asked("tide_gauge")), 500)).split())
    # 368 frames of 1/3000 s a half step: 0.2453 s for the step line, four samples in it, rounded up.
    assert "Sample rate: 20 Hz or more, as the shortest level lasts 0.2453 s." in told
    assert "the falling edge of A6 (i6), at which the restart is let go" in told
    assert 'forelight check 101 RECORDING.csv --run "one tide"' in told


def test_round_up_gives_settings_that_instruments_have() -> None:
    assert [round_up(value) for value in (0.6, 1, 1.01, 3, 19, 20, 51, 1e6)] == [1, 1, 2, 5, 20, 20, 100, 1e6]


def test_it_fits_any_width_and_plain_characters() -> None:
    made = card(asked("dice"))
    for width in (40, 80, 120):
        assert max(len(line) for line in printed(made, width)) <= width
    plain = "\n".join(line.plain for line in lines(made, 80, ASCII))
    assert plain.isascii()


def test_text_of_an_author_is_no_markup() -> None:
    asking = question(asked("tide_gauge", seconds=1.0))
    sheet = type(asking.sheet)(
        **(vars(asking.sheet) | {"title": "<b>a|b</b>", "description": "*x* <script>"})
    )
    seat, told = replace(asking.seat, datasheet=sheet), asking.procedure.actions
    made = compose(
        Occasion(asking.board, seat, 101, asking.procedure, told, asking.setting_up, asking.golden())
    )
    assert "<script>" not in page.page(made) and "&lt;script&gt;" in page.page(made)
    assert r"\*x\* \<script\>" in markdown.page(made)


def test_the_booklet_has_contents_and_an_index_of_kinds() -> None:
    cards = [card(asked(name)) for name in ("watch_vote", "tide_gauge", "ferry_whistle")]
    index = by_kind(cards)
    kinds = {kind: [made.name for made in found] for kind, found in index}
    assert kinds["plain logic, no clock"] == ["watch_vote"]
    assert kinds["with a speaker"] == ["ferry_whistle"]
    told = visible(page.booklet("Quay", cards, index))
    assert told.index("Contents, by slot") < told.index("By kind") < told.index("Care")
    assert "101 Tide gauge" in told
    assert "- slot 101 of quay: Tide gauge" in markdown.booklet("Quay", cards, index).splitlines()


def test_wrong_slots_are_told_in_one_list() -> None:
    slips = next(part for part in card(asked("tide_gauge")).parts if part.heading == "Slips")
    (said,) = slips.blocks
    assert isinstance(said, Sentences)
    assert said.said[0].startswith("It stands still and shows 'blank': slot ")
    assert re.search(r": slot \d+(, \d+)* or (\d+|\d+ more) selected", said.said[0])


def test_traces_go_over_the_whole_run() -> None:
    made = card(asked("tide_gauge"))
    traces = next(block for part in made.parts for block in part.blocks if isinstance(block, Traces))
    assert list(traces.lines) == ["i7", "i6", *(f"o{n}" for n in range(8))]
    assert traces.labels["o7"] == "B7"


@pytest.mark.slow
@pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not here")
def test_a_card_prints_on_one_or_two_pages_of_a5(tmp_path: Path) -> None:
    for name, most in (
        ("inverter_ring", 1),
        ("tide_gauge", 1),
        ("watch_vote", 1),
        ("sluice_code", 2),
        ("tape_machine", 2),
    ):
        file, pdf = tmp_path / f"{name}.html", tmp_path / f"{name}.pdf"
        file.write_text(page.page(card(asked(name))), "utf-8")
        order = [str(CHROMIUM), "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer"]
        subprocess.run(
            [*order, f"--print-to-pdf={pdf}", file.as_uri()], check=True, capture_output=True, timeout=60
        )
        data = pdf.read_bytes()
        assert 1 <= len(re.findall(rb"/Type\s*/Page\b", data)) <= most, name
        # A5 is 148 mm x 210 mm (ISO 216), which is 420 x 595 points.
        (wide, high) = map(float, re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", data)[0])
        assert abs(wide - 419.5) < 1 and abs(high - 595.3) < 1


def test_the_name_of_a_line_is_never_capitalised() -> None:
    for name in ("weather_report", "tide_gauge", "sluice_code"):
        assert not re.findall(r"\b[IO][0-7]\b", "\n".join(printed(card(asked(name)))))
    assert "Mind who is watching: o0 flashes 10 times in a second" in " ".join(
        printed(card(asked("weather_report")), 400)
    )
