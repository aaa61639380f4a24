"""Reads board profiles, TOML files that stand beside this one or anywhere else, and checks every key."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path

from forelight.designs.catalogue import entry_path, is_there, names
from forelight.designs.datasheet import INPUT_LINES, OUTPUT_LINES
from forelight.designs.toml_file import Section, did_you_mean, quoted, read_toml
from forelight.sim.errors import DatasheetError, UsageError

from .keys import KEYS
from .profile import Board
from .segments import SEGMENTS

LAWS = ("counter", "two-stage")
_SWITCH_CODES = 256
_MOST_SETTINGS = 2**32
_LONGEST_DEBOUNCE = 2**32
_HERE = Path(__file__).parent


def board_names() -> tuple[str, ...]:
    """The profiles that come with Forelight, in alphabetical order."""
    return tuple(sorted(path.stem for path in _HERE.glob("*.toml")))


def load_board(name_or_path: str | Path | Board) -> Board:
    """A profile by the name of one that comes with Forelight, or by the path of a TOML file; or one made in code.

    That is checked as a file would be: everything wrong with it is a `DatasheetError`.
    """
    if isinstance(name_or_path, Board):
        return _checked(name_or_path)
    text = str(name_or_path)
    if text in board_names():
        return read_board(_HERE / f"{text}.toml")
    if isinstance(name_or_path, Path) or text.endswith(".toml") or Path(text).parent != Path():
        return read_board(Path(text))
    known = f"the boards are {', '.join(board_names())}, or give the path of a TOML file"
    near = did_you_mean(text, board_names())
    raise UsageError(f"there is no board {quoted(text)}", remedy=f"{near} {known}" if near else known)


def read_board(path: Path) -> Board:
    """Read one profile; everything wrong with it is a `DatasheetError`."""
    return _board(read_toml(path), path.stem, path)


def _checked(board: Board) -> Board:
    """The same board with plain numbers, once it has been through the reader as text."""
    from .writer import to_toml

    place = board.folder / f"board {board.name}"
    try:
        table = tomllib.loads(to_toml(board))
    except tomllib.TOMLDecodeError as error:
        raise DatasheetError(
            f"cannot be written as TOML: {error}", place=str(place), remedy="give plain texts and numbers"
        ) from None
    return _board(Section(place, (), table, {}), board.name, board.path)


def _board(top: Section, name: str, path: Path | None) -> Board:
    top.only(*KEYS[""])
    link = top.choice("link", ("chain", "direct"))
    positions, ticks_per_bit = _chain(top, link)
    step_line, law, codes = _step(top, link)
    restart_line = _restart(top, link, step_line)
    own = [name for name, line in (("step", step_line), ("restart", restart_line)) if line == "own"]
    slot_count = top.integer("slot_count", 1, 65536)
    if link == "chain" and slot_count > positions:
        raise top.wrong("slot_count", f"1 to {positions}, the positions of the chain")
    if link == "chain" and "unselected" in top.table:
        raise top.error(
            "unselected", "is for a direct link", "leave it out: on a chain other designs stand still"
        )
    return Board(
        name=name,
        title=top.text("title", longest=80),
        oscillator_hz=top.integer("oscillator_hz", 1, 10**10),
        link=link,
        slots=_slots(top, slot_count),
        slot_count=slot_count,
        positions=positions,
        ticks_per_bit=ticks_per_bit,
        law=law,
        codes=codes,
        step_line=step_line,
        restart_line=restart_line,
        buttons=_labels(top, "buttons", INPUT_LINES),
        pins=_labels(top, "pins", (*INPUT_LINES, *OUTPUT_LINES, *own)),
        display=_display(top),
        pulls=_numbers(top, "pulls", 1),
        debounce=_debounce(top),
        unselected=top.choice("unselected", ("hold", "run"), "hold"),
        empty_outputs=top.integer("empty_outputs", 0, 255, 0),
        path=path,
    )


def _chain(top: Section, link: str) -> tuple[int, int]:
    """Positions and ticks a bit."""
    section = top.section("chain")
    if link == "direct":
        if section is not None:
            raise top.error(
                "chain", "a direct link has no chain", 'leave the table out, or write link = "chain"'
            )
        return 1, 1
    if section is None:
        raise top.absent("chain", "a table with positions and ticks_per_bit")
    section.only(*KEYS["chain"])
    return section.integer("positions", 1, 65536), section.integer("ticks_per_bit", 1, 65536)


def _step(top: Section, link: str) -> tuple[str, str, int]:
    """Line, law and number of codes."""
    section = top.section("step")
    if section is None:
        raise top.absent("step", "a table with line and law")
    section.only(*KEYS["step"])
    line = section.choice("line", INPUT_LINES if link == "chain" else (*INPUT_LINES, "own"))
    law = section.choice("law", LAWS)
    if "settings" not in section.table:
        return line, law, _SWITCH_CODES
    if link == "chain":
        raise section.error("settings", "is for a direct link", "leave it out: eight switches hold 256 codes")
    most = _SWITCH_CODES if law == "two-stage" else _MOST_SETTINGS
    return line, law, section.integer("settings", 1, most)


def _restart(top: Section, link: str, step_line: str) -> str | None:
    section = top.section("restart")
    if section is None:
        return None
    section.only(*KEYS["restart"])
    line = section.choice("line", INPUT_LINES if link == "chain" else (*INPUT_LINES, "own"))
    if line == step_line != "own":
        raise section.error("line", f"{line} is the step line too", "give each a line of its own")
    return line


def _labels(top: Section, key: str, lines: tuple[str, ...]) -> Mapping[str, str]:
    section = top.section(key)
    if section is None:
        return {}
    section.only(*lines)
    return {line: section.text(line, longest=20) for line in section.table}


def _display(top: Section) -> Mapping[str, str]:
    section = top.section("display")
    if section is None:
        return {}
    section.only(*OUTPUT_LINES)
    display: dict[str, str] = {}
    for line in section.table:
        segment = section.choice(line, SEGMENTS)
        if segment in display.values():
            raise section.error(line, f"segment {segment} has a line already", "allowed: each segment once")
        display[line] = segment
    return display


def _numbers(top: Section, key: str, most: int) -> Mapping[str, int]:
    section = top.section(key)
    if section is None:
        return {}
    section.only(*INPUT_LINES)
    return {line: section.integer(line, 0, most) for line in section.table}


def _debounce(top: Section) -> Mapping[str, int]:
    ticks = _numbers(top, "debounce", _LONGEST_DEBOUNCE)
    buttons = _labels(top, "buttons", INPUT_LINES)
    for line in ticks:
        if line not in buttons:
            raise top.error(
                ("debounce", line), f"no button sits on {line}", "add it to [buttons] or leave it out"
            )
    return ticks


def _slots(top: Section, slot_count: int) -> Mapping[int, str]:
    """Slot number -> design, in the order of the numbers."""
    section = top.section("slots")
    slots: dict[int, str] = {}
    for key in section.table if section else ():
        assert section is not None
        number = int(key) if key.isascii() and key.isdecimal() and len(key) <= 5 else -1
        if not 0 <= number < slot_count:
            raise section.error(key, "is no slot of this chip", f"the slots are 0 to {slot_count - 1}")
        if number in slots:
            raise section.error(key, f"slot {number} is there already", "allowed: each slot once")
        slots[number] = section.text(key)
        if not is_there(entry_path(slots[number], top.file.parent)):
            near = did_you_mean(slots[number], names())
            allowed = "allowed: a folder name of the catalogue, or a path relative to this file"
            raise section.error(
                key, f"there is no design {quoted(slots[number])}", f"{near} {allowed}".strip()
            )
    return dict(sorted(slots.items()))
