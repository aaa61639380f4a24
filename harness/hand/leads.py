"""The leads between the switches of the bench and the pins of the board: as they should be, or not."""

from __future__ import annotations

from collections.abc import Sequence

from forelight.sim.frozen import frozen


@frozen
class Lead:
    """Where a line takes its level from: another `line`, upside down where `inverted`; or a fixed `level`."""

    line: int
    inverted: bool = False
    level: int | None = None


#: The eight inputs, then the board's own step and restart line, each wired to its own switch.
STRAIGHT: tuple[Lead, ...] = tuple(Lead(line) for line in range(10))


def led(levels: int, leads: Sequence[Lead]) -> int:
    """The levels at the pins, given those that the switches come to; bit n is line n of both."""
    found = 0
    for pin, lead in enumerate(leads):
        level = levels >> lead.line & 1 ^ lead.inverted if lead.level is None else lead.level
        found |= level << pin
    return found


def other_leads(leads: Sequence[Lead], changes: dict[int, Lead]) -> tuple[Lead, ...]:
    """The same leads with those of some pins replaced."""
    return tuple(changes.get(pin, lead) for pin, lead in enumerate(leads))
