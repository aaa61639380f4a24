"""`forelight draft` and `vet` at the command line: from an empty folder to an accepted design."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from forelight.designs.catalogue import names
from forelight.harness.cli import cli
from forelight.harness.vet.sheet import MARK


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def forelight(*arguments: str) -> Result:
    return CliRunner().invoke(cli, arguments)


def fill_in(path: Path) -> int:
    """As an author does: a text for each mark; a remark that is a mark goes."""
    text, count = re.subn(rf"# {MARK}.*", "", path.read_text())
    text, more = re.subn(rf'{MARK}[^"\n]*', "Words of the author.", text)
    path.write_text(text)
    return count + more


@pytest.mark.parametrize("language", ["amaranth", "verilog"])
def test_a_draft_passes_once_its_marks_are_filled_in(language: str) -> None:
    assert forelight("draft", "tide_bell", "--language", language).exit_code == 0
    trust = ["--trust"] if language == "amaranth" else []
    before = forelight("vet", "tide_bell", "--json", *trust)
    marks = [found for found in json.loads(before.stdout)["findings"] if found["must"]]
    assert before.exit_code == 1
    assert {found["subject"] for found in marks} == {"mark"}, "nothing else is wrong with a draft"
    assert fill_in(Path("tide_bell/datasheet.toml")) == 8
    assert fill_in(Path("tide_bell/design.py" if trust else "tide_bell/design.v")) == 1
    assert len(marks) == 9
    after = forelight("vet", "tide_bell", *trust)
    settles = (
        "The restart settles the whole design, 1 step after it begins: proved from any state, at any rate."
    )
    said = " ".join(after.stdout.split())
    assert said.startswith(f'Words of the author., tide_bell {settles} Its run "first look" would reveal ')
    assert said.endswith(" Accepted.")
    assert after.exit_code == 0
    run = forelight("golden", "tide_bell", "--run", "first look", *trust)
    last = run.stdout.splitlines()[-1]
    assert run.exit_code == 0 and re.fullmatch(r"[\d.]+,31,[01]{8},00011000,[ps]{8}", last), last


def test_what_a_draft_refuses() -> None:
    Path("there").mkdir()
    Path("file").write_text("")
    for arguments, sentence in (
        (["Tide"], '"Tide" cannot be the name of a design; use up to 40 small letters'),
        (["../up"], '"../up" cannot be the name'),
        (["a__b"], '"a__b" cannot be the name'),
        (["there"], "there: is there already; choose another name"),
        (["file"], "file: is there already"),
        (["class"], '"class" is a word of amaranth itself'),
        (["module", "--language", "verilog"], '"module" is a word of verilog itself'),
        (["tide", "-o", "nowhere"], "nowhere: there is no such folder; make it, or give another"),
    ):
        result = forelight("draft", *arguments)
        assert result.exit_code == 2 and result.stderr.startswith(f"forelight: {sentence}"), result.stderr
    assert sorted(path.name for path in Path().iterdir()) == ["file", "there"]


def test_nothing_half_written(monkeypatch: pytest.MonkeyPatch) -> None:
    written = Path.write_text

    def failing(path: Path, text: str, **options: str) -> int:
        if path.name == "datasheet.toml":
            raise OSError(28, "No space left on device")
        return written(path, text, **options)

    monkeypatch.setattr(Path, "write_text", failing)
    result = forelight("draft", "tide_bell")
    assert (result.exit_code, result.stderr) == (
        2,
        "forelight: tide_bell: cannot be written: No space left on device\n",
    )
    assert not list(Path().iterdir())


def test_vet_of_what_is_no_contribution() -> None:
    result = forelight("vet", "tide_guage")
    assert result.exit_code == 2
    said = 'forelight: there is no design "tide_guage"; did you mean "tide_gauge"?'
    assert result.stderr.startswith(said)
    assert (
        forelight("vet", "no/where").stderr == "forelight: no/where: no such file or folder; check the path\n"
    )
    Path("empty").mkdir()
    assert forelight("vet", "empty").stderr == (
        "forelight: empty: there is no datasheet.toml in it; "
        "give a contribution's folder; `forelight draft NAME` starts one\n"
    )
    assert forelight("vet").exit_code == forelight("vet", "--all", "nowhere").exit_code == 2
    forelight("draft", "tide_bell")
    result = forelight("vet", "tide_bell")
    assert result.exit_code == 2 and "say --trust" in result.stderr


@pytest.mark.slow
def test_the_whole_catalogue() -> None:
    result = forelight("vet", "--all", "--json", "--power-ups", "16")
    found = json.loads(result.stdout)
    assert result.exit_code == 0 and [entry["name"] for entry in found] == list(names())
    assert all(entry["accepted"] for entry in found)
