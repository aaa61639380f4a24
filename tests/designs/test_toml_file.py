"""Where a TOML file's keys stand, and what is said of files that cannot be read."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from forelight.designs.toml_file import did_you_mean, dotted, quoted, read_toml
from forelight.sim.errors import DatasheetError

TEXT = '''title = "x"
long = """
[not a table]
key = "inside a text"
"""
[step]
line = "i7"
[lines]
i0 = { means = "roll" }
"i 1" = { means = "spaced" }
a.b = 3
[[run]]
do = [
  "restart",
]
[[run]]
name = "second"
[run.inner]
deep = 1
'''


def write(folder: Path, text: str | bytes) -> Path:
    file = folder / "sheet.toml"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return file


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("title",), 1),
        (("long",), 2),
        (("step",), 6),
        (("step", "line"), 7),
        (("lines", "i0"), 9),
        (("lines", "i0", "means"), 9),
        (("lines", "i 1"), 10),
        (("lines", "a", "b"), 11),
        (("run", 0), 12),
        (("run", 0, "do"), 13),
        (("run", 0, "do", 0), 14),
        (("run", 0, "name"), 12),
        (("run", 1), 16),
        (("run", 1, "name"), 17),
        (("run", 1, "inner", "deep"), 19),
    ],
)
def test_a_key_is_found_on_its_line_or_that_of_its_table(
    tmp_path: Path, path: tuple[str | int, ...], line: int
) -> None:
    file = write(tmp_path, TEXT)
    assert read_toml(file).place(*path) == f"{file}:{line}"


def test_each_text_of_an_array_has_its_line(tmp_path: Path) -> None:
    text = """do = ["a", # "b"]
  'c]"', [ "in" ],
  { x = "y" }, \"\"\"several
lines"]\"\"\", "last \\" ["
]
next = "["
"""
    section = read_toml(write(tmp_path, text))
    lines = [section.lines.get(("do", number)) for number in range(5)]
    assert lines == [1, 2, 3, 4, None]
    assert section.lines["next",] == 6


def test_what_is_inside_a_text_of_several_lines_is_no_key(tmp_path: Path) -> None:
    assert ("key",) not in read_toml(write(tmp_path, TEXT)).lines
    assert ("not a table",) not in read_toml(write(tmp_path, TEXT)).lines


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b'a = 1\nb = "\n', ":2: is not valid TOML: Illegal character"),
        (b"a = 1\na = 2\n", ":2: is not valid TOML: Cannot overwrite a value"),
        (b"\xff\xfe", ": is not UTF-8 text (byte 0); save it as UTF-8"),
        (b"a = " + b"[" * 5000, ": is not valid TOML: nested too deep; correct the syntax"),
        (b"a = " + b"9" * 5000, ": is not valid TOML: "),
        (b"#" * (1 << 21), ": file of more than 1 MiB; give a TOML file"),
    ],
)
def test_a_file_that_is_no_toml_is_one_clear_error(tmp_path: Path, content: bytes, message: str) -> None:
    with pytest.raises(DatasheetError) as error:
        read_toml(write(tmp_path, content))
    assert str(error.value).startswith(f"{tmp_path / 'sheet.toml'}{message}")


def test_a_missing_file_and_a_folder_are_clear_errors(tmp_path: Path) -> None:
    with pytest.raises(DatasheetError, match="cannot be read: No such file or directory; give a TOML file"):
        read_toml(tmp_path / "none.toml")
    with pytest.raises(DatasheetError, match="cannot be read: Is a directory"):
        read_toml(tmp_path)


def test_an_editors_byte_order_mark_and_line_ends_are_no_trouble(tmp_path: Path) -> None:
    section = read_toml(write(tmp_path, b'\xef\xbb\xbftitle = "x"\r\nb = 1\r\n'))
    assert section.text("title") == "x"
    assert section.place("b").endswith(":2")


def test_control_characters_never_reach_the_terminal(tmp_path: Path) -> None:
    section = read_toml(write(tmp_path, '"\\u001b[2J" = 1\ntitle = "\\u001b[2J"\nother = "\\u202e"\n'))
    for key, shown in (("title", "\\u001b"), ("other", "\\u202e")):
        with pytest.raises(DatasheetError) as error:
            section.text(key)
        assert f'holds the control character "{shown}"' in str(error.value)
    with pytest.raises(DatasheetError) as error:
        section.only("name")
    assert "\x1b" not in str(error.value)
    assert dotted(("\x1b[2J",)) == "\\u001b[2J"
    assert quoted("\x1b[2J") == '"\\u001b[2J"'


def test_small_helpers() -> None:
    assert dotted(("run", 0, "do")) == "run[0].do"
    assert dotted(("step", "line")) == "step.line"
    assert did_you_mean("tilte", ("title", "source")) == 'did you mean "title"?'
    assert did_you_mean("zzz", ("title", "source")) == ""
    assert [quoted(v) for v in (True, 3, {"a": 1}, [1, 2])] == ["true", "3", "a table", "an array of 2"]


@pytest.mark.parametrize(
    ("value", "whole", "number", "rate"),
    [
        ("2", True, True, True),
        ("5", True, True, True),
        ("1", False, False, True),
        ("6", False, False, True),
        ("true", False, False, False),
        ('"3"', False, False, False),
        ("3.0", False, True, True),
        ("1e-6", False, False, True),
        ("9e-7", False, False, False),
        ("1e9", False, False, True),
        ("1000000001", False, False, False),
        ("nan", False, False, False),
        ("[3]", False, False, False),
    ],
)
def test_numbers_to_the_very_bounds(
    tmp_path: Path, value: str, whole: bool, number: bool, rate: bool
) -> None:
    top = read_toml(write(tmp_path, f"key = {value}"))
    readers: list[Callable[[], float | None]] = [
        lambda: top.integer("key", 2, 5),
        lambda: top.number("key", 2, 5),
        lambda: top.rate("key"),
    ]
    for read, fits in zip(readers, (whole, number, rate), strict=True):
        if fits:
            assert read() == float(value)
        else:
            with pytest.raises(DatasheetError, match=r"sheet\.toml:1: key: .* does not fit; allowed: "):
                read()


def test_texts_to_the_very_length(tmp_path: Path) -> None:
    top = read_toml(write(tmp_path, f'key = "{"x" * 80}"'))
    assert top.text("key", longest=80) == "x" * 80
    with pytest.raises(DatasheetError, match="allowed: a text of 1 to 79 characters"):
        top.text("key", longest=79)
    assert top.text("other", "default") == "default"
    assert top.integer("other", 0, 9, 7) == 7
    with pytest.raises(DatasheetError, match="other: is missing; add it: a whole number from 0 to 9"):
        top.integer("other", 0, 9)


def test_a_near_word_is_proposed_but_not_for_one_of_two_letters() -> None:
    assert did_you_mean("tilte", ["title", "lines"]) == 'did you mean "title"?'
    assert did_you_mean("o", ["o0", "o1"]) == did_you_mean("os", ["o0", "so"]) == ""


@pytest.mark.parametrize(("length", "ending"), [(79, '"'), (80, '"'), (81, '..."'), (200, '..."')])
def test_long_texts_are_shortened(length: int, ending: str) -> None:
    assert quoted("x" * length) == '"' + "x" * min(length, 80) + ending
