"""Which line shows what to a probe, and how to set the instrument: sample rate, length, trigger."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from math import ceil, floor, log10

import numpy as np
from forelight.designs.datasheet import INPUT_LINES, OUTPUT_LINES, Datasheet

from ..boards.profile import Board
from ..golden.golden import Golden
from ..view.words import hertz, seconds
from .leaf import Block, Sentences, Traces

#: Samples in the shortest level that a line has (common practice, no source).
SAMPLES = 4
#: Longer recordings than this many seconds are a matter of patience.
LONG_S = 120.0


def probes(
    board: Board, sheet: Datasheet, golden: Golden, begins: Sequence[tuple[int, str]], check: str
) -> tuple[Block, ...]:
    """`golden` runs from the moment at which the slot is up; `check` is the command that judges a recording."""
    lines = _worth(board, sheet, golden)
    return (
        Sentences((*_settings(board, sheet, golden, lines), f"Then ask: {check}")),
        Traces(
            golden,
            dict(lines),
            {line: board.pins.get(line, "") for line in lines},
            tuple(mark for mark in begins if mark[0] >= 0),
        ),
    )


def _worth(board: Board, sheet: Datasheet, golden: Golden) -> Mapping[str, str]:
    """The lines that a probe may want: step and restart, inputs that move, outputs that mean something or move."""
    roles = {
        role.line: name for name, role in (("step line", sheet.step), ("restart", sheet.restart)) if role
    }
    found: dict[str, str] = {}
    for line in (*reversed(INPUT_LINES), *OUTPUT_LINES):
        said = sheet.lines.get(line)
        if line in roles or _moves(golden, line) or (said and line in OUTPUT_LINES):
            means = roles.get(line) or (said.means if said else "")
            segment = board.display.get(line)
            found[line] = means or (f"segment {segment}" if segment else "")
    return found


def _moves(golden: Golden, line: str) -> bool:
    bit = int(line[1:])
    levels = (golden.inputs if line[0] == "i" else golden.outputs) >> bit & 1
    vague = line[0] == "o" and bool(np.any(golden.settled >> bit & 1 == 0))
    return vague or bool(np.any(levels != levels[0]))


def _shortest(golden: Golden, lines: Mapping[str, str]) -> float | None:
    """The shortest level of these lines between two changes of one, in seconds; None where none changes twice."""
    found = []
    for line in lines:
        bit = int(line[1:])
        levels = (golden.inputs if line[0] == "i" else golden.outputs) >> bit & 1
        times = golden.ticks[1:][levels[1:] != levels[:-1]]
        if len(times) > 1:
            found.append(int(np.diff(times).min()))
    return min(found) / golden.oscillator_hz if found else None


def _settings(board: Board, sheet: Datasheet, golden: Golden, lines: Mapping[str, str]) -> Iterator[str]:
    length = golden.end / golden.oscillator_hz
    yield "Ground first, then one probe a line; threshold at half of the board's logic voltage."
    shortest = _shortest(golden, lines)
    if shortest is None:
        yield "Nothing changes twice on any line: a multimeter or a lamp tells as much as a recording."
        return
    rate = round_up(SAMPLES / shortest)
    count = ceil(rate * length)
    patience = ", or as much of it as you have patience for" if length > LONG_S else ""
    yield (
        f"Sample rate: {hertz(rate)} or more, as the shortest level lasts {seconds(shortest, 4)}. "
        f"Length: {seconds(length)}{patience}; that is {count} samples a line."
    )
    yield f"Trigger: {_trigger(board, sheet)}."


def round_up(value: float) -> float:
    """The next of 1, 2 or 5 times a power of ten.

    >>> round_up(3), round_up(1.9e3), round_up(10.0), round_up(0.6)
    (5.0, 2000.0, 10.0, 1.0)
    """
    power = 10.0 ** floor(log10(value))
    return next(step * power for step in (1, 2, 5, 10) if step * power >= value * (1 - 1e-9))


def _trigger(board: Board, sheet: Datasheet) -> str:
    if sheet.restart is not None:
        edge = "falling" if sheet.restart.active == "high" else "rising"
        return f"the {edge} edge of {_where(board, 'restart', sheet.restart.line)}, at which the restart is let go"
    if sheet.step is not None:
        return f"the first rising edge of {_where(board, 'step', sheet.step.line)}"
    return "the first change of any line"


def _where(board: Board, role: str, line: str) -> str:
    """The pin of the step or restart line: the board's own, where it has one."""
    own = board.step_line if role == "step" else board.restart_line
    if own == "own":
        return f"the board's {board.pins.get(role, role)}"
    return f"{board.pins[line]} ({line})" if line in board.pins else line
