"""What the usual slips would look like here: foretold, as `check` foretells them of a recording that differs."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

import numpy as np
from forelight.designs.datasheet import OUTPUT_LINES
from forelight.sim.plain_text import listed

from ..bench.course import Seat
from ..capture.eye import as_character
from ..capture.record import Capture
from ..verdict.causes import clock, hand
from ..verdict.causes.foretell import Foreteller, name_of
from ..verdict.causes.mishap import SHARES, Handling, Mishap
from ..verdict.rows import ReadRows, foretold_list

#: The slips that a card tells of, and how many it has room for.
USUAL = frozenset(
    {"switch without contact", "straps not put back", "restart never given", "restart held", "step clock off",
     "selector, one switch"}
)  # fmt: skip
MOST = 5
#: Slips in one sentence.
NAMED = 4
#: Steps that are looked at.
STEPS = 64
POWER_UPS = 4
_SLOT = re.compile(r"slot (\d+) selected")


def slips(it: Handling, step_line: str, seat: Seat) -> Iterator[str]:
    """A sentence for each slip that shows, those that look alike in one; the design that is meant is in its `seat`."""
    teller = Foreteller(step_line, POWER_UPS, {name_of(it.sheet): seat}, inputs=())
    meant = teller.prospect(it, STEPS)
    if meant is None:
        return
    expected = foretold_list(meant.foretold, OUTPUT_LINES)
    alike: dict[str, list[str]] = {}
    for cause in _usual(it):
        told = teller.prospect(cause.change(it), STEPS)
        if told is None:
            continue
        found = foretold_list(told.foretold, OUTPUT_LINES)
        look = _look(found, expected, it.board.display)
        if look:
            alike.setdefault(look, []).append(cause.name)
    for look, names in list(alike.items())[:MOST]:
        yield f"{look}: {_listed(names)}."


def _listed(names: list[str]) -> str:
    """The names in one list, those of wrong slots by their numbers alone."""
    slots = [found[1] for name in names if (found := _SLOT.fullmatch(name))]
    others = [name for name in names if not _SLOT.fullmatch(name)]
    if slots:
        more = [f"{len(slots) - NAMED} more"] if len(slots) > NAMED else []
        numbers = [*slots[:NAMED], *more]
        others.insert(0, f"slot {listed(numbers, 'or')} selected")
    more = [f"{len(others) - NAMED} like that"] if len(others) > NAMED else []
    return " and ".join([", ".join(others[:NAMED]), *more])


def _usual(it: Handling) -> list[Mishap]:
    """The commonest first."""
    nothing = Capture({}, 0.0, 1.0)
    found = [c for family in (hand.causes, clock.causes) for c in family(it, nothing) if c.kind in USUAL]
    return sorted(found, key=lambda cause: -SHARES[cause.kind])


def _look(found: ReadRows, expected: ReadRows, display: Mapping[str, str]) -> str:
    """How the outputs tell this from what was meant; nothing where they do not."""
    if len(found.levels) == 1 < len(expected.levels):  # nothing steps it
        return f"It stands still and shows {_shown(found, 0, display)}"
    count = min(len(found.levels), len(expected.levels))
    known = found.known[:count] & expected.known[:count]
    differ = np.flatnonzero((found.levels[:count] ^ expected.levels[:count]) & known)
    if not len(differ):
        return ""
    at = int(differ[0])
    here, due = (_shown(rows, at, display) for rows in (found, expected))
    before = (found.levels[:at] == found.levels[at]) | (found.known[:at] == 0)
    if before.all() and (found.levels[at:count] == found.levels[at]).all():
        return f"It stands still and shows {here}"
    return f"At step {expected.first + at} it shows {here} where {due} is due"


def _shown(rows: ReadRows, at: int, display: Mapping[str, str]) -> str:
    """A character of the display, or the eight levels, bit 7 first."""
    levels, known = int(rows.levels[at]), int(rows.known[at])
    sign = as_character(levels, known, display) if display and known == 0xFF else "?"
    if sign.strip() and "?" not in sign:
        return f"'{sign}'"
    return "".join(str(levels >> bit & 1) if known >> bit & 1 else "?" for bit in range(7, -1, -1))
