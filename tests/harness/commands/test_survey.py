"""`forelight survey` and the commands that write into a notebook, from the command line."""

from __future__ import annotations

import csv
import json
import os
import re
import sqlite3
from collections import Counter
from dataclasses import replace
from html.parser import HTMLParser
from io import StringIO
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import jsonschema
import pytest
from click.testing import CliRunner, Result
from forelight.designs.procedures.procedure import load_toml
from forelight.harness.boards.reader import load_board
from forelight.harness.boards.roster import find
from forelight.harness.cli import cli
from forelight.harness.commands.judging import reasons
from forelight.harness.commands.survey.again import question_of
from forelight.harness.survey.attempt import ChipRoster, Details
from forelight.harness.survey.notebook import reading
from forelight.harness.terminal.answers import schema
from forelight.sim.errors import ForelightError
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.harness.survey.books import attempt, large, profile, write
from tests.sizes import sized

SHOWN = ("0.", "1.", "2.", "3.", "4.", "5.", "6.", "7.", "8.", "9", "8", "7")
GOOD = "step,shown\n" + "".join(f"{n},{shown}\n" for n, shown in enumerate(SHOWN))
BAD = GOOD.replace("6,6.", "6,5.")
PIER = """title = "Pier"
link = "chain"
oscillator_hz = 18_432_000
slot_count = 4
chain = {{ positions = 4, ticks_per_bit = 4 }}
step = {{ line = "i7", law = "two-stage" }}
restart = {{ line = "i6" }}
slots = {{ 2 = "{design}" }}
"""
#: What a stranger may write anywhere: commands of a terminal, of HTML, of Markdown, of a spreadsheet.
HOSTILE = "=1+1 \x1b[2J<script>alert(1)</script> | `a` **b** \u202eabc"


#: Finds causes, which takes seconds: only where they are what is asked for.
EXPLAINED = reasons.explained


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reasons, "explained", lambda *given: None)
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("FORELIGHT_WHO", raising=False)
    monkeypatch.setattr("forelight.harness.terminal.cores.core_count", lambda: 1)  # no processes to wait for
    Path("good.csv").write_text(GOOD)
    Path("bad.csv").write_text(BAD)


def ask(*arguments: str, code: int = 0) -> Result:
    result = CliRunner(env={"COLUMNS": "100"}).invoke(cli, arguments)
    assert result.exit_code == code, result.output
    return result


def answered(*arguments: str, code: int = 0) -> dict[str, object]:
    found: dict[str, object] = json.loads(ask(*arguments, "--json", code=code).stdout)
    return found


def check(capture: str, *options: str, code: int = 0, book: str = "quay.survey") -> Result:
    return ask("check", "tide_gauge", capture, "--survey", book, *options, code=code)


def test_a_check_is_written_down() -> None:
    assert check("bad.csv", "--who", "Ann", "--note", "dim", code=1).output.endswith(
        "Written into quay.survey.\n"
    )
    with reading(Path("quay.survey")) as notebook:
        (one,) = notebook.attempts()
        details = notebook.details([one.id])[one.id]
        assert notebook.kept() == frozenset()
    assert (one.slot, one.design, one.verdict, one.who, one.note, one.code) == (
        101,
        "tide_gauge",
        "differs",
        "Ann",
        "dim",
        182,
    )
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z", one.at)
    assert len(one.design_sha256) == len(one.procedure_sha256) == len(one.board_sha256) == 64
    assert details.answer["outputs"] == {"line": "o4", "foretold": "11111101", "seen": "11101101"}
    assert details.bench["actions"][-2] == "steps 100"  # type: ignore[index]


def test_the_answer_for_scripts_says_where_it_stands() -> None:
    found = answered("check", "101", "good.csv", "--survey", "quay.survey", "--keep")
    with reading(Path("quay.survey")) as notebook:
        (one,) = notebook.attempts()
        assert notebook.recording(one.recording or "") == GOOD.encode()
    assert found["survey"] == {"file": "quay.survey", "id": one.id}
    assert "survey" not in answered("check", "101", "good.csv")


