"""Bench actions in plain sentences, one each, for the person at the bench."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field

from forelight.sim.frozen import frozen
from forelight.sim.plain_text import listed

from ..datasheet import INPUT_LINES, Datasheet
from .actions import (
    Action,
    Disable,
    Drive,
    Enable,
    Frames,
    LetGo,
    Oscillator,
    Play,
    Press,
    Pulse,
    Release,
    Repeat,
    Restart,
    Seconds,
    Select,
    Set,
    Steps,
    Strap,
)
from .contention import contact_word


@frozen
class Wording:
    """What a sentence may lean on: the design, button labels by line, step and frame rate in hertz.

    `strapped` says whether the input switches hold the strap code (on a chain), or else the step source has
    a setting of its own. `pins` are the labels on the board by line, `pulls` the levels of lines whose switches are
    open, and `own` the roles (`step`, `restart`) for which the board has a line beside the eight inputs.
    """

    datasheet: Datasheet | None = None
    buttons: Mapping[str, str] = field(default_factory=dict)
    step_hz: float | None = None
    strapped: bool = True
    pins: Mapping[str, str] = field(default_factory=dict)
    pulls: Mapping[str, int] = field(default_factory=dict)
    own: frozenset[str] = frozenset()
    frame_hz: float | None = None


def instruction(action: Action, wording: Wording | None = None) -> str:
    """The action as one sentence, with a full stop."""
    sentence = _sentence(action, wording or Wording())
    return f"{sentence[0].upper()}{sentence[1:]}."


def _sentence(action: Action, wording: Wording) -> str:
    match action:
        case Strap() | Enable() | Disable() | Oscillator():
            sentence = _clock(action, wording)
        case Set(levels):
            sentence = _set(levels, wording)
        case Press(line, bouncing) | Release(line, bouncing):
            verb = "hold down" if isinstance(action, Press) else "let go of"
            touches = ", whose contact touches several times" if bouncing else ""
            sentence = f"{verb} {_button(line, wording)}{touches}"
        case Drive() | LetGo() | Play():
            sentence = _outside(action, wording)
        case Restart(length):
            sentence = _restart(length, wording)
        case Steps(count):
            rate = f" at {wording.step_hz:g} Hz" if wording.step_hz else ""
            sentence = f"wait for {_counted(count, 'step')}{_lasting(count, wording.step_hz)}{rate}"
        case Frames(count):
            sentence = f"wait for {_counted(count, 'frame')}{_lasting(count, wording.frame_hz)}"
        case Seconds(seconds):
            sentence = f"wait {seconds:.15g} s"
        case Pulse(count, hz):
            line, pace = _role("step", wording), f"{hz:.15g} in a second"
            sentence = f"with the step clock off, take {line} to 1 and back to 0, {_times(count)}, {pace}"
        case Select(slot):
            sentence = f"turn the selector to slot {slot}"
        case Repeat(count, actions):
            sentence = f"{_times(count)}: {'; '.join(_sentence(inner, wording) for inner in actions)}"
    return sentence


def _lasting(count: int, hz: float | None) -> str:
    """How long so many steps or frames take, where their rate is known."""
    if not hz:
        return ""
    lasts = count / hz
    return f", {lasts:.3g} s" if lasts < 1000 else f", {lasts:.0f} s"


def _set(levels: Mapping[str, int], wording: Wording) -> str:
    """The switches at one instant; where all eight move, those of the rarer level are named and the rest are not."""
    if len(levels) < len(INPUT_LINES):
        parts = [
            f"{_named(line, wording)} to {level}{_contact([line], level, wording)}"
            for line, level in sorted(levels.items())
        ]
        return f"set {listed(parts)}" + (" in one go" if len(parts) > 1 else "")
    at = {level: [line for line in INPUT_LINES if levels[line] == level] for level in (0, 1)}
    few = min((1, 0), key=lambda level: len(at[level]))
    rest = f"to {1 - few}{_contact(at[1 - few], 1 - few, wording)}"
    if not at[few]:
        return f"set all eight switches {rest}"
    named = listed([_named(line, wording) for line in at[few]])
    return f"set {named} to {few}{_contact(at[few], few, wording)} and all others {rest}, in one go"


def _contact(lines: list[str], level: int, wording: Wording) -> str:
    """Closed or open, where that is the same for all these switches; an open one leaves its line to the pull."""
    words = {contact_word(wording.pulls.get(line), level) for line in lines}
    word = words.pop() if len(words) == 1 else ""
    return f" ({word})" if word else ""


def _clock(action: Strap | Enable | Disable | Oscillator, wording: Wording) -> str:
    match action:
        case Oscillator(on):
            return f"switch the oscillator {'on' if on else 'off'}"
        case Disable():
            return "switch the step clock off"
        case Enable():
            keeps = (
                "; the divider keeps the code that the input switches hold now" if wording.strapped else ""
            )
            return f"switch the step clock on{keeps}"
        case Strap(code):
            if not wording.strapped:
                return f"set the step source to {code} and switch the step clock on"
            switches = " ".join(f"{code:08b}")
            stand = [_contact(list(INPUT_LINES), level, wording).strip(" ()") for level in (1, 0)]
            means = f", 1 is {stand[0]} and 0 {stand[1]}" if all(stand) else ""
            first, last = wording.pins.get("i7"), wording.pins.get("i0")
            row = f"{first} to {last} (i7 to i0)" if first and last else "i7 to i0"
            return (
                f"with the step clock off, set the input switches {row} to {switches} (code {code}{means}), "
                "switch the step clock on, then set the switches back as they were"
            )


def _outside(action: Drive | LetGo | Play, wording: Wording) -> str:
    match action:
        case Drive(levels):
            parts = [f"{_line(line, wording)} to {level}" for line, level in sorted(levels.items())]
            switches = "their switches" if len(parts) > 1 else "its switch"
            return (
                f"with {switches} open, drive {listed(parts)} from outside, through a resistor (around 1 kOhm) and "
                "at the board's own logic voltage"
            )
        case LetGo(lines):
            return f"take the outside source off {listed([_line(line, wording) for line in lines])}"
        case Play(file):
            return f"move the switches as they moved in {file}"


def _line(line: str, wording: Wording) -> str:
    """A line, with what the datasheet says it means."""
    said = wording.datasheet.lines.get(line) if wording.datasheet else None
    return f"line {line} ({said.means})" if said else f"line {line}"


def _restart(length: int, wording: Wording) -> str:
    sheet = wording.datasheet
    restart = sheet.restart if sheet else None
    level = restart.active if restart else "active"
    unit = "frame" if sheet and sheet.step is None else "step"
    return f"hold {_role('restart', wording)} {level} for {_counted(length, unit)}, then let go"


def _role(role: str, wording: Wording) -> str:
    """The step or the restart line, by the name under which the hand finds it."""
    sheet = wording.datasheet
    said = (sheet.step if role == "step" else sheet.restart) if sheet else None
    label = wording.pins.get(role, "")
    if role in wording.own or (said and said.line == "own"):
        return f"the board's {role} line {label}".rstrip()
    if said is None:
        return f"the {role} line"
    notes = [said.line] if said.line in wording.pins else []
    notes += [f"button {wording.buttons[said.line]}"] if said.line in wording.buttons else []
    return f"the {role} line {wording.pins.get(said.line, said.line)}" + (
        f" ({', '.join(notes)})" if notes else ""
    )


def _named(line: str, wording: Wording) -> str:
    """The switch of a line, by its label where the board has one, with what the datasheet says it means."""
    said = wording.datasheet.lines.get(line) if wording.datasheet else None
    notes = [line] if line in wording.pins else []
    notes += [said.means] if said else []
    return f"switch {wording.pins.get(line, line)}" + (f" ({', '.join(notes)})" if notes else "")


def _button(line: str, wording: Wording) -> str:
    return f"button {wording.buttons[line]} ({line})" if line in wording.buttons else f"the button on {line}"


def _counted(count: int, unit: str) -> str:
    return f"{count} {unit}{'' if count == 1 else 's'}"


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"
