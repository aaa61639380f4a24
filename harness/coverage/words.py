"""What a run reveals, in sentences, with a small curve of how it grows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .record import Coverage, StuckLine

#: Places in the source that are named, and faults of each.
MOST_PLACES, MOST_EACH = 10, 3
#: Bars of the curve, and characters of one.
MOST_BARS, WIDTH = 8, 40


#: What is tried.
FAULTS = "the faults in which one line of the design is always 0 or always 1"


def share(found: Coverage) -> str:
    """How many are revealed, of how many.

    >>> from forelight.harness.coverage.record import Coverage
    >>> share(Coverage(300, 300, 230, (), ()))
    '230 of 300 (76.7 %)'
    """
    return f"{found.revealed} of {found.possible} ({100 * found.share:.1f} %)"


def drawn(found: Coverage) -> str:
    """From what the faults were drawn, where not all were tried; else nothing.

    >>> from forelight.harness.coverage.record import Coverage
    >>> drawn(Coverage(10000, 1000, 800))
    'These were drawn by chance from 10000: of all it is 77.6 to 82.4 %, with 95 % confidence.'
    """
    if found.tried == found.faults:
        return ""
    low, high = (100 * min(max(found.share + sign * found.margin, 0), 1) for sign in (-1, 1))
    all_of_them = f"of all it is {low:.1f} to {high:.1f} %, with 95 % confidence"
    return f"These were drawn by chance from {found.faults}: {all_of_them}."


def told(found: Coverage, run: str = "This run") -> Iterator[str]:
    """A line each."""
    yield (f"{run} would reveal {share(found)} of {FAULTS}: a settled output is another than foretold.")
    if more := drawn(found):
        yield more
    if found.hopeless:
        lines = f"{len(found.hopeless)} more" if len(found.hopeless) > 1 else "1 more"
        yield f"{lines} could be revealed by no run: nothing leads from there to an output, or the logic is redundant."
    if found.growth:
        yield "It grows with the length of the run:"
        yield from curve(found)
    if found.missed:
        yield "It would miss:"
        yield from missed(found.missed)


def brief(found: Coverage, run: str) -> Iterator[str]:
    """A sentence or two: how many, and where most of the others lie."""
    yield f"{run} would reveal {share(found)} of {FAULTS}."
    if more := drawn(found):
        yield more
    groups = _by_place(found.missed)[:MOST_EACH]
    if groups:
        named = [f"{', '.join(places) or 'the pins'} ({len(group)})" for places, group in groups]
        yield f"Most of those that are missed lie at {', '.join(named)}."


def curve(found: Coverage) -> Iterator[str]:
    """How the share grows: a bar for some of the steps that reveal more, or of the moments where there are no steps."""
    stepped, last = found.growth[-1].step > 0, len(found.growth) - 1
    rows = sorted({round(last * n / (MOST_BARS - 1)) for n in range(MOST_BARS)})
    for entry in (found.growth[row] for row in rows):
        part = entry.revealed / found.possible
        when = f"step {entry.step}" if stepped else f"{entry.seconds:.3f} s"
        yield f"  by {when:<10} {'#' * round(WIDTH * part):<{WIDTH}} {100 * part:5.1f} %"


def missed(lines: Sequence[StuckLine]) -> Iterator[str]:
    """The lines by places in the source, most of them first."""
    groups = _by_place(lines)
    for places, group in groups[:MOST_PLACES]:
        words = list(dict.fromkeys(_both(group)))
        more = f"; and {len(words) - MOST_EACH} more" if len(words) > MOST_EACH else ""
        where = f"{', '.join(places)}: " if places else ""
        yield f"  {where}{'; '.join(words[:MOST_EACH])}{more}"
    left = groups[MOST_PLACES:]
    if left:
        yield f"  and {sum(len(group) for _, group in left)} at {len(left)} other places (--json names all)"


def _by_place(lines: Sequence[StuckLine]) -> list[tuple[tuple[str, ...], list[StuckLine]]]:
    """The lines at each place in the source, most of them first."""
    in_order = sorted(lines, key=lambda line: line.places)
    groups = [(places, list(group)) for places, group in groupby(in_order, key=lambda line: line.places)]
    return sorted(groups, key=lambda pair: (-len(pair[1]), pair[0]))


def _both(lines: Sequence[StuckLine]) -> Iterator[str]:
    """In words, those with a name first; a line that may be stuck at either level once."""
    lines = sorted(lines, key=lambda one: (one.line.startswith(("a ", "an ")), one.line, one.stuck))
    for name, group in groupby(lines, key=lambda one: one.line):
        levels = sorted({one.stuck for one in group})
        yield f"{name} stuck at {' or '.join(map(str, levels))}"