def test_count_and_card_are_written_down() -> None:
    ask("count", "101", "--loops", "6", "--seconds", "53", "--survey", "quay.survey", "--who", "Bo")
    ask(
        "count", "101", "--loops", "6", "--seconds", "53", "--steps-per-loop", "18", "--survey", "quay.survey"
    )
    ask("card", "101", "-o", "tide.html", "--survey", "quay.survey")
    with reading(Path("quay.survey")) as notebook:
        found = [(one.command, one.verdict, one.who) for one in notebook.attempts()]
    assert found == [("count", "agrees", "Bo"), ("count", "agrees", ""), ("card", None, "")]
    assert (
        "101 Tide gauge: only its rate was counted"
        in ask("survey", "next", "quay.survey", "--tries", "99").output
    )


def test_a_count_that_differs_says_why() -> None:
    ask("count", "101", "--loops", "60", "--seconds", "53", "--survey", "quay.survey", code=1)
    said = " ".join(ask("survey", "quay.survey").output.split())
    assert "101 Tide gauge The count means 20.38 steps a second, and 2.03804 Hz is foretold." in said


def test_the_name_may_stand_in_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FORELIGHT_WHO", "Cleo")
    check("good.csv")
    ask("check", "101", "good.csv")  # and then nothing is to be written
    with reading(Path("quay.survey")) as notebook:
        assert [one.who for one in notebook.attempts()] == ["Cleo"]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["check", "101", "good.csv", "--note", "x"], "--note belongs to --survey"),
        (["check", "101", "good.csv", "--keep"], "--keep belongs to --survey"),
        (["check", "--any", "good.csv", "--survey", "q"], "--any asks which slot it is"),
        (["card", "--all", "--survey", "q"], "--survey writes down the card of one slot"),
        (["card", "101", "-o", "q.html", "--survey", "q.html"], "this is the notebook itself"),
        (["check", "101", "bad.csv", "--survey", "q", "--experiment", "q"], "this is the notebook itself"),
        (["check", "101", "good.csv", "--survey", "none/q"], "the notebook cannot be opened"),
        (["check", "101", "good.csv", "--survey", "good.csv"], "the notebook is damaged"),
        (["check", "101", "none.csv", "--survey", "q"], "cannot read the recording"),
        (["check", "5", "good.csv", "--survey", "q"], "slot 5 of quay is empty"),
        (["survey", "q"], "there is no such notebook"),
        (["survey", "reprot", "q"], "Did you mean 'report'?"),
        (["survey", "merge", "q", "q"], "a notebook cannot be joined with itself"),
        (["survey", "merge", "q", "r"], "there is no such notebook"),
        (["survey", "report", "q", "-o", "x.doc"], "the ending '.doc' is not that of a report"),
    ],
)
def test_what_is_refused(arguments: list[str], said: str) -> None:
    result = ask(*arguments, code=2)
    assert said in result.stderr
    assert result.stdout == ""
    assert not Path("q").exists(), "nothing is begun for a question that is refused"


def test_a_design_that_cannot_be_read_is_a_finding() -> None:
    Path("broken.v").write_text(
        "module broken(input [7:0] inputs, output [7:0] outputs); nonsense endmodule\n"
    )
    Path("pier.toml").write_text(PIER.format(design="broken.v"))
    ask("check", "2", "good.csv", "--board", "pier.toml", "--survey", "pier.survey", code=2)
    shown = ask("survey", "pier.survey").output
    assert "1 of 4 slots holds a design: 1 cannot be told" in shown
    assert "broken.v" in shown


def test_what_never_settles_cannot_be_told() -> None:
    """The source leaves all outputs open: nothing is foretold of them, so no recording can tell."""
    Path("fog.v").write_text(
        "module fog(input [7:0] inputs, output [7:0] outputs); assign outputs = 8'bx; endmodule\n"
    )
    Path("pier.toml").write_text(PIER.format(design="fog.v"))
    Path("o.csv").write_text("step,o0\n0,0\n1,1\n2,0\n3,1\n4,1\n5,0\n6,1\n")
    ask("check", "2", "o.csv", "--board", "pier.toml", "--survey", "q", code=3)
    assert (
        "Nothing can be foretold: no output is ever settled once the slot is up." in ask("survey", "q").output
    )
    assert "Nothing is left to try on pier" in ask("survey", "next", "q").output


