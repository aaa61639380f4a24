"""Causes that explain a recording, in groups that it cannot tell apart."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..fit import Fit
from ..placement import Recording
from ..reading import Readout
from ..reference import Foretold
from ..rows import ReadRows
from .mishap import Handling, Mishap
from .table import Differing


@dataclass(frozen=True)
class Explained:
    """A cause, the handling that it makes, and how it explains the recording: `bits` are saved, its prior counted.

    `rows` are those of its prediction `foretold`, fitted to a `recording` of the `reading`. `prior` is a logarithm.
    """

    cause: Mishap
    prior: float
    handling: Handling
    bits: float
    fit: Fit
    recording: Recording
    reading: Readout
    foretold: Foretold
    rows: ReadRows

    @cached_property
    def signature(self) -> tuple[object, ...]:
        """The same for all that foretell the same settled levels for what was recorded.

        Of a line that never moves in the recording nothing is learned where a cause leaves it open. Causes that
        foretell everything as it was recorded foretell the same, by whatever clock the recording was read.
        """
        mine, rows, offset = self.recording.rows, self.rows, self.fit.best.offset
        count, moving = len(mine.levels), _moving(self.recording)
        levels, known = (np.zeros(count, mine.known.dtype) for _ in range(2))
        begin, end = max(0, -offset), max(min(count, len(rows.levels) - offset), 0)
        if end > begin:
            there = slice(begin + offset, end + offset)
            known[begin:end] = rows.known[there] & mine.known[begin:end]
            levels[begin:end] = rows.levels[there] & known[begin:end]
        wrong = np.zeros_like(known) if self.fit.best.mismatches == 0 else (levels ^ mine.levels) & known
        open_ = mine.known & ~known & moving
        some = np.flatnonzero(wrong | open_)
        if not len(some):
            return ()
        return id(self.recording), some.tobytes(), wrong[some].tobytes(), open_[some].tobytes()


def _moving(recording: Recording) -> np.unsignedinteger:
    """The lines that do not always keep one level."""
    known, levels = recording.rows.known, recording.rows.levels
    high, low = (np.bitwise_or.reduce(part & known, initial=0) for part in (levels, ~levels))
    return known.dtype.type(high & low)


@dataclass(frozen=True)
class Suspects:
    """Causes that the recording cannot tell apart, the most common first; `bits` are the logarithm of their weight."""

    members: tuple[Explained, ...]
    bits: float

    @property
    def best(self) -> Explained:
        return self.members[0]


@dataclass(frozen=True)
class Ranking:
    """Groups, the best first; `none` is the weight, in bits, of there being another cause; `tried` counts causes.

    `meant` is how well the prediction itself explains the recording, `differing` counts the bits by which it does not.
    """

    groups: tuple[Suspects, ...]
    none: float
    tried: int
    meant: Explained | None
    differing: tuple[Differing, ...] = ()

    def odds(self, group: Suspects) -> float:
        """The probability of a group, among all that were thought of and none of them."""
        every = [self.none, *(g.bits for g in self.groups)]
        return float(2.0 ** (group.bits - np.logaddexp2.reduce(every)))

    @property
    def convincing(self) -> tuple[Suspects, ...]:
        """The groups where one of them is likelier than that it was something else."""
        best = max((g.bits for g in self.groups), default=self.none)
        return self.groups if best > self.none else ()


def grouped(found: list[Explained], meant: Explained | None) -> tuple[Suspects, ...]:
    """By what they foretell; what foretells nothing else than was meant explains nothing."""
    groups: dict[object, list[Explained]] = {}
    for one in sorted(found, key=lambda one: -one.bits):
        group = groups.setdefault(one.signature, [])
        if all(one.handling != other.handling for other in group):  # the same under another name
            group.append(one)
    if meant is not None:
        groups.pop(meant.signature, None)
    made = [
        Suspects(
            tuple(members),
            float(np.logaddexp2.reduce([m.bits for m in members])),
        )
        for members in groups.values()
    ]
    return tuple(sorted(made, key=lambda group: -group.bits))
