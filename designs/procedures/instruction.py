"""Bench actions in plain sentences, one each, for the person at the bench."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from ..datasheet import Datasheet
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


@dataclass(frozen=True)
class Wording:
    """What a sentence may lean on: the design, button labels by line, the step rate in hertz.

    `strapped` says whether the input switches hold the strap code (on a chain), or else the step source has
    a setting of its own.
    """

    datasheet: Datasheet | None = None
    buttons: Mapping[str, str] = field(default_factory=dict)
    step_hz: float | None = None
    strapped: bool = True


def instruction(action: Action, wording: Wording | None = None) -> str:
    """The action as one sentence, with a full stop."""
    sentence = _sentence(action, wording or Wording())
    return f"{sentence[0].upper()}{sentence[1:]}."


def _sentence(action: Action, wording: Wording) -> str:
    match action:
        case Strap() | Enable() | Disable() | Oscillator():
            sentence = _clock(action, wording)
        case Set(levels):
            parts = [f"{_named(line, wording)} to {level}" for line, level in sorted(levels.items())]
            sentence = f"set {_listed(parts)}" + (" in one go" if len(parts) > 1 else "")
        case Press(line):
            sentence = f"hold down {_button(line, wording)}"
        case Release(line):
            sentence = f"let go of {_button(line, wording)}"
        case Drive() | LetGo() | Play():
            sentence = _outside(action, wording)
        case Restart(length):
            sentence = _restart(length, wording)
        case Steps(count):
            lasts = count / wording.step_hz if wording.step_hz else 0.0
            known = f", {lasts:.3g} s" if lasts < 1000 else f", {lasts:.0f} s"
            at_rate = f"{known} at {wording.step_hz:g} Hz" if wording.step_hz else ""
            sentence = f"wait for {_counted(count, 'step')}{at_rate}"
        case Frames(count):
            sentence = f"wait for {_counted(count, 'frame')}"
        case Seconds(seconds):
            sentence = f"wait {seconds:.15g} s"
        case Pulse(count):
            sentence = (
                f"with the step clock off, take {_step_line(wording)} to 1 and back to 0, {_times(count)}"
            )
        case Select(slot):
            sentence = f"turn the selector to slot {slot}"
        case Repeat(count, actions):
            sentence = f"{_times(count)}: {'; '.join(_sentence(inner, wording) for inner in actions)}"
    return sentence


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
            return (
                f"with the step clock off, set the input switches i7 to i0 to {switches} (code {code}), "
                "switch the step clock on, then set the switches back as they were"
            )


def _outside(action: Drive | LetGo | Play, wording: Wording) -> str:
    match action:
        case Drive(levels):
            parts = [f"{_line(line, wording)} to {level}" for line, level in sorted(levels.items())]
            switches = "their switches" if len(parts) > 1 else "its switch"
            return (
                f"with {switches} open, drive {_listed(parts)} from outside, through a resistor (around 1 kOhm) and "
                "at the board's own logic voltage"
            )
        case LetGo(lines):
            return f"take the outside source off {_listed([_line(line, wording) for line in lines])}"
        case Play(file):
            return f"move the switches as they moved in {file}"


def _line(line: str, wording: Wording) -> str:
    """A line, with what the datasheet says it means."""
    said = wording.datasheet.lines.get(line) if wording.datasheet else None
    return f"line {line} ({said.means})" if said else f"line {line}"


def _restart(length: int, wording: Wording) -> str:
    sheet = wording.datasheet
    restart = sheet.restart if sheet else None
    line, level = "the restart line", "active"
    if restart:
        line = "the board's restart line" if restart.line == "own" else f"the restart line {restart.line}"
        level = restart.active
        if restart.line in wording.buttons:
            line += f" (button {wording.buttons[restart.line]})"
    unit = "frame" if sheet and sheet.step is None else "step"
    return f"hold {line} {level} for {_counted(length, unit)}, then let go"


def _named(line: str, wording: Wording) -> str:
    """The switch of a line, with what the datasheet says it means."""
    said = wording.datasheet.lines.get(line) if wording.datasheet else None
    return f"switch {line} ({said.means})" if said else f"switch {line}"


def _button(line: str, wording: Wording) -> str:
    return f"button {wording.buttons[line]} ({line})" if line in wording.buttons else f"the button on {line}"


def _step_line(wording: Wording) -> str:
    step = wording.datasheet.step if wording.datasheet else None
    return f"the step line {step.line}" if step and step.line != "own" else "the step line"


def _counted(count: int, unit: str) -> str:
    return f"{count} {unit}{'' if count == 1 else 's'}"


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _listed(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