def test_an_answer_that_cannot_be_written_down_is_given_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a full disk: a person sees the verdict and why it is not written, a script gets the error alone."""
    check("good.csv")
    connect = sqlite3.connect

    def full(*given: object, **options: object) -> sqlite3.Connection:
        connection: sqlite3.Connection = connect(*given, **options)  # type: ignore[call-overload]
        connection.execute("PRAGMA max_page_count = 1")  # no more than there are
        return connection

    monkeypatch.setattr(sqlite3, "connect", full)
    Path("large.csv").write_text(BAD + "\n" * 9000)
    said = check("large.csv", "--keep", code=2)
    assert said.stdout.startswith("Differs: ")
    assert "Written" not in said.stdout
    assert "the disk is full: this was not written, and what the notebook held before is whole" in said.stderr
    found = json.loads(check("large.csv", "--keep", "--json", code=2).stdout)
    assert list(found) == ["schema", "error"]
    with reading(Path("quay.survey")) as notebook:
        assert [one.verdict for one in notebook.attempts()] == ["agrees"]


# At a glance


def test_the_chip_at_a_glance() -> None:
    check("bad.csv", "--who", "Ann", "--note", "dim", code=1)
    ask("card", "42", "--survey", "quay.survey")
    assert ask("survey", "quay.survey").output == (
        "Survey of quay: 46 of 192 slots hold a design: 45 are untried, 1 differs.\n\n"
        "  0  ...-.... .-...... .-...-.. .-...-..\n"
        " 32  ..-.-... ..-...-. .-...-.- ..-..-..\n"
        " 64  ..-...-- -.-..-.- -..-.... -..--.-.\n"
        " 96  .-...D.. .-..-... .-.....- .-...-..\n"
        "128  -...-... .-..-... -....-.. ........\n"
        "160  -....... -......- ........ ..-.....\n"
        "a agrees, D differs, i inconclusive, c cannot be told, - untried, . empty; a row begins with the\n"
        "number of its first slot.\n\n"
        "Differs from what is foretold:\n"
        "  101  Tide gauge  At step 6 line o4 is 0 where 1 was predicted: entry 7.\n"
    )
    found = answered("survey", "quay.survey")["chips"][0]  # type: ignore[index]
    assert found["counts"] == {
        "differs": 1,
        "cannot be told": 0,
        "inconclusive": 0,
        "untried": 45,
        "agrees": 0,
    }
    one = next(one for one in found["slots"] if one["slot"] == 101)
    assert (one["verdict"], one["who"], one["remark"], one["try_count"], one["strap_code"]) == (
        "differs",
        "Ann",
        "dim",
        1,
        182,
    )


def test_all_tries_of_a_slot() -> None:
    check("bad.csv", "--who", "Ann", code=1)
    check("good.csv", "--note", "with the other lead")
    said = ask("survey", "quay.survey", "101").output
    assert said.count("Tide gauge, slot 101 of quay; the usual procedure, strap code 182.") == 2
    assert "check by Ann: differs" in said
    assert "Note: with the other lead" in said
    tries = answered("survey", "quay.survey", "tide_gauge")["tries"]
    assert [one["verdict"] for one in tries] == ["differs", "agrees"]  # type: ignore[attr-defined]
    ask("survey", "quay.survey", "42", code=2)


def test_an_empty_notebook_says_so() -> None:
    Path("quay.survey").touch()
    assert ask("survey", "quay.survey").output.startswith("Nothing has been tried yet")
    assert "46 that would still tell something about quay" in ask("survey", "next", "quay.survey").output


# Next


def test_the_next_tries_and_their_experiments() -> None:
    causes = {
        "groups": [{"share": 0.5, "causes": [{"said": "o4 is not connected"}]}, {"share": 0.5, "causes": []}],
        "experiment": {"do": ["restart", "steps 3"], "said": "look at o4"},
    }
    chip = ChipRoster("quay", "quay", 192, {101: "tide_gauge"})
    told = Details({"reasons": ["It differs."], "causes": causes})
    write(
        Path("q"),
        attempt(verdict="differs"),
        details=told,
        chip=chip,
    )
    Path("plans").mkdir()
    found = answered("survey", "next", "q", "--experiments", "plans", "--tries", "60")
    (one,) = [one for one in found["tries"] if one["slot"] == 101]  # type: ignore[attr-defined]
    assert one["do"] == ["restart", "steps 3"]
    assert one["command"] == "forelight check 101 RECORDING --survey q --procedure plans/slot_101.toml"
    assert found["experiments"] == ["plans/slot_101.toml"]
    assert load_toml(Path("plans/slot_101.toml")).expect == "look at o4"
    assert len(found["tries"]) == found["wanted"] == 46  # type: ignore[arg-type]
    assert found["moves"] == sum(one["moves"] for one in found["tries"])  # type: ignore[attr-defined]
    assert "o4 is not connected" in ask("survey", "q").output
    said = ask("survey", "next", "q", "--tries", "60").output
    assert "    Do: restart; steps 3\n" in said
    assert said.endswith("--experiments FOLDER writes the procedures that part two causes.\n")
    write(Path("q"), attempt(verdict="differs", procedure="which of two causes"))
    assert "two causes" not in ask("survey", "next", "q", "--tries", "60").output, "it was carried out"


def test_what_is_tried_again_is_tried_as_before() -> None:
    """With the levels and the strap code of the first time; a slot of which nothing was learned, with another run."""
    check("bad.csv", "--set", "i0=1", "--strap", "56", code=1)
    Path("few.csv").write_text("step,shown\n0,0.\n1,1.\n")
    ask("check", "25", "few.csv", "--survey", "quay.survey", code=3)
    tries = {one["slot"]: one for one in answered("survey", "next", "quay.survey", "--tries", "46")["tries"]}  # type: ignore[attr-defined]
    again = "forelight check 101 RECORDING --survey quay.survey --set i0=1 --strap 56"
    assert tries[101]["command"] == again
    assert (tries[101]["strap_code"], tries[101]["inputs"]) == (56, "00000001")
    assert tries[101]["why"] == "differs once: a slip, or a fault?"
    assert "--run" in tries[25]["command"]
    assert tries[25]["remedy"].startswith("Record more")


def test_a_slot_that_agrees_is_tried_with_runs_that_it_was_not_tried_with() -> None:
    """As long as its recordings would have shown a part of the faults only, and there are such runs."""
    chip = ChipRoster("quay", "quay", 192, {101: "tide_gauge"})
    told, sure = Details({"proves": {"share": 0.5}}), attempt(evidence=90.0)
    said = "  101 Tide gauge: agrees, and would have shown 50% of all faults\n"
    runs = ["default", "one tide", "held at half tide"]
    for run, following in pairwise([*runs, ""]):
        write(Path("q"), replace(sure, id=run, procedure=run), details=told, chip=chip)
        plan = ask("survey", "next", "q", "--tries", "46").output
        assert (said in plan) == bool(following)
        assert f"check 101 RECORDING --survey q --run '{following}'" in plan or not following


def test_the_plan_says_which_switches_to_set() -> None:
    """Eight rates, each with an input that is 0 and one that is 1 at rest: the divider keeps its code between these."""
    profile(Path(), 16)
    Path("q").touch()
    said = ask("survey", "next", "q", "--board", "pier.toml", "--tries", "16").output
    assert len(re.findall(r"^Strap \d+ \(", said, re.MULTILINE)) == 8
    assert (
        len(re.findall(r"^Strap code \d+ stays, and the step clock on; inputs i\d=[01]", said, re.MULTILINE))
        == 8
    )
    assert "\n    forelight check 9 RECORDING --survey q --board pier.toml --run twenty\n" in said
    check("good.csv")
    mole = ask("survey", "next", "quay.survey", "--board", "mole").output
    assert "Set the step source to" in mole
    assert "--board mole" in mole


# Reports


class Page(HTMLParser):
    """Which tags a page has, and its words."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags, self.words = Counter[str](), ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags[tag] += 1

    def handle_data(self, data: str) -> None:
        self.words += data


