"""Two slips at once, looked for where no single cause explains a recording.

Theory of operation. Beside clips that are not where they should be a slip costs no more to find than alone: where it is
foretold, which output each channel shows is read from the levels (`clips.py`). Two slips of the hand are composed and
run from two power-ups, or from many where these end otherwise, for as long as the beginning of the recording may lie
there; those by which the fewest of its levels are otherwise are then foretold in full. Of slips by which the same
reaches the design one stands for all, until it explains the recording.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, product

import numpy as np

from . import wakes
from .clips import FEW, WRONG
from .foretell import Planned, moves
from .inquiry import COMPARED, EXPLAINED, NOTHING, Inquiry, Told, is_settled
from .mishap import CLIPPED, Mishap, both, priors_of
from .suspects import Explained

#: Causes of which two may have come together.
PAIRED = frozenset(
    {"switch set the other way", "switch without contact", "straps not put back", "inputs left at zero",
     "restart never given", "restart held", "inputs swapped", "output stuck", "outputs swapped", "selector, one switch"}
)  # fmt: skip
#: How many times less likely a pair may be than one that explains all, as a logarithm.
RARER = 7.0
#: Pairs of slips of the hand that are foretold in full, and those that are run from many power-ups.
IN_FULL, AWAKE = 32, 96
#: Of a line, so many levels count that are otherwise: its channel may show another.
OF_A_LINE = 8.0


def weigh(inquiry: Inquiry, causes: Sequence[Mishap]) -> None:
    """Two causes at a time, of those that are the most common."""
    search = _PairSearch(inquiry, priors_of(causes))
    every = search.alike(causes)
    for some in every:
        search.beside_clips(some)
    search.of_the_hand(every)


@dataclass(frozen=True)
class _Couple:
    """Two slips that came together: of each part any, as the same reaches the design by all of them."""

    prior: float
    parts: tuple[Sequence[Mishap], Sequence[Mishap]]

    @property
    def cause(self) -> Mishap:
        return both(self.parts[0][0], self.parts[1][0])


@dataclass
class _PairSearch:
    """What is asked of a recording about two causes at once; `priors` are those of single ones, by name.

    `least` is how likely a pair must be, beside those that explain everything.
    """

    inquiry: Inquiry
    priors: dict[str, float]
    least: float = -math.inf

    def alike(self, causes: Sequence[Mishap]) -> list[list[Mishap]]:
        """Slips of the hand, by what reaches the design, the likeliest first."""
        found: dict[object, list[Mishap]] = {}
        for cause in sorted(causes, key=lambda cause: -self.priors[cause.name]):
            if cause.kind in PAIRED and cause.change(self.inquiry.it).clips == CLIPPED:
                found.setdefault(self.reached(cause), []).append(cause)
        found.pop(self.reached(NOTHING), None)
        return [*found.values()]

    def planned(self, cause: Mishap) -> Planned | None:
        it = cause.change(self.inquiry.it)
        return self.inquiry.teller.plan(it, self.inquiry.steps_of(it))

    def reached(self, cause: Mishap) -> object:
        """The same for causes by which the same reaches the design."""
        planned = self.planned(cause)
        return cause.name if planned is None else moves(planned[0])

    def beside_clips(self, some: Sequence[Mishap]) -> None:
        """Slips by which the same reaches the design, beside clips that are not on their outputs."""
        tolds = self.told(some[0])
        for clip, share in self.inquiry.clips_of(tolds, 1, self.priors):
            pairs = [(both(cause, clip), self.priors[cause.name] + share) for cause in some]
            self.weigh(pairs[0], tolds, pairs)

    def of_the_hand(self, every: Sequence[Sequence[Mishap]]) -> None:
        """Two slips that change what reaches the design."""
        glance = _Skimmed.of(self.inquiry)
        if glance is None:
            return
        singly = {self.reached(some[0]) for some in every}
        alike: dict[object, list[_Couple]] = {}
        likely, unsettled = [], []
        pairs = self.pairs(every)
        for number, two in enumerate(pairs):
            if two.prior < self.least:
                break
            self.inquiry.progress(number, len(pairs))
            planned = self.planned(two.cause)
            if planned is None or (reached := moves(planned[0])) in singly:
                continue
            if reached not in alike:
                amiss, settled = glance.amiss(planned)
                likely.append((WRONG * amiss - two.prior, number, reached))
                unsettled += [] if settled or amiss <= glance.most else [(amiss, number, reached)]
            alike.setdefault(reached, []).append(two)
        for _, number, reached in sorted(unsettled)[:AWAKE]:
            planned = self.planned(pairs[number].cause)
            amiss = math.inf if planned is None else glance.from_any_state(planned)
            likely.append((WRONG * amiss - pairs[number].prior, number, reached))
        tried = [one for one in sorted(likely) if one[0] + pairs[one[1]].prior <= WRONG * glance.most]
        for reached in [*dict.fromkeys(reached for _, _, reached in tried)][:IN_FULL]:
            two = alike[reached][0]
            self.weigh((two.cause, two.prior), self.told(two.cause), self.members(alike[reached], reached))

    def pairs(self, every: Sequence[Sequence[Mishap]]) -> list[_Couple]:
        """The likeliest first; those of which it matters what came first in either order."""
        found = []
        for parts in combinations(every, 2):
            prior = sum(self.priors[some[0].name] for some in parts)
            one, other = _Couple(prior, parts), _Couple(prior, (parts[1], parts[0]))
            found.append(one)
            if one.cause.change(self.inquiry.it) != other.cause.change(self.inquiry.it):
                found.append(other)
        return sorted(found, key=lambda two: -two.prior)

    def members(self, some: Sequence[_Couple], reached: object) -> Iterator[tuple[Mishap, float]]:
        """All pairs of causes by which the same reaches the design, each with its prior."""
        for two in some:
            for first, second in product(*two.parts):
                cause = both(first, second)
                if self.reached(cause) == reached:
                    yield cause, self.priors[first.name] + self.priors[second.name]

    def told(self, cause: Mishap) -> list[Told]:
        """What slips of the hand foretell; where that is not settled, from whichever state, though some lines may not
        show what they should."""
        it = cause.change(self.inquiry.it)
        first, found = self.inquiry.foretold(it), [*self.inquiry.told(it)]
        if first is not None and not is_settled(first, self.inquiry.readings.names):
            many = self.inquiry.many_power_ups(it, first, 1.0, OF_A_LINE)
            found += [(told, 1.0, rare) for _, told, rare in many]
        return found

    def weigh(
        self, first: tuple[Mishap, float], tolds: Sequence[Told], alike: Iterable[tuple[Mishap, float]]
    ) -> None:
        """Keep the first cause and all that are alike, each with its prior, if it explains the recording."""
        self.inquiry.tried += 1
        cause, prior = first
        one = self.inquiry.best(cause, prior, cause.change(self.inquiry.it), tolds)
        if one is None or not self.explains(one):
            return
        if not one.fit.best.mismatches:
            self.least = max(self.least, prior - RARER)
        for other, its in alike:
            it = other.change(self.inquiry.it)
            self.inquiry.keep(replace(one, cause=other, prior=its, handling=it, bits=one.bits + its - prior))

    def explains(self, one: Explained) -> bool:
        if self.inquiry.readings.still:
            return not one.fit.best.mismatches
        return one.fit.bits > EXPLAINED * one.recording.null_bits


@dataclass
class _Skimmed:
    """The beginning of a recording, laid at a glance on what slips of the hand show; the slot is meant to be up at the
    tick `up`."""

    inquiry: Inquiry
    begins: wakes.Beginning
    up: int
    end: int

    @staticmethod
    def of(inquiry: Inquiry) -> _Skimmed | None:
        meant, usual = inquiry.readings.meant, inquiry.readings.usual
        begins = inquiry.beginning(inquiry.it, meant, usual)
        planned = inquiry.teller.plan(inquiry.it, inquiry.steps_of(inquiry.it))
        if begins is None or planned is None:
            return None
        return _Skimmed(inquiry, begins, meant.up, planned[0].end)

    @property
    def most(self) -> float:
        """Levels that may be otherwise of what explains anything."""
        its = self.begins.recording
        return FEW + float(its.cost[:, self.begins.part].sum()) / WRONG

    def amiss(self, planned: Planned) -> tuple[float, bool]:
        """How many levels are otherwise where they are fewest, and whether that is so from any state; no end of them
        where that is more than a glance."""
        if planned[0].end != self.end:
            return self.by_another_clock(planned), True
        found = wakes.at_a_glance(planned[0], planned[2], self.until(planned))
        if found is None:
            return math.inf, True
        return self.least(found, planned), len(set(found.outputs[:, -1].tolist())) == 1

    def by_another_clock(self, planned: Planned) -> float:
        """The same of slips that change the strap code too: the recording is read at the rate of theirs."""
        readings, told = self.inquiry.readings, self.inquiry.teller.told(planned, 0)
        reading = None if told is None else readings.of(told, 1.0)
        if told is None or reading is None:
            return math.inf
        fits = readings.fits(readings.rows(told.foretold, reading), reading)
        telling = (
            found.best
            for one, found in fits
            if found.best.compared.sum() >= COMPARED * np.bitwise_count(one.rows.known).sum()
        )
        return min((float(best.mismatches) for best in telling), default=math.inf)

    def from_any_state(self, planned: Planned) -> float:
        """The same from many power-ups."""
        found = self.inquiry.teller.woken(planned, self.until(planned))
        return math.inf if found is None else self.least(found, planned)

    def until(self, planned: Planned) -> float:
        """The tick up to which it may matter what is shown."""
        return self.begins.until + planned[1] - self.up

    def least(self, found: wakes.Woken, planned: Planned) -> float:
        shifted = replace(found, ticks=found.ticks + self.up - planned[1])
        return float(self.begins.amiss(shifted).min())
