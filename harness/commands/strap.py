"""`forelight strap`: which switches give a rate, and which rate switches give."""

from __future__ import annotations

from fractions import Fraction

from ..boards.divider import Setting, codes_for, setting, span
from ..boards.profile import Board
from ..boards.reader import load_board
from ..hand.switches import contact_of
from ..terminal.output import emit_json, show
from ..view.words import apart, hertz


def run(board_name: str, hz: float | None, code: int | None, as_json: bool) -> int:
    board = load_board(board_name)
    found = codes_for(board, hz) if hz is not None else (setting(board, code or 0),)
    if as_json:
        emit_json(answer(board, hz, found))
    else:
        show(*paragraphs(board, hz, found))
    return 0


def answer(board: Board, hz: float | None, found: tuple[Setting, ...]) -> dict[str, object]:
    return {
        "board": board.name,
        "wanted_hz": hz,
        "codes": [
            {
                "strap_code": item.code,
                "hz": float(item.hz),
                "error_percent": item.error_percent,
                "switches": dict(zip(LINES, item.switches, strict=True)) if item.switches else None,
            }
            for item in found
        ],
    }


LINES = tuple(f"i{bit}" for bit in reversed(range(8)))


def paragraphs(board: Board, hz: float | None, found: tuple[Setting, ...]) -> list[str]:
    """The answer in words and a picture of the switches."""
    slowest, fastest = span(board)
    lines = []
    for item in found:
        off = f", {apart(item.error_percent)} {hertz(Fraction(hz))}" if hz and item.error_percent else ""
        lines.append(f"Code {item.code} on {board.name}: {hertz(item.hz)}{off}.")
        if item.switches:
            lines += switch_rows(board, item.switches)
    if hz and not slowest <= Fraction(hz) <= fastest:
        lines.append(f"The divider of {board.name} reaches from {hertz(slowest)} to {hertz(fastest)}.")
    if board.strapped:
        lines.append(
            "Set the switches with the step clock off, then switch it on: the divider keeps the code that "
            "they hold at that instant, and they are free again."
        )
    else:
        lines.append("The code is a setting of the step source; the input switches have no part in it.")
    return lines


def switch_rows(board: Board, switches: tuple[int, ...]) -> list[str]:
    """The level of each line that holds the code, how its switch stands for that, and the labels that the board has.

    How a switch stands is left out for a line of which the board does not say where its pull takes it.
    """
    labels = [board.pins.get(line, "") for line in LINES]
    rows = [list(LINES), *([labels] if any(labels) else []), [str(level) for level in switches]]
    pairs = zip(LINES, switches, strict=True)
    stand = [contact_of(board, line, level) for line, level in pairs]
    rows += [stand] if any(stand) else []
    wide = max(len(word) for row in rows for word in row)
    return ["  " + " ".join(f"{word:<{wide}}" for word in row).rstrip() for row in rows]