def test_the_reports() -> None:
    check("bad.csv", "--who", "Ann", "--note", "dim", code=1)
    for ending in ("md", "html", "csv", "json"):
        assert ask("survey", "report", "quay.survey", "-o", f"quay.{ending}").output == (
            f"Wrote quay.{ending}: the survey of quay.\n"
        )
        text = Path(f"quay.{ending}").read_text()
        assert "Tide gauge" in text
        assert "line o4 is 0 where 1 was predicted" in text
        assert "dim" in text
        assert "Ann" not in text
        assert not re.search(r"\d{4}-\d\d-\d\d", text), "no dates if not asked for"
        ask("survey", "report", "quay.survey", "-o", f"quay.{ending}", "--names")
        assert "Ann" in Path(f"quay.{ending}").read_text()
    assert ask("survey", "report", "quay.survey").output == ask("survey", "report", "quay.survey").output
    rows = list(csv.DictReader(StringIO(Path("quay.csv").read_text())))
    assert len(rows) == 46
    assert Counter(row["verdict"] for row in rows) == {"differs": 1, "untried": 45}
    assert json.loads(Path("quay.json").read_text())["counts"]["differs"] == 1


def test_the_page_has_pictures() -> None:
    """A square for each of 192 slots, and the display as foretold and as seen."""
    check("bad.csv", code=1)
    ask("survey", "report", "quay.survey", "-o", "quay.html")
    text = Path("quay.html").read_text()
    pictures = re.findall(r"<svg.*?</svg>", text, re.DOTALL)
    chart = ElementTree.fromstring(pictures[0])
    assert len(list(chart.iter("rect"))) == 192
    assert [element.get("href") for element in chart.iter("a")][:2] == ["#slot-3", "#slot-9"]
    figures = [picture for picture in pictures if 'class="figure"' in picture]
    assert len(figures) == 2
    assert "lit: a c d e f g point" in figures[0]
    assert "lit: a c d f g point" in figures[1]
    assert "http" not in text, "all is inside the page"


