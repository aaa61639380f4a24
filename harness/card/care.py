"""What to mind with one slot: who drives which line, levels, loudspeakers, flashing, and what no output may drive."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from forelight.designs.datasheet import Attachment, Datasheet
from forelight.designs.procedures.procedure import Action, Drive
from forelight.designs.sheets.attachments import driven_lines, heard_lines

from ..boards.profile import Board
from ..chip.routing import divided_line, routing, step_input
from ..golden.golden import Golden
from ..hand.routine import one_by_one
from ..view.flashing import flashing
from ..view.warned import warned

ALWAYS = (
    "The board's own documents and the rules of the place come first. Touch something earthed before the chip.",
    "An output drives no motor, relay or mains but through a board made for it, and nothing here is for navigation or "
    "any real signal.",
)
#: What each kind of attachment asks for at the bench.
WIRED = {
    "speaker": "No pin drives a loudspeaker or a line input directly: put an amplifier between, and start softly.",
    "serial terminal": "Join the terminal by an adapter for the board's logic voltage: RS-232 levels destroy a pin.",
    "character display": "Mind the supply of the character display, {volts:g} V: its data lines must not drive the "
    "board's pins above the board's own logic voltage.",
    "serial memory": "The serial memory runs from the board's own logic voltage.",
}


def care(board: Board, sheet: Datasheet, actions: Sequence[Action], golden: Golden) -> tuple[str, ...]:
    """A sentence for each caution; `golden` runs from the moment at which the slot is up."""
    odd = [f"Warning from the source: {golden.facts['warnings']}."] if "warnings" in golden.facts else []
    said = (*_drivers(board, sheet, actions), *_wired(sheet), *_light(golden), *odd)
    return (ALWAYS[0], *warned(golden), *said, ALWAYS[1])


def _drivers(board: Board, sheet: Datasheet, actions: Sequence[Action]) -> Iterator[str]:
    """Who drives which input beside its switch."""
    found = []
    step = step_input(sheet)
    divided = divided_line(board)
    if step is not None and divided < 8 and routing(board, sheet)[step] == divided:
        found.append(f"the step clock drives {_pin(board, f'i{divided}')} while it is on")
    found += [
        f"the serial memory drives {_pin(board, line)}, so its switch stays open"
        for line in driven_lines(sheet)
    ]
    found += [
        f"where a sender is wired to {_pin(board, line)}, it drives that, and the switch stays open"
        for line in heard_lines(sheet)
    ]
    outside = sorted({line for one in one_by_one(actions) if isinstance(one, Drive) for line in one.levels})
    if outside:
        lines = " and ".join(_pin(board, line) for line in outside)
        found.append(f"you drive {lines} from outside, by 1 kOhm or so and with the switch open")
    found.append("the chip drives all eight outputs")
    said = "; ".join(found)
    yield f"{said[0].upper()}{said[1:]}. Two sources on one line can destroy either."


def _pin(board: Board, line: str) -> str:
    label = board.pins.get(line)
    return f"{label} ({line})" if label else line


def _wired(sheet: Datasheet) -> Iterator[str]:
    said = [WIRED[one.kind].format(volts=_volts(one)) for one in sheet.attach if one.kind in WIRED]
    yield from dict.fromkeys(said)


def _volts(attachment: Attachment) -> float:
    return float(attachment.options.get("volts", 5.0))


def _light(golden: Golden) -> Iterator[str]:
    flash = flashing(golden)
    if flash.too_much:
        yield f"Mind who is watching: {flash}."
