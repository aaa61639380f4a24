"""Cells that choose one of several words, and constants that are undefined."""

from __future__ import annotations

from ..netlist import Cell, Const, Word

CHOOSING = ("$mux", "$pmux", "case")


def arms_of(cell: Cell) -> list[Word]:
    """What a cell chooses from; of a `$pmux` the default first, of a `case` last."""
    if cell.kind != "$pmux":
        return list(cell.operands[1:] if cell.kind == "case" else cell.operands[:2])
    default, several, _ = cell.operands
    return [default, *(several.cut(low, default.width) for low in range(0, several.width, default.width))]


def selector_of(cell: Cell) -> Word:
    return cell.operands[0 if cell.kind == "case" else 2]


def is_undefined(word: Word) -> bool:
    return any(isinstance(part, Const) and part.undefined for part in word.parts)
