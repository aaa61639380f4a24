"""What a person does at the bench, one record for each kind of action."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Select:
    """Turn the selector to a slot."""

    slot: int


@dataclass(frozen=True)
class Strap:
    """Set all eight input switches to a strap code, enable the step clock, set the switches back."""

    code: int


@dataclass(frozen=True)
class Enable:
    """Switch the step clock on; the divider keeps the number that the switches hold at this instant."""


@dataclass(frozen=True)
class Disable:
    """Switch the step clock off; the step line goes back to its switch."""


@dataclass(frozen=True)
class Oscillator:
    """Switch the board's main clock on or off."""

    on: bool


@dataclass(frozen=True)
class Set:
    """Set input switches, all at one instant: line -> 0 or 1."""

    levels: Mapping[str, int]


@dataclass(frozen=True)
class Press:
    """Hold the button on this input line (the line takes the opposite of its switch).

    A `bouncing` contact opens and closes some more times before it rests.
    """

    line: str
    bouncing: bool = False


@dataclass(frozen=True)
class Release:
    """Let go of the button on this input line; `bouncing` as in `Press`."""

    line: str
    bouncing: bool = False


@dataclass(frozen=True)
class Drive:
    """Drive input lines from outside, all from one instant on: line -> 0 or 1. Their switches must be open."""

    levels: Mapping[str, int]


@dataclass(frozen=True)
class LetGo:
    """Take what drives these input lines from outside off them."""

    lines: tuple[str, ...]


@dataclass(frozen=True)
class Play:
    """Move the inputs as they moved in a recording, a file beside the one that names it."""

    file: str


@dataclass(frozen=True)
class Restart:
    """Hold the restart line active for so many steps (frames where there is no step clock), let go."""

    length: int = 2


@dataclass(frozen=True)
class Steps:
    """Wait for so many rises of the step line."""

    count: int


@dataclass(frozen=True)
class Frames:
    """Wait for so many frames."""

    count: int


@dataclass(frozen=True)
class Seconds:
    """Wait; rounded to whole frames."""

    seconds: float


@dataclass(frozen=True)
class Pulse:
    """Make so many steps by hand on the step line, with the step clock off."""

    count: int


@dataclass(frozen=True)
class Repeat:
    """Do the actions so many times."""

    count: int
    actions: tuple[Action, ...]


Action = (
    Select
    | Strap
    | Enable
    | Disable
    | Oscillator
    | Set
    | Press
    | Release
    | Drive
    | LetGo
    | Play
    | Restart
    | Steps
    | Frames
    | Seconds
    | Pulse
    | Repeat
)
