"""`forelight slots`: what is on this chip."""

from __future__ import annotations

from collections.abc import Sequence

from forelight.designs.datasheet import Datasheet
from forelight.sim.errors import ForelightError
from rich.table import Table

from ..boards.reader import load_board
from ..boards.roster import find
from ..terminal.output import complain, console, emit_json, show
from ..view.words import hertz

UNREADABLE = 2


def run(board_name: str, as_json: bool, words: Sequence[str] = ()) -> int:
    """Print the list, or those whose datasheet says all of `words`.

    A slot that cannot be read gets a complaint; the others are listed all the same.
    """
    board = load_board(board_name)
    sheets: dict[int, Datasheet] = {}
    complaints: list[ForelightError] = []
    for number in board.slots:
        try:
            sheets[number] = find(board, str(number)).datasheet
        except ForelightError as error:
            complaints.append(error)
    known = len(sheets)
    sheets = {number: sheet for number, sheet in sheets.items() if says(sheet, words)}
    if as_json:
        emit_json([answer(number, sheet) for number, sheet in sheets.items()])
    else:
        held = f"{len(board.slots)} of its {board.slot_count} slots hold a design"
        told = f" {len(sheets)} of {known} datasheets say {' and '.join(words)}." if words else ""
        show(f"{board.title} ({board.name}); {held}.{told}")
        if sheets:
            show("", table(sheets, console().width))
    for complaint in complaints:
        complain(f"forelight: {complaint}")
    return UNREADABLE if complaints else 0


def says(sheet: Datasheet, words: Sequence[str]) -> bool:
    """Whether each word, or a part of one, is in name, title, description, format, kinds or the meaning of a line."""
    texts = [sheet.name, sheet.title, sheet.description, sheet.creator, sheet.format]
    texts += [line.means for line in sheet.lines.values()] + [one.kind for one in sheet.attach]
    return all(word.casefold() in " ".join(texts).casefold() for word in words)


def answer(number: int, sheet: Datasheet) -> dict[str, object]:
    return {
        "slot": number,
        "name": sheet.name,
        "title": sheet.title,
        "creator": sheet.creator,
        "license": sheet.license,
        "format": sheet.format,
        "wanted_hz": sheet.step.wanted_hz if sheet.step else None,
        "description": sheet.description,
    }


def table(sheets: dict[int, Datasheet], width: int) -> Table:
    """One line for a slot; a narrow terminal gets fewer columns."""
    wide, medium = width >= 72, width >= 52
    # Columns are kept apart by their texts: rich lays out cells with a margin at twice the cost.
    out = Table(box=None, pad_edge=False, padding=0, header_style="bold")
    out.add_column("slot  ", no_wrap=True)
    out.add_column("name  ", no_wrap=True)
    out.add_column("title  ", overflow="fold")
    if medium:
        out.add_column("step clock  ", no_wrap=True)
    if wide:
        out.add_column("from", overflow="fold")
    for number, sheet in sheets.items():
        cells = [f"{number:>4}", sheet.name, sheet.title, *([clock(sheet)] if medium else [])]
        out.add_row(*(f"{cell}  " for cell in cells), *([sheet.creator] if wide else []))
    return out


def clock(sheet: Datasheet) -> str:
    """The step rate that the author wants, in short."""
    if sheet.step is None:
        return "none"
    return hertz(sheet.step.wanted_hz).partition(" (")[0] if sheet.step.wanted_hz else "any"
