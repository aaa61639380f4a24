"""The chip as a chart, a mark for each slot: in characters, and as a picture."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from html import escape

from forelight.sim.plain_text import clean

from ..verdict.kinds import AGREES, DIFFERS, INCONCLUSIVE
from .attempt import UNTOLD, ChipRoster
from .standing import UNTRIED, SlotStanding

#: Marks that tell the kinds apart without colour; an empty slot has a dot.
MARKS = {AGREES: "a", DIFFERS: "D", INCONCLUSIVE: "i", UNTOLD: "c", UNTRIED: "-"}
EMPTY = "."
#: Slots of a row, in the chart of characters and in the picture.
ROW, PICTURE_ROW = 32, 24
#: Paper and ink of the marks: from light to dark as attention is wanted, so that they differ in grey too.
_PAPER = {
    AGREES: ("#dcebdc", "#1d4d1d"),
    DIFFERS: ("#7a1f1f", "#ffffff"),
    INCONCLUSIVE: ("#f0dca0", "#4a3a00"),
    UNTOLD: ("#b9a5cf", "#2e1a47"),
    UNTRIED: ("#ffffff", "#555555"),
}
_CELL, _GAP = 26, 3


def lines(chip: ChipRoster, found: Mapping[int, SlotStanding]) -> Iterator[str]:
    """Rows of marks, each after the number of its first slot; rows without a design are left out."""
    wide = len(str(chip.slot_count - 1))
    for first in range(0, chip.slot_count, ROW):
        row = range(first, min(first + ROW, chip.slot_count))
        if any(slot in found for slot in row):
            marks = "".join(MARKS[found[slot].kind] if slot in found else EMPTY for slot in row)
            yield f"{first:>{wide}}  {' '.join(marks[at : at + 8] for at in range(0, len(marks), 8))}"


def legend() -> str:
    """What the marks mean."""
    return ", ".join(f"{mark} {kind}" for kind, mark in MARKS.items()) + f", {EMPTY} empty"


def picture(chip: ChipRoster, found: Mapping[int, SlotStanding]) -> str:
    """The same as SVG, a square for each slot that leads to what is said of it."""
    rows = -(-chip.slot_count // PICTURE_ROW)
    width, height = PICTURE_ROW * (_CELL + _GAP) + _GAP, rows * (_CELL + _GAP) + _GAP
    squares = "".join(_square(slot, found.get(slot)) for slot in range(chip.slot_count))
    label = escape(f"{clean(chip.board)}: a square for each slot")
    frame = f'class="chart" viewBox="0 0 {width} {height}" role="img" aria-label="{label}"'
    return f"<svg {frame}>{squares}</svg>"


def _square(slot: int, standing: SlotStanding | None) -> str:
    row, column = divmod(slot, PICTURE_ROW)
    x, y = column * (_CELL + _GAP) + _GAP, row * (_CELL + _GAP) + _GAP
    frame = f'x="{x}" y="{y}" width="{_CELL}" height="{_CELL}" rx="3"'
    if standing is None:
        return f'<rect {frame} fill="none" stroke="#ddd"><title>{slot}: empty</title></rect>'
    paper, ink = _PAPER[standing.kind]
    name = escape(clean(standing.title or standing.design))
    return (
        f'<a href="#slot-{slot}"><rect {frame} fill="{paper}" stroke="{ink}"/><text x="{x + _CELL / 2:g}" '
        f'y="{y + 11}" class="number" fill="{ink}">{slot}</text><text x="{x + _CELL / 2:g}" y="{y + 22}" class="mark" '
        f'fill="{ink}">{MARKS[standing.kind]}</text><title>{slot} {name}: {standing.kind}</title></a>'
    )


def square(kind: str) -> str:
    """One square of the picture, for its legend."""
    paper, ink = _PAPER[kind]
    return (
        f'<svg class="key" width="16" height="16" viewBox="0 0 16 16" aria-hidden="true"><rect x="1" y="1" width="14" '
        f'height="14" rx="2" fill="{paper}" stroke="{ink}"/><text x="8" y="12" class="mark" fill="{ink}">{MARKS[kind]}'
        "</text></svg>"
    )
