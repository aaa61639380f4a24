"""What a datasheet may wire to a design: every kind with its terminals and options, and each mistake by its place."""

from __future__ import annotations

from pathlib import Path

import pytest
from forelight.designs.catalogue import load_design
from forelight.designs.datasheet import Attachment
from forelight.designs.sheets.attachments import KINDS, driven_lines, heard_lines
from forelight.designs.sheets.reader import load
from forelight.sim.errors import DatasheetError

HEAD = 'title = "x"\nsource = "a.v"\nmodule = "a"\nstep = { line = "i7" }\nrestart = { line = "i6" }\n'
MEMORY = """[[attach]]
kind = "serial memory"
lines = { cs = "o0", sck = "o1", si = "o2", so = "i0" }
options = { image = "chart.txt", address_bytes = 2 }
"""
DISPLAY = """[[attach]]
kind = "character display"
lines = { rs = "o0", e = "o1", db4 = "o4", db5 = "o5", db6 = "o6", db7 = "low" }
options = { columns = 20, volts = 3.3 }
"""


def attached(folder: Path, text: str) -> tuple[Attachment, ...]:
    (folder / "a.v").write_text("")
    (folder / "chart.txt").write_text("depth 4 m")
    (folder / "datasheet.toml").write_text(HEAD + text)
    return load(folder).attach


def complaint(folder: Path, text: str) -> str:
    with pytest.raises(DatasheetError) as error:
        attached(folder, text)
    return str(error.value).removeprefix(f"{folder / 'datasheet.toml'}")


def test_terminals_and_options_reach_the_record(tmp_path: Path) -> None:
    memory, display = attached(tmp_path, MEMORY + DISPLAY)
    assert memory.lines == {"cs": "o0", "sck": "o1", "si": "o2", "so": "i0"}
    assert memory.options == {"image": "chart.txt", "address_bytes": 2}
    assert display.lines["db7"] == "low"
    assert display.options == {"columns": 20, "volts": 3.3}


@pytest.mark.parametrize("kind", sorted(set(KINDS) - {"serial memory"}))
def test_each_kind_needs_no_options(tmp_path: Path, kind: str) -> None:
    lines = ", ".join(f'{terminal} = "o{n}"' for n, terminal in enumerate(KINDS[kind].needs))
    (found,) = attached(tmp_path, f'[[attach]]\nkind = "{kind}"\nlines = {{ {lines} }}\n')
    assert (found.kind, list(found.lines), found.options) == (kind, list(KINDS[kind].needs), {})


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('sck = "o1", ', "", ":8: attach[0].lines.sck: is missing; add it: the line that it is wired to"),
        ('sck = "o1"', 'sclk = "o1"', ':8: attach[0].lines.sclk: no such key; did you mean "sck"?'),
        ('sck = "o1"', 'sck = "o8"', ':8: attach[0].lines.sck: "o8" does not fit; allowed: o0, o1,'),
        (
            'so = "i0"',
            'so = "o3"',
            ':8: attach[0].lines.so: "o3" does not fit; allowed: i0, i1, i2, i3, i4, i5, i6, i7',
        ),
        ('so = "i0"', 'so = "low"', ':8: attach[0].lines.so: "low" does not fit; allowed: i0,'),
        ('so = "i0"', 'so = "i7"', ":8: attach[0].lines.so: i7 is the step line; wire it to another input"),
        (
            'so = "i0"',
            'so = "i6"',
            ":8: attach[0].lines.so: i6 is the restart line; wire it to another input",
        ),
        ('image = "chart.txt", ', "", ":9: attach[0].options.image: is missing; add it: the name of a file"),
        ("chart.txt", "chrat.txt", ':9: attach[0].options.image: there is no file "chrat.txt"; did you mean'),
        (
            "chart.txt",
            "../a.bin",
            ':9: attach[0].options.image: "../a.bin" leaves the folder; allowed: files',
        ),
        (
            "chart.txt",
            "a.v",
            ':9: attach[0].options.image: "a.v" does not fit; allowed endings: .bin, .txt, .hex',
        ),
        (
            "= 2",
            "= 4",
            ":9: attach[0].options.address_bytes: 4 does not fit; allowed: a whole number from 2 to 3",
        ),
        ("address_bytes", "size", ":9: attach[0].options.size: no such key; the keys here are image,"),
    ],
)
def test_each_mistake_is_named(tmp_path: Path, old: str, new: str, message: str) -> None:
    assert old in MEMORY
    assert complaint(tmp_path, MEMORY.replace(old, new, 1)).startswith(message)


