"""SLOT is a number, a name, a folder or a file, and each wrong one has its answer."""

from __future__ import annotations

from pathlib import Path

import pytest
from forelight.designs.catalogue import EmptySlotError, Roster, load_design, names, resolve
from forelight.sim.errors import DatasheetError, ForelightError, SourceError, UsageError

EIGHT = {
    *("watch_vote", "lighthouse", "lamp_dimmer", "ferry_whistle"),
    *("weather_report", "tide_gauge", "dice", "word_roller"),
}


@pytest.fixture
def roster(tmp_path: Path) -> Roster:
    mine = tmp_path / "mine"
    mine.mkdir()
    (mine / "datasheet.toml").write_text('title = "Mine"\nsource = "mine.v"\nmodule = "top"\n')
    (mine / "mine.v").write_text("")
    (mine / "other.v").write_text("")
    (tmp_path / "alone.v").write_text("")
    slots = {3: "dice", 5: "mine", 6: "dice", 9: "alone.v"}
    return Roster("test", 16, slots, beside=tmp_path, step_line="i7", restart_line="i6")


def test_the_catalogue_holds_the_first_eight() -> None:
    assert set(names()) >= EIGHT
    assert list(names()) == sorted(names())
    assert load_design("dice").title == "Dice"
    with pytest.raises(UsageError, match=r'there is no design "dise"; did you mean "dice"\?'):
        load_design("dise")


def test_a_slot_number(roster: Roster) -> None:
    assert resolve("3", roster).datasheet.name == "dice"
    found = resolve(" 5 ", roster)
    assert (found.datasheet.title, found.slot) == ("Mine", 5)
    bare = resolve("9", roster)
    assert (bare.datasheet.name, bare.slot) == ("alone", 9)
    assert bare.datasheet.assumed


def test_an_empty_slot_is_an_answer_of_its_own(roster: Roster) -> None:
    with pytest.raises(EmptySlotError) as error:
        resolve("4", roster)
    assert error.value.slot == 4
    assert str(error.value) == "slot 4 of test is empty; `forelight slots` lists those that are not"


@pytest.mark.parametrize("text", ["16", "99999999999999999999"])
def test_a_number_beyond_the_chip_gets_the_range(roster: Roster, text: str) -> None:
    with pytest.raises(UsageError, match=f"test has no slot {text}; its slots are 0 to 15"):
        resolve(text, roster)


def test_a_name_finds_its_lowest_slot_or_none(roster: Roster) -> None:
    assert resolve("dice", roster).slot == 3
    assert resolve("lighthouse", roster).slot is None


def test_paths(roster: Roster, tmp_path: Path) -> None:
    for path in ("mine", "mine/", "mine/datasheet.toml", "mine/mine.v", "mine/mine.v:top"):
        found = resolve(f"{tmp_path}/{path}", roster)
        assert (found.datasheet.title, found.slot) == ("Mine", 5)
    alone = resolve(f"{tmp_path}/alone.v:blink", roster)
    assert (alone.datasheet.top, alone.slot) == ("blink", 9)


def test_a_source_that_the_datasheet_beside_it_does_not_list_runs_bare(
    roster: Roster, tmp_path: Path
) -> None:
    for path in ("mine/other.v", "mine/mine.v:another"):
        found = resolve(f"{tmp_path}/{path}", roster)
        assert found.slot is None
        assert found.datasheet.assumed


def test_relative_paths(roster: Roster, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert resolve("mine", roster).slot == 5
    assert resolve("alone.v", roster).datasheet.name == "alone"
    monkeypatch.chdir(tmp_path / "mine")
    assert resolve(".", roster).datasheet.name == "mine"
    assert resolve("./mine.v", roster).slot == 5


@pytest.mark.parametrize(
    ("text", "kind", "message"),
    [
        (
            "lihgthouse",
            UsageError,
            'there is no design "lihgthouse"; did you mean "lighthouse"? the designs are ',
        ),
        ("", UsageError, 'there is no design ""; the designs are '),
        ("-3", UsageError, 'there is no design "-3"; the designs are '),
        ("mine/mime.v", SourceError, 'mine/mime.v: no such file or folder; did you mean "mine.v"?'),
        ("nowhere/x.v:top", SourceError, "nowhere/x.v: no such file or folder; check the path"),
        (
            "empty",
            SourceError,
            "empty: there is no datasheet.toml in this folder; write one, or give the path of",
        ),
        (
            "note.txt",
            SourceError,
            'note.txt: the ending ".txt" is not that of a source; allowed: .py, .v, .sv, .il',
        ),
        ("gone.toml", SourceError, "gone.toml: no such file or folder; check the path"),
        ("bad.toml", DatasheetError, "bad.toml: title: is missing; add it: a text"),
        ("a/" + "x" * 300, SourceError, "a/xxx"),
        ("\u0663", UsageError, 'there is no design "\u0663"; '),
    ],
)
def test_what_is_not_there(
    roster: Roster,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    text: str,
    kind: type[ForelightError],
    message: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "empty").mkdir()
    (tmp_path / "note.txt").write_text("")
    (tmp_path / "bad.toml").write_text("")
    with pytest.raises(ForelightError) as error:
        resolve(text, roster)
    assert type(error.value) is kind
    assert str(error.value).startswith(message)
