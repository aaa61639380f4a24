"""Board profiles: the two that come with Forelight, and what is said of a wrong one."""

from __future__ import annotations

import tomllib
from fractions import Fraction
from pathlib import Path

import pytest
from forelight.harness.boards.keys import KEYS
from forelight.harness.boards.reader import board_names, load_board
from forelight.harness.boards.roster import empty_slot, find
from forelight.sim.errors import DatasheetError, UsageError

CHAIN = """title = "A chain"
link = "chain"
oscillator_hz = 12_000_000
slot_count = 125

[chain]
positions = 125
ticks_per_bit = 3

[step]
line = "i0"
law = "counter"

[restart]
line = "i1"

[buttons]
i1 = "R"

[pins]
i0 = "P1"

[display]
o0 = "a"
o1 = "point"

[pulls]
i0 = 1

[slots]
7 = "dice"
9 = "mine"
"""
DIRECT = """title = "A direct link"
link = "direct"
oscillator_hz = 1000
slot_count = 4
empty_outputs = 129
unselected = "run"
step = { line = "own", law = "counter", settings = 1000 }
restart = { line = "own" }
pins = { step = "CK", restart = "R" }
display = { o0 = "a", o7 = "point" }
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "datasheet.toml").write_text(
        'title = "Mine"\nsource = "a.v"\nstep = { line = "own" }\n'
    )
    (tmp_path / "mine" / "a.v").write_text("")
    return tmp_path


def write(folder: Path, text: str) -> Path:
    file = folder / "other.toml"
    file.write_text(text)
    return file


def test_both_boards_of_the_bench() -> None:
    assert board_names() == ("mole", "quay")
    quay, mole = load_board("quay"), load_board("mole")
    assert (quay.link, quay.oscillator_hz, quay.positions, quay.ticks_per_bit) == (
        "chain",
        18_432_000,
        192,
        4,
    )
    assert quay.frame_hz == Fraction(3000)
    assert (quay.law, quay.codes, quay.strapped, quay.slot_count) == ("two-stage", 256, True, 192)
    assert (mole.link, mole.oscillator_hz, mole.frame_hz) == ("direct", 50_000_000, Fraction(50_000_000))
    assert (mole.step_line, mole.restart_line, mole.strapped, mole.slot_count) == ("own", "own", False, 64)
    assert quay.display == {**{f"o{n}": "abcdefg"[n] for n in range(7)}, "o7": "point"}
    assert quay.display != mole.display and quay.pulls != mole.pulls  # the wiring is data
    for board in (quay, mole):
        assert sorted(board.display.values()) == [*"abcdefg", "point"]
        assert set(board.pulls) == {f"i{n}" for n in range(8)}
        assert len(board.pins) >= 16
        assert len(board.slots) < board.slot_count / 2  # most slots are empty


@pytest.mark.parametrize("name", board_names())
def test_every_slot_of_the_rosters_holds_a_valid_design_in_its_own_slot(name: str) -> None:
    board = load_board(name)
    for slot, entry in board.slots.items():
        found = find(board, str(slot))
        assert (found.datasheet.name, found.slot) == (entry, slot)
        assert find(board, entry) == found


def test_every_key_reaches_the_record(folder: Path) -> None:
    board = load_board(write(folder, CHAIN))
    assert (board.name, board.title, board.path) == ("other", "A chain", folder / "other.toml")
    assert (board.frame_ticks, board.frame_hz, board.law, board.codes) == (
        3000,
        Fraction(4000),
        "counter",
        256,
    )
    assert (board.step_line, board.restart_line) == ("i0", "i1")
    assert (board.buttons, board.pins, board.pulls) == ({"i1": "R"}, {"i0": "P1"}, {"i0": 1})
    assert (board.display, board.slots) == ({"o0": "a", "o1": "point"}, {7: "dice", 9: "mine"})
    direct = load_board(str(write(folder, DIRECT)))
    assert (direct.unselected, direct.empty_outputs, direct.codes) == ("run", 129, 1000)
    assert direct.pins == {"step": "CK", "restart": "R"}


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            'link = "chain"',
            'link = "chian"',
            ':2: link: "chian" does not fit; allowed: chain, direct; did you mean "chain"?',
        ),
        (
            "oscillator_hz = 12_000_000",
            "oscillator_hz = 0",
            ":3: oscillator_hz: 0 does not fit; allowed: a whole number from 1",
        ),
        (
            "oscillator_hz",
            "oscilator_hz",
            ':3: oscilator_hz: no such key; did you mean "oscillator_hz"? the keys here',
        ),
        (
            "slot_count = 125",
            "slot_count = 126",
            ":4: slot_count: 126 does not fit; allowed: 1 to 125, the positions of the",
        ),
        (
            "ticks_per_bit = 3",
            "ticks_per_bit = 3.0",
            ":8: chain.ticks_per_bit: 3.0 does not fit; allowed: a whole number from",
        ),
        (
            "[chain]\npositions = 125\nticks_per_bit = 3\n",
            "",
            ": chain: is missing; add it: a table with positions and",
        ),
        (
            'line = "i0"',
            'line = "own"',
            ':11: step.line: "own" does not fit; allowed: i0, i1, i2, i3, i4, i5, i6, i7',
        ),
        (
            'law = "counter"',
            'law = "two stage"',
            ':12: step.law: "two stage" does not fit; allowed: counter, two-stage; did',
        ),
        (
            'law = "counter"',
            'law = "counter"\nsettings = 9',
            ":13: step.settings: is for a direct link; leave it out: ",
        ),
        ('[step]\nline = "i0"\nlaw = "counter"', "", ": step: is missing; add it: a table with line and law"),
        (
            'line = "i1"',
            'line = "i0"',
            ":15: restart.line: i0 is the step line too; give each a line of its own",
        ),
        ('i1 = "R"', 'o1 = "R"', ":18: buttons.o1: no such key; "),
        ('i0 = "P1"', 'step = "P1"', ":21: pins.step: no such key; "),
        (
            'o1 = "point"',
            'o1 = "a"',
            ":25: display.o1: segment a has a line already; allowed: each segment once",
        ),
        (
            'o1 = "point"',
            'o1 = "h"',
            ':25: display.o1: "h" does not fit; allowed: a, b, c, d, e, f, g, point',
        ),
        ("i0 = 1", "i0 = 2", ":28: pulls.i0: 2 does not fit; allowed: a whole number from 0 to 1"),
        ('7 = "dice"', '125 = "dice"', ":31: slots.125: is no slot of this chip; the slots are 0 to 124"),
        ('7 = "dice"', 'seven = "dice"', ":31: slots.seven: is no slot of this chip; the slots are 0 to 124"),
        ('9 = "mine"', '07 = "mine"', ":32: slots.07: slot 7 is there already; allowed: each slot once"),
        (
            '7 = "dice"',
            '7 = "dise"',
            ':31: slots.7: there is no design "dise"; did you mean "dice"? allowed: a folder',
        ),
        ('7 = "dice"', "7 = 7", ":31: slots.7: 7 does not fit; allowed: a text of 1 to 200 characters"),
        ('7 = "dice"', f'7 = "{chr(233) * 150}"', ":31: slots.7: there is no design "),
        (
            "slot_count = 125",
            'slot_count = 125\nunselected = "run"',
            ":5: unselected: is for a direct link; leave it ",
        ),
    ],
)
def test_each_mistake_is_named(folder: Path, old: str, new: str, message: str) -> None:
    assert old in CHAIN
    file = write(folder, CHAIN.replace(old, new, 1))
    with pytest.raises(DatasheetError) as error:
        load_board(file)
    assert str(error.value).startswith(f"{file}{message}")


def test_mistakes_on_a_direct_link(folder: Path) -> None:
    for old, new, message in (
        (
            'link = "direct"',
            'link = "direct"\nchain = {}',
            ":3: chain: a direct link has no chain; leave the table out",
        ),
        (
            'law = "counter"',
            'law = "two-stage"',
            ":7: step.settings: 1000 does not fit; allowed: a whole number from 1 to 256",
        ),
    ):
        file = write(folder, DIRECT.replace(old, new))
        with pytest.raises(DatasheetError) as error:
            load_board(file)
        assert str(error.value).startswith(f"{file}{message}")


def test_a_board_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(UsageError) as error:
        load_board("qauy")
    assert str(error.value) == (
        'there is no board "qauy"; did you mean "quay"? the boards are mole, quay, or give the path of a TOML file'
    )
    for missing in (tmp_path / "x.toml", f"{tmp_path}/x"):
        with pytest.raises(DatasheetError, match="cannot be read: No such file or directory"):
            load_board(missing)


def test_an_empty_slot_shows_what_the_profile_says(folder: Path) -> None:
    assert empty_slot(load_board("quay"), 18) == (
        "Slot 18 of quay is empty: all eight outputs stay 0 whatever the inputs do, and the display stays dark."
    )
    file = write(folder, DIRECT)
    assert empty_slot(load_board(file), 2) == (
        "Slot 2 of other is empty: o0, o7 stay 1 and the other outputs 0 whatever the inputs do, and the display shows"
        " a, point."
    )
    file.write_text(DIRECT.replace("129", "255").replace('display = { o0 = "a", o7 = "point" }', ""))
    assert empty_slot(load_board(file), 2) == (
        "Slot 2 of other is empty: all eight outputs stay 1 whatever the inputs do."
    )


def test_debounce_in_ticks(folder: Path) -> None:
    assert load_board(write(folder, CHAIN + "[debounce]\ni1 = 200\n")).debounce == {"i1": 200}
    file = write(folder, CHAIN + "[debounce]\ni2 = 200\n")
    with pytest.raises(DatasheetError) as error:
        load_board(file)
    assert (
        str(error.value)
        == f"{file}:34: debounce.i2: no button sits on i2; add it to [buttons] or leave it out"
    )


def test_the_profiles_of_these_tests_have_every_key() -> None:
    profiles = [tomllib.loads(text) for text in (CHAIN, DIRECT, CHAIN + "[debounce]\ni1 = 5\n")]
    for table, keys in KEYS.items():
        tables = [profile.get(table, {}) if table else profile for profile in profiles]
        named = {key for found in tables for key in found}
        assert {key for key in keys if not key.startswith("<")} <= named, (
            f"write an example of each key of [{table}]"
        )
