"""`forelight golden --all`: the goldens that are kept beside the designs, compared with what is foretold now."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from forelight.designs.catalogue import load_design, names

from ..bench.kept import GoldenDifference, differences, foretold, keep
from ..boards.reader import board_names, load_board
from ..terminal.cores import for_each
from ..terminal.output import emit_json, show

#: The board on which a design is run where it can be.
USUAL_BOARD = "quay"
SAME, DIFFERENT = 0, 1
#: Facts that are named one by one.
MOST_FACTS = 4


def run(update: bool, as_json: bool) -> int:
    """Compare all, over all cores; with `update` keep what is foretold now, and say what that changed."""
    designs = names()
    found: list[GoldenDifference] = []
    count = 0
    for kept, unlike in for_each(partial(look, update=update), designs, "Goldens"):
        count += kept
        found += unlike
    if as_json:
        emit_json(
            {
                "goldens": count,
                "updated": update,
                "differences": [difference.to_json() for difference in found],
            }
        )
    else:
        show(*paragraphs(found, count, len(designs), update))
    return DIFFERENT if found and not update else SAME


def look(name: str, update: bool) -> tuple[int, list[GoldenDifference]]:
    """How many goldens a design is to have, and which of those that are kept differ."""
    sheet = load_design(name)
    boards = [load_board(board) for board in sorted(board_names(), key=lambda board: board != USUAL_BOARD)]
    files = foretold(sheet, boards)
    found = differences(sheet, files)
    if update and found:
        keep(sheet, files)
    return len(files) // 2, found


def paragraphs(found: list[GoldenDifference], count: int, designs: int, update: bool) -> Iterator[str]:
    for difference in found:
        yield f"{difference.design}, {difference.run}: {_said(difference)}."
    same = count - sum(difference.kind != "stale" for difference in found)
    yield f"{same} of {count} goldens of {designs} designs are as they were kept."
    if found and update:
        yield "The others are kept anew, as above."
    elif found:
        yield "Where that was meant, `forelight golden --all --update` keeps the new ones."


def _said(difference: GoldenDifference) -> str:
    if difference.kind == "stale":
        return "no run has this name any more"
    if difference.kind == "new":
        return f"new, {difference.more} rows"
    parts = []
    if difference.more or difference.fewer:
        first = f", the first new one {difference.first}" if difference.first else ""
        parts.append(f"{difference.more} rows more and {difference.fewer} fewer{first}")
    facts = difference.facts
    if facts:
        more = f" and {len(facts) - MOST_FACTS} more" if len(facts) > MOST_FACTS else ""
        parts.append(f"other facts: {', '.join(facts[:MOST_FACTS])}{more}")
    return "; ".join(parts) or "other line ends"
