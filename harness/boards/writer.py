"""A board profile as TOML text, which its reader reads back to the same profile."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from forelight.sim.files import write_whole

from .profile import Board

_TABLES = ("buttons", "debounce", "pins", "display", "pulls", "slots")


def write_board(board: Board, path: Path) -> None:
    """Write the profile, whole or not at all; paths of its roster stay as they are."""
    write_whole(path, to_toml(board))


def to_toml(board: Board) -> str:
    """The profile with the keys that the reader explains; numbers of NumPy come out as plain ones."""
    lines = [
        f"title = {_value(board.title)}",
        f"link = {_value(board.link)}",
        f"oscillator_hz = {_value(board.oscillator_hz)}",
        f"slot_count = {_value(board.slot_count)}",
    ]
    if board.empty_outputs:
        lines.append(f"empty_outputs = {_value(board.empty_outputs)}")
    if board.unselected != "hold":
        lines.append(f"unselected = {_value(board.unselected)}")
    if board.link != "direct":
        lines += _table("chain", {"positions": board.positions, "ticks_per_bit": board.ticks_per_bit})
    step: dict[str, object] = {"line": board.step_line, "law": board.law}
    if board.codes != Board.codes:
        step["settings"] = board.codes
    lines += _table("step", step)
    if board.restart_line is not None:
        lines += _table("restart", {"line": board.restart_line})
    for name in _TABLES:
        if entries := getattr(board, name):
            lines += _table(name, entries)
    return "\n".join(lines) + "\n"


def _table(name: str, entries: Mapping[Any, object]) -> list[str]:
    return ["", f"[{name}]", *(f"{_key(key)} = {_value(value)}" for key, value in entries.items())]


def _key(key: object) -> str:
    text = str(key)
    plain = text.isascii() and text.replace("_", "").replace("-", "").isalnum()
    return text if plain else json.dumps(text, ensure_ascii=False)


def _value(value: object) -> str:
    """Texts as TOML's basic strings, which JSON's are too; whatever counts as a whole number as one."""
    if isinstance(value, str) or not hasattr(value, "__index__"):
        return json.dumps(value, ensure_ascii=False, default=str)
    return str(value.__index__())
