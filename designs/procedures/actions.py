"""What a person does at the bench, one record for each kind of action.

An action that nobody could carry out on any board (line i9, no steps at all) raises a DatasheetError where it is made.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import isfinite
from numbers import Integral

from forelight.sim.errors import DatasheetError
from forelight.sim.frozen import frozen

from ..datasheet import INPUT_LINES


def _whole(action: object, number: int, least: int) -> None:
    if not isinstance(number, Integral) or number < least:
        raise DatasheetError(
            f"{action}: {number!r} does not fit", remedy=f"give a whole number from {least} on"
        )


def _lines(action: object, lines: Iterable[str]) -> None:
    named = list(lines)
    if not named or not set(named) <= set(INPUT_LINES):
        wrong = next((line for line in named if line not in INPUT_LINES), "none")
        raise DatasheetError(f"{action}: {wrong!r} is no input line", remedy="those are i0 to i7")


def _levels(action: object, levels: Mapping[str, int]) -> None:
    _lines(action, levels)
    for line, level in levels.items():
        if level not in (0, 1):
            raise DatasheetError(f"{action}: {level!r} is no level of {line}", remedy="give 0 or 1")


#: Steps that a hand makes in a second where nothing else is said (common practice, no source): a switch up and down
#: again, with time to look.
HAND_HZ = 2.0


@frozen
class Select:
    """Turn the selector to a slot."""

    slot: int

    def __post_init__(self) -> None:
        _whole(self, self.slot, 0)


@frozen
class Strap:
    """Set all eight input switches to a strap code, enable the step clock, set the switches back."""

    code: int

    def __post_init__(self) -> None:
        _whole(self, self.code, 0)


@frozen
class Enable:
    """Switch the step clock on; the divider keeps the number that the switches hold at this instant."""


@frozen
class Disable:
    """Switch the step clock off; the step line goes back to its switch."""


@frozen
class Oscillator:
    """Switch the board's main clock on or off."""

    on: bool


@frozen
class Set:
    """Set input switches, all at one instant: line -> 0 or 1."""

    levels: Mapping[str, int]

    def __post_init__(self) -> None:
        _levels(self, self.levels)


@frozen
class Press:
    """Hold the button on this input line (the line takes the opposite of its switch).

    A `bouncing` contact opens and closes some more times before it rests.
    """

    line: str
    bouncing: bool = False

    def __post_init__(self) -> None:
        _lines(self, [self.line])


@frozen
class Release:
    """Let go of the button on this input line; `bouncing` as in `Press`."""

    line: str
    bouncing: bool = False

    def __post_init__(self) -> None:
        _lines(self, [self.line])


@frozen
class Drive:
    """Drive input lines from outside, all from one instant on: line -> 0 or 1. Their switches must be open."""

    levels: Mapping[str, int]

    def __post_init__(self) -> None:
        _levels(self, self.levels)


@frozen
class LetGo:
    """Take what drives these input lines from outside off them."""

    lines: tuple[str, ...]

    def __post_init__(self) -> None:
        _lines(self, self.lines)


@frozen
class Play:
    """Move the inputs as they moved in a recording, a file beside the one that names it."""

    file: str


@frozen
class Restart:
    """Hold the restart line active for so many steps (frames where there is no step clock), let go."""

    length: int = 2

    def __post_init__(self) -> None:
        _whole(self, self.length, 1)


@frozen
class Steps:
    """Wait for so many rises of the step line."""

    count: int

    def __post_init__(self) -> None:
        _whole(self, self.count, 1)


@frozen
class Frames:
    """Wait for so many frames."""

    count: int

    def __post_init__(self) -> None:
        _whole(self, self.count, 1)


@frozen
class Seconds:
    """Wait; rounded to whole frames."""

    seconds: float

    def __post_init__(self) -> None:
        if not isfinite(self.seconds) or self.seconds <= 0:
            raise DatasheetError(f"{self}: {self.seconds!r} does not fit", remedy="give a time above 0 s")


@frozen
class Pulse:
    """Make so many steps by hand on the step line, with the step clock off: `hz` of them in a second.

    A rate beyond what the board can carry is the fastest that it can.
    """

    count: int
    hz: float = HAND_HZ

    def __post_init__(self) -> None:
        _whole(self, self.count, 1)
        if not isfinite(self.hz) or self.hz <= 0:
            raise DatasheetError(f"{self}: {self.hz!r} does not fit", remedy="give a rate above 0 Hz")


@frozen
class Repeat:
    """Do the actions so many times."""

    count: int
    actions: tuple[Action, ...]

    def __post_init__(self) -> None:
        _whole(self, self.count, 1)
        if not self.actions:
            raise DatasheetError(f"{self}: nothing to repeat", remedy="give at least one action")


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
