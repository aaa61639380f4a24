"""Recordings of a bench on which something is wrong, made by the prediction itself, without noise."""

from __future__ import annotations

import numpy as np
from forelight.designs.catalogue import load_design
from forelight.designs.procedures.procedure import Action, Restart, Select, Set, Steps, Strap
from forelight.harness.bench.predict import predict
from forelight.harness.boards.reader import load_board
from forelight.harness.capture.record import Capture, RecordedLine, changes_only
from forelight.harness.hand.hand import Hand
from forelight.harness.hand.leads import STRAIGHT
from forelight.harness.verdict.causes.foretell import Foreteller
from forelight.harness.verdict.causes.inquiry import Inquiry
from forelight.harness.verdict.causes.mishap import Handling
from forelight.harness.verdict.causes.readings import Readings

OUTPUTS = tuple(f"o{n}" for n in range(8))


def slot_of(name: str) -> int:
    """The slot of the demo board in which a design sits."""
    return next(slot for slot, found in load_board("quay").slots.items() if found == name)


def handling(name: str, then: tuple[Action, ...] = (Steps(60),), **levels: int) -> Handling:
    """A design of the demo board brought up with its inputs at rest but for these, and restarted."""
    board = load_board("quay")
    slot = slot_of(name)
    sheet = load_design(name)
    idle = {f"i{n}": sheet.idle >> n & 1 for n in range(8)} | levels
    return Handling(board, sheet, slot, slot, (Select(slot), Set(idle), Strap(29), Restart()), then)


def recorded(it: Handling, names: tuple[str, ...] = OUTPUTS, steps: int = 50) -> Capture:
    """What an instrument with perfect eyes records of so many steps, from the moment on at which the slot is up.

    Only what the hand does otherwise can be asked for: the prediction knows no leads and no contacts but good ones
    (`injected.py` puts both into the chip's model).
    """
    assert (it.contacts, it.leads, it.fault) == (0xFF, STRAIGHT, None)
    golden = predict(it.board, it.sheet, it.procedure, slot=it.home, power_ups=8)
    hand = Hand(it.board, it.sheet, it.slot)
    hand.do(it.before)
    start = hand.now
    end = start + round(steps / float(it.board.step_hz(29)) * it.board.oscillator_hz)
    rows = np.flatnonzero((golden.ticks > start) & (golden.ticks < end))
    first = int(np.searchsorted(golden.ticks, start, side="right")) - 1
    part = np.r_[first, rows]
    times = np.r_[start, golden.ticks[rows]] / it.board.oscillator_hz
    lines: dict[str, RecordedLine] = {}
    for name in names:
        column = golden.outputs if name[0] == "o" else golden.inputs
        lines[name] = changes_only(times, (column[part] >> int(name[1]) & 1).astype(np.uint8))
    return Capture(lines, float(times[0]), end / it.board.oscillator_hz)


def by_eye(it: Handling, entries: int = 30) -> Capture:
    """What an eye writes down at the end of each step."""
    steps = recorded(it, steps=entries + 2)
    hz = float(it.board.step_hz(29))
    ends = steps.start + (np.arange(entries, dtype=np.float64) + 0.98) / hz
    at = np.arange(entries, dtype=np.float64)
    lines = {name: changes_only(at, line.at(ends)) for name, line in steps.lines.items()}
    return Capture(lines, 0.0, float(entries), unit="steps")


def inquiry(it: Handling, shown: Capture) -> Inquiry:
    """What is asked of a recording, before anything is."""
    teller = Foreteller("i7")
    told = teller.prospect(it)
    assert told is not None
    return Inquiry(it, Readings(shown, it.board, told, "i7"), teller, None, lambda done, total: None)