def test_words_of_strangers_do_no_harm() -> None:
    one = attempt(
        verdict="differs",
        who=HOSTILE,
        note=HOSTILE,
        title=HOSTILE,
        recording="0" * 64,
        recording_name=HOSTILE,
    )
    causes = {
        "groups": [{"share": 1, "causes": [{"said": HOSTILE}]}],
        "experiment": {"do": [HOSTILE], "said": HOSTILE},
    }
    answer = {
        "reasons": [HOSTILE],
        "remedies": [HOSTILE],
        "causes": causes,
        "outputs": {"foretold": HOSTILE, "seen": 3},
    }
    write(Path("q"), one, details=Details(answer, {"slot": HOSTILE, "actions": [HOSTILE], "map": {"o0": 1}}))
    Path("f").mkdir()
    for command in (
        "survey q",
        "survey q 101",
        "survey next q --tries 50 --experiments f",
        "survey report q --names",
    ):
        said = ask(*command.split()).output
        assert "\x1b" not in said
        assert "\u202e" not in said
    assert "\x1b" not in ask("survey", "merge", "r", "q").output
    for ending in ("md", "html", "csv"):
        ask("survey", "report", "q", "-o", f"q.{ending}", "--names")
        assert "\x1b" not in Path(f"q.{ending}").read_text()
    page = Page(Path("q.html").read_text())
    assert page.tags["script"] == 0
    assert "<script>" in page.words
    cells = [cell for row in csv.reader(StringIO(Path("q.csv").read_text())) for cell in row]
    assert not [cell for cell in cells if cell.startswith(("=", "+", "@"))]
    assert "<script>" not in Path("q.md").read_text()


def test_bytes_that_are_no_text() -> None:
    """In a note, in the name of a recording and of a notebook, as a terminal hands them over."""
    odd = os.fsdecode(b"od\xffd")
    Path(f"{odd}.csv").write_text(GOOD)
    check(f"{odd}.csv", "--who", odd, "--note", odd, book=f"{odd}.survey")
    for command in ("survey", "survey report"):
        assert "Tide gauge" in ask(*command.split(), f"{odd}.survey").output
    assert answered("survey", f"{odd}.survey", "101")["tries"][0]["remark"] == "od?d"  # type: ignore[index]


