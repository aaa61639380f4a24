"""Every mistake in a datasheet is one error that names file, line, key, what was found and what is allowed."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from forelight.designs.sheets.reader import load
from forelight.sim.errors import DatasheetError, ForelightError

GOOD = (Path(__file__).parent / "ferry_datasheet.toml").read_text()


def contribution(folder: Path, text: str = GOOD, files: tuple[str, ...] = ("design.py",)) -> Path:
    place = folder / "ferry"
    place.mkdir(exist_ok=True)
    (place / "datasheet.toml").write_text(text)
    for name in files:
        (place / name).write_text("")
    return place


def complaint(folder: Path, text: str, files: tuple[str, ...] = ("design.py", "a.v", "b.v", "c.il")) -> str:
    with pytest.raises(DatasheetError) as error:
        load(contribution(folder, text, files))
    return str(error.value).removeprefix(f"{folder / 'ferry' / 'datasheet.toml'}")


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            'title = "Ferry whistle"',
            'tilte = "Ferry whistle"',
            ':1: tilte: no such key; did you mean "title"? the keys here are title, creator, license, description,'
            " format, source, module, step, restart, lines, ports, attach, run",
        ),
        ('title = "Ferry whistle"\n', "", ": title: is missing; add it: a text"),
        (
            'title = "Ferry whistle"',
            "title = 3",
            ":1: title: 3 does not fit; allowed: a text of 1 to 80 characters",
        ),
        (
            'source = "design.py:FerryWhistle"',
            "source = []",
            ":5: source: an array of 0 does not fit; allowed: an array of one or more texts",
        ),
        (
            "design.py:FerryWhistle",
            "desing.py:FerryWhistle",
            ':5: source: there is no file "desing.py"; did you mean "design.py"?',
        ),
        (
            "design.py:FerryWhistle",
            "design.py:Ferry Whistle",
            ':5: source: "design.py:Ferry Whistle" does not fit; allowed: FILE or FILE:NAME,'
            " with the name of a class or module",
        ),
        (
            "design.py:FerryWhistle",
            "design.vhd",
            ':5: source: "design.vhd" does not fit; allowed endings: .py, .v, .sv, .il',
        ),
        (
            '"design.py:FerryWhistle"',
            '["a.v", "c.il"]',
            ":5: source: netlist and verilog stand side by side; allowed: one format",
        ),
        (
            '"design.py:FerryWhistle"',
            '["design.py", "design.py"]',
            ":5: source: 2 files are too many; allowed for amaranth: one file",
        ),
        (
            'source = "design.py:FerryWhistle"',
            'source = "design.py:FerryWhistle"\nformat = "verilog"',
            ':6: format: "verilog" does not fit; allowed: amaranth, as the ending of design.py says',
        ),
        (
            'source = "design.py:FerryWhistle"',
            'source = "design.py:FerryWhistle"\nformat = "amaranht"',
            ':6: format: "amaranht" does not fit; allowed: amaranth, netlist, verilog; did you mean "amaranth"?',
        ),
        (
            'source = "design.py:FerryWhistle"',
            'source = "design.py:FerryWhistle"\nmodule = "Ferry"',
            ':6: module: "Ferry" is not "FerryWhistle" of source; name the top once',
        ),
        (
            'line = "i7"',
            'line = "i8"',
            ':8: step.line: "i8" does not fit; allowed: i0, i1, i2, i3, i4, i5, i6, i7, own',
        ),
        (
            "wanted_hz = 750",
            "wanted_hz = 0",
            ":9: step.wanted_hz: 0 does not fit; allowed: a rate in Hz from 0.000001 to 1000000000",
        ),
        (
            "wanted_hz = 750",
            "wanted_hz = nan",
            ":9: step.wanted_hz: nan does not fit; allowed: a rate in Hz from 0.000001 to 1000000000",
        ),
        (
            "wanted_hz = 750",
            "wanted_hz = true",
            ":9: step.wanted_hz: true does not fit; allowed: a rate in Hz from 0.000001 to 1000000000",
        ),
        (
            'active = "low"',
            'active = "lwo"',
            ':13: restart.active: "lwo" does not fit; allowed: high, low; did you mean "low"?',
        ),
        (
            '"i6"\nactive',
            '"i7"\nactive',
            ":12: restart.line: i7 is the step line too; give each a line of its own",
        ),
        (
            'i2 = { means = "mute", idle = 1 }',
            'i2 = "mute"',
            ':16: lines.i2: "mute" does not fit; allowed: a table, as in [lines.i2]',
        ),
        (
            'o4 = { means = "whistle" }',
            'o8 = { means = "whistle" }',
            ":17: lines.o8: no such key; ",
        ),
        (
            'o4 = { means = "whistle" }',
            'o4 = { means = "whistle", idle = 0 }',
            ":17: lines.o4.idle: no such key; the keys here are means",
        ),
        ("idle = 1", "idle = 2", ":16: lines.i2.idle: 2 does not fit; allowed: a whole number from 0 to 1"),
        (
            'i2 = { means = "mute", idle = 1 }',
            'i7 = { means = "mute", idle = 1 }',
            ":16: lines.i7.idle: i7 is the step line; leave it out: its rest is known",
        ),
        (
            'rst = "i6"',
            'rst = "i2"',
            ":22: ports.rst: i2 is the line of pin[0] already; allowed: each line once",
        ),
        (
            'rst = "i6"',
            '"pin[1]" = "o6"',
            ":22: ports.pin[1]: o6 goes the other way than i2 of pin[0]; allowed: the bits of a port all in or all out",
        ),
        (
            'rst = "i6"',
            '"pin[99999]" = "i6"',
            ':22: ports.pin[99999]: is no name of a port; allowed: port = "i0" or "port[3]" = "i0"',
        ),
        (
            'rst = "i6"',
            '"pin" = "i6"',
            ":22: ports.pin: overlaps pin[0]; map the port whole or bit by bit",
        ),
        (
            'clock = "i7"',
            '"a b" = "i7"',
            ':20: ports.a b: is no name of a port; allowed: port = "i0" or "port[3]" = "i0"',
        ),
        ('rst = "i6"', 'rst = "restart"', ':22: ports.rst: "restart" does not fit; allowed: i0, i1, '),
        (
            'kind = "speaker"',
            'kind = "speeker"',
            ':26: attach[0].kind: "speeker" does not fit; allowed: speaker, serial terminal, character display,'
            ' serial memory, pulse-width meter, lamp; did you mean "speaker"?',
        ),
        (
            'lines = { signal = "o4" }\n',
            "",
            ":25: attach[0].lines: is missing; add it: a table of its terminals: signal",
        ),
        (
            "volume = 0.5",
            "volume = [1]",
            ":28: attach[0].options.volume: an array of 1 does not fit; allowed: a number from 0 to 0.5",
        ),
        (
            "[[attach]]",
            "[attach]",
            ":25: attach: a table does not fit; allowed: tables, each begun by [[attach]]",
        ),
        (
            '"steps 97500"',
            '"step 97500"',
            ':32: run "two blasts", action 2: "step 97500": no such action; did you mean "steps" or "strap"? ',
        ),
        (
            '"steps 97500"',
            '"set i7=1"',
            ':32: run "two blasts", action 2: "set i7=1": the step clock drives i7; write disable before, or leave it'
            " out",
        ),
        (
            'expect = "a blast of 4 to 6 s"\n',
            '[[run]]\nname = "two blasts"\ndo = ["restart"]\n',
            ':34: run[1].name: "two blasts" is the name of an earlier run; give each run its own name',
        ),
        (
            'do = ["restart", "steps 97500"]',
            'do = "restart"',
            ':32: run[0].do: "restart" does not fit; allowed: an array of',
        ),
    ],
)
def test_each_mistake_is_named(tmp_path: Path, old: str, new: str, message: str) -> None:
    assert old in GOOD
    assert complaint(tmp_path, GOOD.replace(old, new, 1)).startswith(message)


def test_sources_stay_inside_the_folder(tmp_path: Path) -> None:
    (tmp_path / "outside.v").write_text("")
    place = contribution(tmp_path, files=())
    (place / "link.v").symlink_to(tmp_path / "outside.v")
    (place / "round.v").symlink_to(place / "round.v")
    for name in ("../outside.v", "/outside.v", "link.v"):
        said = complaint(tmp_path, f'title = "x"\nsource = "{name}"\n')
        assert said == f':2: source: "{name}" leaves the folder; allowed: files inside the folder'
    for name in ("round.v", "\u00e9" * 150 + ".v"):
        assert "there is no file" in complaint(tmp_path, f'title = "x"\nsource = "{name}"\n')
    (place / "inner").mkdir()
    (place / "inner" / "deep.v").write_text("")
    assert load(contribution(tmp_path, 'title = "x"\nsource = "inner/deep.v"\n')).sources == ("inner/deep.v",)


def test_a_damaged_datasheet_is_a_record_or_one_error(tmp_path: Path) -> None:
    """Lines dropped, doubled, swapped or spoilt at random: never anything but a record or a ForelightError."""
    seed = 20
    print("seed", seed)
    chance = random.Random(seed)
    place = contribution(tmp_path, files=("design.py", "a.v"))
    refused = 0
    for _ in range(400):
        lines = GOOD.splitlines()
        for _ in range(chance.randint(1, 3)):
            at = chance.randrange(len(lines))
            old = lines[at]
            values = (
                "[]",
                "{}",
                "-1",
                "1e400",
                "nan",
                "''",
                "[[1]]",
                "1979-05-27",
                "true",
                "{ a = [ { b = 1 } ] }",
            )
            spoilt = old.partition("=")[0] + "= " + chance.choice(values)
            cut = old[: chance.randint(0, len(old))]
            lines[at] = chance.choice([spoilt, spoilt, cut, f"{old}\n{old}", chance.choice(lines), ""])
        (place / "datasheet.toml").write_text("\n".join(lines))
        try:
            load(place)
        except ForelightError as error:
            refused += 1
            assert str(error).startswith(str(place / "datasheet.toml"))
    print(refused, "of 400 refused")
    assert 200 < refused < 400


def test_a_clock_port_is_needed_but_in_amaranth(tmp_path: Path) -> None:
    text = 'title = "x"\nsource = "a.v"\nstep = { line = "i7" }\nports = { a = "i0" }\n'
    said = ':4: ports: no port has the step line; add one: PORT = "i7"'
    assert complaint(tmp_path, text) == said
    assert load(contribution(tmp_path, text.replace("a.v", "design.py"))).ports == {"a": "i0"}
    plain = 'title = "x"\nsource = "a.v"\nrestart = { line = "i6", active = "high" }\nports = { a = "i0" }\n'
    said = ':4: ports: no port has the restart line; add one: PORT = "i6"'
    assert complaint(tmp_path, plain) == said


def test_a_format_that_the_files_have_not_names_the_first_of_them(tmp_path: Path) -> None:
    text = 'title = "x"\nsource = ["a.v", "b.sv"]\nmodule = "top"\nformat = "netlist"\n'
    said = complaint(tmp_path, text, ("a.v", "b.sv"))
    assert said == ':4: format: "netlist" does not fit; allowed: verilog, as the ending of a.v says'
