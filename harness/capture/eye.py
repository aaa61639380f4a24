"""What an eye wrote down of a display, step by step: characters or bytes, to the table that a recording is read from.

The digits have the shapes of the TI SN74LS47 data sheet; bars that other decoders add to 6, 7 and 9 are left open. The
letters are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping

from forelight.sim.errors import CaptureError

#: Character -> the segments that are lit; those after the mark ? may be or not.
SHAPES: Mapping[str, str] = {
    "0": "abcdef", "1": "bc", "2": "abdeg", "3": "abcdg", "4": "bcfg", "5": "acdfg", "6": "cdefg?a", "7": "abc?f",
    "8": "abcdefg", "9": "abcfg?d", "A": "abcefg", "b": "cdefg", "C": "adef", "c": "deg", "d": "bcdeg", "E": "adefg",
    "F": "aefg", "H": "bcefg", "h": "cefg", "L": "def", "n": "ceg", "o": "cdeg", "P": "abefg", "r": "eg", "t": "defg",
    "O": "abcdef", "S": "acdfg", "U": "bcdef", "u": "cde", "y": "bcdfg", "-": "g", "_": "d", "=": "dg", "blank": "",
}  # fmt: skip
UNREAD = ("", "?", "x", "X")
#: How many different signs there may be in a list of bytes, and in one of characters, with or without the point.
BYTES, CHARACTERS = 256, 60
HEADINGS = (["shown"], ["step", "shown"], ["outputs"], ["step", "outputs"])


def spelled_out(data: bytes, display: Mapping[str, str], place: str) -> tuple[bytes, tuple[str, ...], int]:
    """A list of what was seen as a table of steps and outputs, a sentence for what was guessed, and how many signs
    there are; all else as it is.

    `display` maps output lines to segments. Raises CaptureError for a character that seven segments do not show.
    """
    head = data[:64].decode("utf-8", "replace").lower()
    first = head.splitlines()[0] if head.strip() else ""
    delimiter = next((mark for mark in ";\t" if mark in first), ",")
    names = [name.strip(' "') for name in first.split(delimiter)]
    if names not in HEADINGS:
        return data, (), BYTES
    import csv

    try:
        read = list(csv.reader(data.decode("utf-8", "replace").splitlines()[1:], delimiter=delimiter))
    except csv.Error as error:
        raise CaptureError(f"the list is not CSV: {error}", place=place, remedy="mend its quotes") from None
    numbers = [number for number, row in enumerate(read) if any(row)]
    rows = [read[number] for number in numbers]  # blank lines say nothing
    notes: list[str] = []
    if "step" not in names:
        notes.append("The rows have no step: each was taken as the next one.")
        rows = [[str(number), *row] for number, row in enumerate(rows)]
    if names[-1] == "shown":
        pointed = any(_pointed(row[-1].strip()) for row in rows)
        if not pointed:
            notes.append("No point was noted: it was not compared.")
        for number, row in zip(numbers, rows, strict=True):
            row[-1] = as_levels(row[-1].strip(), display, pointed, f"{place}, line {number + 2}")
    elif _lost_zeros([row[-1].strip() for row in rows]):
        notes.append("Entries of fewer than eight bits were taken to have lost leading zeros.")
        for row in rows:
            row[-1] = row[-1].strip().zfill(8) if row[-1].strip() not in UNREAD else "X" * 8
    lines = ["step,outputs", *(",".join(row) for row in rows)]
    signs = CHARACTERS if names[-1] == "shown" else BYTES
    return ("\n".join(lines) + "\n").encode(), tuple(notes), signs


def _pointed(shown: str) -> bool:
    return len(shown) > 1 and shown.endswith(".")


def _lost_zeros(cells: list[str]) -> bool:
    """Whether these are eight bits each from a spreadsheet, which takes them for numbers and drops leading zeros."""
    read = [cell for cell in cells if cell not in UNREAD and set(cell) != {"X"}]
    bits = all(set(cell) <= set("01") and len(cell) <= 8 for cell in read)
    return bits and any(len(cell) < 8 for cell in read) and any(len(cell) > 1 for cell in read)


def as_levels(shown: str, display: Mapping[str, str], pointed: bool, place: str) -> str:
    """Eight levels, bit 7 first; X where the character says nothing, and for the point unless it was `pointed`.

    Raises CaptureError, with `place`, for a character that seven segments do not show.
    """
    if shown in UNREAD:
        return "X" * 8
    character, point = (shown[:-1], "1") if _pointed(shown) else (shown, "0")
    shape = SHAPES.get(character) or SHAPES.get(character.swapcase())
    if shape is None and character != "blank":
        allowed = " ".join(SHAPES)
        raise CaptureError(
            f"'{shown}' is nothing that seven segments show",
            place=place,
            remedy=f"write one of {allowed}, a point behind it if that is lit, or ? for what was not read",
        )
    lit, _, either = (shape or "").partition("?")
    levels = []
    for bit in range(7, -1, -1):
        segment = display.get(f"o{bit}")
        if segment == "point":
            levels.append(point if pointed else "X")
        elif segment is None or segment in either:
            levels.append("X")
        else:
            levels.append("1" if segment in lit else "0")
    return "".join(levels)


def as_character(levels: int, settled: int, display: Mapping[str, str]) -> str:
    """What an eye would write down of eight levels, bit 0 for `o0`: a character, with a point behind it if that is lit.

    `blank` where no bar is lit, `?` where one is not settled, and the bars in brackets, such as [abg], where they are
    no character; the first in `SHAPES` of several that look the same. Without a `display` the levels, `o7` first.
    """
    if not display:
        return "".join(str(levels >> n & 1) if settled >> n & 1 else "?" for n in range(7, -1, -1))
    lines = {segment: int(line[1:]) for line, segment in display.items()}
    if any(not settled >> bit & 1 for bit in lines.values()):
        return "?"
    lit = {segment for segment, bit in lines.items() if levels >> bit & 1}
    bars = "".join(sorted(lit - {"point"}))
    point = "." if "point" in lit else ""
    if not bars:
        return f"blank{point}"
    for character, shape in SHAPES.items():
        must, _, either = shape.partition("?")
        if bars in ("".join(sorted(must)), "".join(sorted(must + either))):
            return character + point
    return f"[{bars}]{point}"