# Merge and again


def test_notebooks_of_two_people() -> None:
    check("good.csv", "--who", "Ann", "--keep", book="ann.survey")
    check("bad.csv", "--who", "Bo", book="bo.survey", code=1)
    said = ask("survey", "merge", "quay.survey", "ann.survey", "bo.survey", code=1).output
    assert said.startswith(
        "ann.survey: 1 of 1 try new to quay.survey, 1 with the recording.\n"
        "bo.survey: 1 of 1 try new to quay.survey, 0 with the recording.\n"
    )
    assert "Ann" in said.partition("People contradict each other about one slot:")[2]
    again = answered("survey", "merge", "quay.survey", "ann.survey", "bo.survey", code=1)
    assert [one["new"] for one in again["joined"]] == [0, 0]  # type: ignore[attr-defined]
    assert len(again["contradictions"]) == 1  # type: ignore[arg-type]
    jsonschema.validate(again, schema("survey"), jsonschema.Draft202012Validator)
    assert "1 cannot be told" in ask("survey", "quay.survey").output
    assert "Ann says it agrees, Bo says it differs." in ask("survey", "quay.survey").output
    assert "Ann and Bo contradict each other" in ask("survey", "next", "quay.survey", "--tries", "46").output
    report = ask("survey", "report", "quay.survey").output
    assert "Ann" not in report
    for ending in ("csv", "json", "html"):
        ask("survey", "report", "quay.survey", "-o", f"r.{ending}")
        text = Path(f"r.{ending}").read_text()
        assert "Two people" in text
        assert "Ann" not in text
    assert "  - One: agrees, " in report
    assert "  - The other: differs. At step 6 line o4 is 0 where 1 was predicted: entry 7." in report


def test_paths_are_told_from_where_the_notebook_lies(monkeypatch: pytest.MonkeyPatch) -> None:
    """A board and a design that are files: found from any folder, and from that of the notebook joined into."""
    Path("ann").mkdir()
    Path("shared").mkdir()
    Path("ann/lamp.v").write_text(LAMP.format(step=1))
    Path("ann/pier.toml").write_text(PIER.format(design="lamp.v"))
    Path("seen.csv").write_text("step,outputs\n" + "".join(f"{n},{n % 16:08b}\n" for n in range(24)))
    for slot in ("2", "ann/lamp.v"):
        ask("check", slot, "seen.csv", "--board", "ann/pier.toml", "--survey", "ann/pier.survey", "--keep")
    ask("survey", "merge", "shared/all.survey", "ann/pier.survey")
    monkeypatch.chdir("shared")
    for book in ("../ann/pier.survey", "all.survey"):
        again = answered("survey", "again", book)
        assert (again["judged"], again["not_judged"]) == (2, [])
        assert "Nothing is left to try on pier" in ask("survey", "next", book).output


def test_a_try_that_somebody_changed_is_left_and_told() -> None:
    one = attempt(who="Ann")
    write(Path("a"), one)
    Path("b").write_bytes(Path("a").read_bytes())
    with sqlite3.connect("b") as connection:
        connection.execute("UPDATE tries SET verdict = 'differs'")
    connection.close()
    said = ask("survey", "merge", "a", "b").output
    assert "1 try that a holds already say something else there: left as they were." in said
    with reading(Path("a")) as notebook:
        assert [found.verdict for found in notebook.attempts()] == ["agrees"]


LAMP = """module lamp(input [7:0] inputs, output [7:0] outputs);
  reg [3:0] count;
  always @(posedge inputs[7]) count <= inputs[6] ? 0 : count + {step};
  assign outputs = {{4'b0, count}};
endmodule
"""