def test_no_input_has_two_drivers(tmp_path: Path) -> None:
    found = complaint(tmp_path, MEMORY + MEMORY)
    assert found.startswith(
        ":12: attach[1].lines.so: i0 is the so of another serial memory; wire it to another"
    )


def test_a_speaker_is_wired_and_not_held(tmp_path: Path) -> None:
    found = complaint(tmp_path, '[[attach]]\nkind = "speaker"\nlines = { signal = "low" }\n')
    assert found.startswith(':8: attach[0].lines.signal: "low" does not fit; allowed: i0,')


def test_a_link_that_leads_outside_is_refused(tmp_path: Path) -> None:
    inner = tmp_path / "inner"
    inner.mkdir()
    (tmp_path / "secret.txt").write_text("x")
    (inner / "link.txt").symlink_to(tmp_path / "secret.txt")
    found = complaint(inner, MEMORY.replace("chart.txt", "link.txt"))
    assert "leaves the folder" in found


@pytest.mark.parametrize(
    ("option", "inside", "outside"),
    [
        ("columns", ("8", "40"), ("7", "41")),
        ("rows", ("1", "2"), ("0", "3")),
        ("volts", ("2.7", "5.5"), ("2.69", "5.51")),
    ],
)
def test_options_of_a_display_from_bound_to_bound(
    tmp_path: Path, option: str, inside: tuple[str, ...], outside: tuple[str, ...]
) -> None:
    bare = DISPLAY.replace("columns = 20, volts = 3.3", "{}")
    for value in inside:
        (found,) = attached(tmp_path, bare.replace("{ {} }", f"{{ {option} = {value} }}"))
        assert found.options == {option: float(value)}
    for value in outside:
        assert f"{option}: {value} does not fit" in complaint(
            tmp_path, bare.replace("{ {} }", f"{{ {option} = {value} }}")
        )


@pytest.mark.parametrize(
    ("baud", "fits"), [("0.01", True), ("1e7", True), ("0.009", False), ("-0.5", False), ("1.1e7", False)]
)
def test_rates_of_a_terminal_from_bound_to_bound(tmp_path: Path, baud: str, fits: bool) -> None:
    text = (
        f'[[attach]]\nkind = "serial terminal"\nlines = {{ receive = "o3" }}\noptions = {{ baud = {baud} }}\n'
    )
    if fits:
        (found,) = attached(tmp_path, text)
        assert found.options == {"baud": float(baud)}
    else:
        assert "does not fit" in complaint(tmp_path, text)


def test_what_listens_to_inputs_and_what_drives_them(tmp_path: Path) -> None:
    lamp = '[[attach]]\nkind = "lamp"\nlines = { signal = "i3" }\n'
    meter = '[[attach]]\nkind = "pulse-width meter"\nlines = { signal = "o3" }\n'
    attached(tmp_path, lamp + meter + MEMORY)
    sheet = load(tmp_path)
    assert (heard_lines(sheet), driven_lines(sheet)) == (("i3",), ("i0",))


def test_a_line_that_something_outside_drives_has_no_idle_level(tmp_path: Path) -> None:
    """A switch that is closed for it would fight with the sender."""
    folder = load_design("listening_post").folder
    text = (folder / "datasheet.toml").read_text().replace('high at rest" }', 'high at rest", idle = 1 }')
    (tmp_path / "design.v").write_text((folder / "design.v").read_text())
    (tmp_path / "datasheet.toml").write_text(text)
    said = r"lines\.i0\.idle: i0 is the serial terminal's line; leave it out: its rest is known$"
    with pytest.raises(DatasheetError, match=said):
        load(tmp_path)