def test_a_design_that_changed_moves_its_verdict() -> None:
    """The author finds that the drawn counter counts by threes, as the silicon does: what differed agrees now."""
    Path("lamp.v").write_text(LAMP.format(step=1))
    Path("pier.toml").write_text(PIER.format(design="lamp.v"))
    listed = "".join(f"{n},{3 * n % 16:08b}\n" for n in range(24))
    Path("seen.csv").write_text(f"step,outputs\n{listed}")
    book = ("--survey", "pier.survey", "--board", "pier.toml")
    ask("check", "2", "seen.csv", *book, "--who", "Ann", "--keep", code=1)
    Path("bo.csv").write_text(f"step,outputs\n{listed[: listed.index('20,')]}")
    ask("check", "2", "bo.csv", *book, "--who", "Bo", code=1)
    assert "no verdict moved" in ask("survey", "again", "pier.survey").output
    Path("lamp.v").write_text(LAMP.format(step=3))
    said = ask("survey", "again", "pier.survey", code=1).output
    assert "\n  2 lamp by Ann: differed before, agrees now." in said
    assert "The design has changed since." in said
    assert "1 try has no recording in the notebook" in said
    assert "Nothing was written" in said
    found = answered("survey", "again", "pier.survey", "--write", code=1)
    assert [(one["before"], one["verdict"]) for one in found["moved"]] == [("differs", "agrees")]  # type: ignore[attr-defined]
    assert answered("survey", "again", "pier.survey")["moved"] == []
    with reading(Path("pier.survey")) as notebook:
        first, _, last = notebook.attempts()
    assert last.again_of == first.id
    assert last.design_sha256 != first.design_sha256


@pytest.mark.slow
def test_the_causes_of_what_differs_are_written_down(monkeypatch: pytest.MonkeyPatch) -> None:
    """As check finds them: inputs that the recording itself holds are named, and what to do comes with the plan."""
    monkeypatch.setattr(reasons, "explained", EXPLAINED)
    ask("golden", "tide_gauge", "--set", "i0=1", "--seconds", "10", "-o", "held.csv")
    check("held.csv", "--keep", code=1)
    cause = "The recording itself holds other inputs: i0 at 1."
    assert f"Likely cause: {cause}" in " ".join(ask("survey", "quay.survey").output.split())
    assert cause in ask("survey", "report", "quay.survey").output
    said = ask("survey", "next", "quay.survey", "--tries", "46").output
    assert "Check it with --set i0=1 or with --play of the recording" in " ".join(said.split())


def test_a_recording_that_cannot_be_judged_again_is_told() -> None:
    check("good.csv", "--keep")
    with sqlite3.connect("quay.survey") as connection:
        connection.execute("""UPDATE tries SET bench = '{"slot": "101", "actions": ["play x.csv"], "added": 0,
            "setting_up": 1, "seed": 0, "power_ups": 4}'""")
    connection.close()
    said = ask("survey", "again", "quay.survey").output
    assert "not judged" in said


ACTIONS = [
    "select 101",
    "set i0=1",
    "strap 182",
    "strap 99999",
    "restart",
    "steps 5",
    "steps 0",
    "play x",
    "press i9",
    7,
]


@settings(max_examples=sized(40, 1000), deadline=None)
@given(
    bench=st.fixed_dictionaries(
        {},
        optional={
            "slot": st.sampled_from(["101", "tide_gauge", "5", "", "..", "none.v", HOSTILE]) | st.integers(),
            "actions": st.lists(st.sampled_from(ACTIONS), max_size=5) | st.text(max_size=3),
            **dict.fromkeys(
                ("added", "setting_up", "seed", "power_ups"),
                st.integers(-2, 2**70) | st.integers(0, 4) | st.none(),
            ),
        },
    )
)
def test_what_a_stranger_says_was_done_is_refused_or_can_be_asked(bench: dict[str, object]) -> None:
    board = load_board("quay")
    try:
        asking = question_of(board, attempt(), Details({}, bench), Path("q"))
    except ForelightError:
        return
    assert asking.start() >= 0


# A large chip


def test_a_large_notebook_costs_no_more_than_it_must(monkeypatch: pytest.MonkeyPatch) -> None:
    """A glance reads the answers of deciding tries alone, in few queries; a plan reads each datasheet once."""
    slots, tries = 200, 2000
    board = profile(Path(), slots)
    large(Path("pier.survey"), board, slots, tries, seed=11)
    queries: list[str] = []
    parsed = Counter[str]()
    connect, loads = sqlite3.connect, json.loads

    def traced(*given: object, **options: object) -> sqlite3.Connection:
        connection: sqlite3.Connection = connect(*given, **options)  # type: ignore[call-overload]
        connection.set_trace_callback(queries.append)
        return connection

    def counted(text: str, **options: object) -> object:
        parsed["json"] += 1
        return loads(text, **options)  # type: ignore[arg-type]

    def found(*given: object) -> object:
        parsed["datasheets"] += 1
        return find(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(sqlite3, "connect", traced)
    monkeypatch.setattr(json, "loads", counted)
    monkeypatch.setattr("forelight.harness.commands.survey.next.find", found)
    for command in ("survey pier.survey", "survey report pier.survey", "survey next pier.survey"):
        queries.clear()
        parsed.clear()
        ask(*command.split())
        assert len(queries) <= 20
        assert parsed["json"] <= 4 * slots + 2, (
            "two texts of a deciding try and of one against it, and the roster"
        )
        assert parsed["datasheets"] <= slots


def test_a_try_is_withdrawn_and_nothing_is_lost() -> None:
    check("good.csv", "--who", "Ann")
    check("bad.csv", "--who", "Bo", code=1)
    assert "(1 try" not in ask("survey", "quay.survey").output
    found = answered(
        "survey", "withdraw", "quay.survey", "tide_gauge", "--note", "i2 was closed", "--who", "Bo"
    )
    assert found["verdict"] == "agrees"
    tries = answered("survey", "quay.survey", "101")["tries"]
    assert [(one["command"], one["withdrawn"]) for one in tries] == [  # type: ignore[attr-defined]
        ("check", False),
        ("check", True),
        ("withdraw", False),
    ]
    shown = ask("survey", "quay.survey", "101").output
    assert ": differs, withdrawn later; id " in shown and "  Note: i2 was closed\n" in shown
    # In another notebook too, and joining twice adds nothing.
    for new in (3, 0):
        joined = answered("survey", "merge", "chip.survey", "quay.survey")["joined"]
        assert joined[0]["new"] == new  # type: ignore[index]
    assert answered("survey", "chip.survey")["chips"] == answered("survey", "quay.survey")["chips"]
    # Taken back, they contradict each other.
    taken_back = ask("survey", "withdraw", "quay.survey", "101", "--id", str(found["id"])[:6]).output
    assert "Tide gauge now stands as cannot be told.\n" in taken_back
    assert answered("survey", "merge", "chip.survey", "quay.survey", code=1)["contradictions"]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("42",), "slot 42: no try is left to withdraw"),
        (("101", "--who", "Cleo"), "slot 101: no try by Cleo is left to withdraw"),
        (("101", "--id", "zz"), "slot 101: no entry begins with zz"),
        (("101", "--id", ""), "slot 101: 2 entries begin with "),
    ],
)
def test_what_cannot_be_withdrawn(options: tuple[str, ...], said: str) -> None:
    check("good.csv", "--who", "Ann")
    check("good.csv", "--who", "Ann")
    before = Path("quay.survey").read_bytes()
    output = ask("survey", "withdraw", "quay.survey", *options, code=2).output
    shows = f"`forelight survey quay.survey {options[0]}` shows all, with the beginnings of their ids"
    assert output == f"forelight: quay.survey: {said}; {shows}\n"
    assert Path("quay.survey").read_bytes() == before
    ask("survey", "withdraw", "nowhere.survey", "101", code=2)
    assert not Path("nowhere.survey").exists()


def test_withdrawn_twice() -> None:
    check("good.csv")
    tries = answered("survey", "quay.survey", "101")["tries"]
    ask("survey", "withdraw", "quay.survey", "101")
    output = ask("survey", "withdraw", "quay.survey", "101", "--id", tries[0]["id"], code=2).output  # type: ignore[index]
    assert "is withdrawn already; to take a withdrawal back, withdraw it in turn\n" in output
    assert answered("survey", "again", "quay.survey")["judged"] == 0
