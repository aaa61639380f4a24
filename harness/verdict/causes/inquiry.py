"""Weighs the causes of a recording that differs, family by family.

Theory of operation. Each cause is foretold and weighed as the prediction itself is: bits saved over all placements,
plus the logarithm of its prior. What saves fewer bits than its prior costs explains nothing.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import product

import numpy as np
from forelight.designs.datasheet import OUTPUT_LINES
from forelight.designs.procedures.procedure import Strap
from forelight.sim.levels import UNKNOWN

from ..listing import SKIP, STAY, Slip, listed
from ..placement import Recording
from ..reading import Readout
from ..rows import Moments, ReadRows, foretold_list, predicted
from . import clips, clock, recording, silicon, wakes, writing
from .foretell import Foreteller, Prospect, on_axis, shortened
from .mishap import CLIPPED, PAIR, SHARES, Handling, Mishap, priors_of
from .readings import TOLERANCE, WIDEST, Readings, beginning
from .suspects import Explained

#: Power-ups that are tried one by one, where they cannot be run side by side.
WAKES = 8
#: Of what is the same from some power-ups, so much, and so little, may be otherwise where many are looked at.
SAME, FEW = 0.02, 4
#: Of what a recording holds, so much must be left open for that.
OPEN = 0.2
#: The share of recordings that none of the causes explains, as a logarithm.
NONE = math.log2(0.0001)
#: Of what a recording holds, by slips of single steps and bits, so that no two causes at once are looked for.
EXPLAINED = 0.5
#: So much may be left unexplained by a single cause, as a share and in bits, or another is looked for beside it, which
#: costs as many.
LEFT, SECOND = 0.1, 9.0
#: Bits that a pace of its own costs: of those up to `WIDEST` times as fast or as slow, told apart by the tolerance.
FREE = math.log2(math.log(WIDEST) / TOLERANCE)
#: Of a recording, so much in which nothing moves any more may be a clock that stopped.
AT_REST = 0.05
#: Bits that a cause, however rare, may save less than that.
RARE = 20.0
#: Of the levels that were recorded, so many must be foretold.
COMPARED = 0.5
#: Bits within which one clock, or one place, is as good as another.
AS_GOOD = 0.5
#: Bits for clips in some order, and for each that is moved.
ORDERS, EACH = 4.0, 3.0
#: Causes that keep nobody from looking for a design that was never restarted.
UNUSUAL = (PAIR, "stuck inside the chip")
NOTHING = Mishap("as foretold", "as foretold", "Nothing went wrong.", "", lambda it: it)

Progress = Callable[[int, int], None]
#: What is foretold, at which pace, and how rare that is among others like it, in bits.
Told = tuple[Prospect, float, float]


@dataclass
class Inquiry:
    """One recording, and what was made of it so far."""

    it: Handling
    readings: Readings
    teller: Foreteller
    cut: int | None
    progress: Progress
    found: list[Explained] = field(default_factory=list)
    tried: int = 0

    def weigh(self, causes: Sequence[Mishap]) -> None:
        """Keep those that explain the recording."""
        priors = priors_of(causes)
        for number, cause in enumerate(causes):
            self.progress(number, len(causes))
            self.keep(self.explained(cause, priors[cause.name], cause.change(self.it)))
        self.tried += len(causes)

    def keep(self, one: Explained | None) -> None:
        if one is not None and one.bits > NONE - RARE:
            self.found.append(one)

    def weigh_silicon(self) -> None:
        """The stuck-at faults of the design, all side by side."""
        planned = self.teller.plan(self.it, self.cut)
        if planned is None or planned[0].slots[-1] != self.it.home or self.it.home not in planned[2]:
            return
        plan, up, seats = planned
        every = silicon.all_faults(seats[self.it.home])
        self.tried += len(every)
        prior = math.log2(SHARES["stuck inside the chip"] / sum(SHARES.values()) / max(len(every), 1))
        for broken in silicon.foretold(plan, seats, self.it.home):
            first = silicon.unnamed(broken.members[0])
            it, told = first.change(self.it), self.teller.laid(broken.settled, up)
            tolds = [(told, 1.0, 0.0)]
            if self.is_open(it, told, 1.0):
                each = [self.teller.laid(golden, up) for golden in broken.each()]
                tolds += [(one, 1.0, math.log2(silicon.POWER_UPS / len(each))) for one in each]
            one = self.best(first, prior, it, tolds)
            if one is not None and one.bits > NONE - RARE:
                for fault in broken.members:
                    cause = silicon.unnamed(fault)
                    self.keep(replace(one, cause=cause, handling=cause.change(self.it)))

    def weigh_power_ups(self) -> None:
        """The state in which the design woke up, where what is foretold from some is not so from all."""
        first = self.readings.meant
        if self.never_settles(first):
            return
        prior = math.log2(SHARES["another power-up"] / sum(SHARES.values()))
        for wake, told, rare in self.from_power_ups(self.it, first, 1.0):
            self.tried += 1
            cause = recording.power_up(wake)
            self.keep(self.best(cause, prior, cause.change(self.it), [(told, 1.0, rare)]))

    def weigh_unrestarted(self, causes: Sequence[Mishap]) -> None:
        """What is shown from each of many power-ups, though a few of them agree: of causes that change what reaches the
        design, which may then never have been restarted."""
        priors = priors_of(causes)
        for number, cause in enumerate(causes):
            self.progress(number, len(causes))
            it = cause.change(self.it)
            if it.inside == self.it.inside or it.pace is None:
                continue
            first = self.foretold(it)
            if first is None or not self.readings.of(first, it.pace):
                continue
            tolds = [
                (told, it.pace, rare)
                for done, whole in self.handlings(it, first)
                if not is_settled(whole, self.readings.names)
                for _, told, rare in self.many_power_ups(done, whole, it.pace)
            ]
            self.keep(self.best(cause, priors[cause.name], it, tolds))

    def weigh_list(self) -> None:
        """Entries of a list by eye that were missed, written twice or wrong."""
        reading = self.readings.usual
        if reading.stated is None or not len(reading.rows.levels):
            return
        self.tried += len(writing.KINDS) * len(reading.recordings[0].rows.levels)
        found: dict[tuple[Slip, ...], Explained] = {}
        for told, _, rare in self.told(self.it):
            for one in self._slips(reading, told, rare):
                slips = one.handling.slips
                if slips not in found or one.bits > found[slips].bits:
                    found[slips] = one
        for one in found.values():
            self.keep(one)

    def _slips(self, reading: Readout, told: Prospect, rare: float) -> Iterator[Explained]:
        """The likeliest entries amiss, if this is what was foretold, which is so rare."""
        recording, rows = reading.recordings[0], self.readings.rows(told.foretold, reading)
        stated = recording.rows.first - rows.first
        # In what repeats itself a step too few may look like one too many.
        ways = (listed(recording, rows, stated, made) for made in ((SKIP, STAY), (SKIP,), (STAY,)))
        for found in {way.slips: way for way in ways if way is not None}.values():
            if not 0 < len(found.slips) <= writing.MOST:
                continue
            cause, shown = writing.cause(found.slips), writing.as_written(rows, found)
            prior = math.log2(writing.OF_LISTS * SHARES[cause.kind] / sum(SHARES.values())) - rare
            laid, it = writing.explains(recording, rows, found), cause.change(self.it)
            yield Explained(
                cause, prior, it, laid.bits + prior, laid, recording, reading, told.foretold, shown
            )

    def weigh_stop(self) -> None:
        """A clock that stopped for good, up to which all is as was meant."""
        capture, meant = self.readings.capture, self.readings.meant
        if capture.unit != "seconds" or meant.foretold.hz is None:
            return
        lines = self.readings.usual.lines  # without spikes
        ends = sorted((float(lines[name].times[-1]) for name in self.readings.names), reverse=True)
        step = meant.foretold.unit / meant.foretold.oscillator_hz
        causes: list[tuple[Mishap, float]] = []
        # The last edge of all, or of a line less: spikes may be left in one of them.
        for last in dict.fromkeys(ends[:2]):
            rest = capture.end - last
            if rest < AT_REST * (capture.end - capture.start):
                continue
            moved = any(
                len(lines[name].times) > 1 and lines[name].times[1] <= last for name in self.readings.names
            )
            counts = self._stops(last, step) if moved else self._stills()
            lasting = (1 + 2 * TOLERANCE) * rest + step  # by an instrument that counts too fast too
            causes += [(clock.stopped_on_the_way(self.it, n, lasting), share) for n, share in counts]
        self.tried += len(causes)
        prior = math.log2(SHARES["clock stopped on the way"] / sum(SHARES.values()))
        tries = [self.explained(cause, prior + share, cause.change(self.it)) for cause, share in causes]
        self.keep(max((one for one in tries if one), key=lambda one: one.bits, default=None))

    def _stops(self, last: float, step: float) -> list[tuple[int, float]]:
        """Steps after one of which the clock stopped, if no edge came after the `last`, a `step` being so long; and the
        logarithm of the share of each."""
        foretold = self.readings.meant.foretold
        until = beginning(self.readings.capture, last + step)
        first = replace(self.readings, capture=until, others={}, fitted={}, clockless={}, placed={})
        reading = first.usual
        rows = first.rows(foretold, reading)
        fits = [(one, found) for one, found in first.fits(rows, reading) if found.best.mismatches <= FEW]
        if not fits:
            return []
        one, found = max(fits, key=lambda pair: pair[1].bits - pair[0].handicap)
        assert one.clock is not None
        shift = rows.first - one.rows.first + found.best.offset / rows.slots
        at = float(one.clock.steps(np.array([last]))[0]) + shift
        times = np.concatenate([foretold.lines[name].times for name in self.readings.names])
        rest = float(times[times > at + 0.5].min(initial=foretold.end))  # till then it may have stopped
        freed, steps, middle = foretold.step_at(np.array([foretold.freed, at, (at + rest) / 2])).tolist()
        counts = {steps - 1, steps, steps + 1, middle}
        return [(count - freed, 0.0) for count in sorted(counts) if count > freed]

    def _stills(self) -> list[tuple[int, float]]:
        """The same of a recording that begins after that: the last step at which all outputs are foretold to be as they
        stay, for all of those, and those beside it, as what a step makes of the outputs comes some frames behind it."""
        foretold, lines = self.readings.meant.foretold, self.readings.usual.lines
        freed = int(foretold.step_at(np.array([foretold.freed]))[0])
        rises = foretold.rises[foretold.step_at(foretold.rises) > freed]
        same = np.ones(max(len(rises) - 1, 0), np.bool_)
        for name in self.readings.names:
            same &= foretold.lines[name].at(rises[1:] - 1e-6) == lines[name].levels[-1]
        found = np.flatnonzero(same)
        if not len(found):
            return []
        last, share = int(found[-1]), math.log2(len(found) / len(same))
        return [(count, share) for count in (last, last + 1, last + 2) if count]

    def weigh_clips(self) -> None:
        """Clips in any order."""
        for cause, share in self.clips_of(self.told(self.it), 2):
            self.keep(self.explained(cause, share, cause.change(self.it)))

    def clips_of(
        self, tolds: Iterable[Told], fewest: int, singly: Mapping[str, float] | None = None
    ) -> Iterator[tuple[Mishap, float]]:
        """Clips by which these predictions show what was recorded, at least so many of them moved, and the logarithm
        of the share of each: of those that are known `singly`, by name, what is said there."""
        found: dict[str, tuple[Mishap, float]] = {}
        for told, pace, _ in tolds:
            reading = self.readings.of(told, pace)
            if reading is None:
                continue
            for cause in clips.found(reading.recordings[0], _of_outputs(told, reading), OUTPUT_LINES, fewest):
                its = cause.change(self.it).clips
                moved = sum(clip != own for clip, own in zip(its, CLIPPED, strict=True))
                share = math.log2(SHARES[cause.kind] / sum(SHARES.values())) - ORDERS - EACH * moved
                found[cause.name] = cause, (singly or {}).get(cause.name, share)
        yield from found.values()

    def explained(self, cause: Mishap, prior: float, it: Handling) -> Explained | None:
        """How a cause explains the recording; None where it foretells nothing, or cannot have been."""
        return self.best(cause, prior, it, self.told(it))

    def best(self, cause: Mishap, prior: float, it: Handling, tolds: Iterable[Told]) -> Explained | None:
        """The same, of what was foretold for it in one or more ways."""
        best: Explained | None = None
        bits: list[float] = []
        for told, pace, rare in tolds:
            reading = self.readings.of(told, pace)
            if reading is None:
                continue
            shown = self.readings.shown(told, it.clips)
            if not self.readings.rests_as(shown, reading, pace):
                continue
            shown, woken = self.readings.at_rest(shown, reading)
            rows = self.readings.rows(shown, reading)
            for one, found in self.readings.fits(rows, reading):
                if found.best.compared.sum() < COMPARED * one.known:
                    continue  # it foretells too little to explain anything
                bits.append(found.bits + prior - one.handicap - rare - woken)
                if best is None or bits[-1] > best.bits + AS_GOOD:
                    best = Explained(cause, prior, it, bits[-1], found, one, reading, told.foretold, rows)
        if best is None:
            return None
        return replace(best, bits=float(np.logaddexp2.reduce(bits)) - math.log2(len(bits)))

    def told(self, it: Handling) -> Iterator[Told]:
        """What this handling foretells, at which pace, and how rare that is among others like it, in bits.

        Where nothing settles the design, it is foretold from power-up after power-up.
        """
        paces = [it.pace] if it.pace is not None else self.readings.free_paces()
        free = 0.0 if it.pace is not None else FREE
        code = _code(it)
        if code is not None and code != self.code and _is_otherwise_alike(it, self.it):
            rate = float(it.board.step_hz(code))
            paces = [pace for pace in paces if self.readings.may_step(rate / pace)]
        fastest = min(paces, default=1.0)
        first = self.foretold(it, fastest) if paces else None
        if first is None or not any(self.readings.of(first, pace) for pace in paces):
            return
        whole = self.handlings(it, first, fastest)
        yield from ((told, pace, free) for _, told in whole for pace in paces)
        if it.wake is not None:
            return
        if self.never_settles(self.readings.meant):
            if (other := self.foretold(replace(it, wake=0), fastest)) is not None:
                yield from ((other, pace, free) for pace in paces)
            return
        for (done, told), pace in product(whole, paces):
            if self.is_open(done, told, pace):
                yield from (
                    (one, pace, free + rare) for _, one, rare in self.from_power_ups(done, told, pace)
                )

    def handlings(self, it: Handling, first: Prospect, pace: float = 1.0) -> list[tuple[Handling, Prospect]]:
        """A handling and what it foretells; where its clock is not as meant, the hand may count steps, or wait as long
        as they should take."""
        watched = None
        if self.code is not None and first.foretold.hz != self.readings.meant.foretold.hz:
            cut = self.cut and math.ceil(self.cut * max(1 / pace, 1.0))  # a wait by a watch has no steps
            short = it if cut is None else replace(it, then=shortened(it.then, cut))
            watched = clock.by_watch(short, self.code)
        other = self.foretold(watched, pace) if watched is not None else None
        return [(it, first)] if watched is None or other is None else [(it, first), (watched, other)]

    def foretold(self, it: Handling, pace: float = 1.0) -> Prospect | None:
        """What a handling shows while the recording is looked at, by an instrument that counts at this pace."""
        return self.teller.prospect(it, self.steps_of(it, pace))

    def steps_of(self, it: Handling, pace: float = 1.0) -> int | None:
        """The steps of a handling in that time, which are more by a faster clock; None: all."""
        if self.cut is None:
            return None
        ours, theirs = ((None if code is None else it.board.step_hz(code)) for code in (self.code, _code(it)))
        faster = float(theirs / ours) if ours and theirs else 1.0
        return math.ceil(self.cut * max(faster / pace, 1.0))

    def is_open(self, it: Handling, told: Prospect, pace: float) -> bool:
        """Whether what is foretold leaves a good part open, and the rest is as recorded, or nearly so."""
        reading = self.readings.of(told, pace)
        if reading is None:
            return False
        shown = self.readings.shown(told, it.clips)
        if not self.readings.rests_as(shown, reading, pace):
            return False
        rows = self.readings.rows(shown, reading)
        widely = _left_open(rows, reading.recordings[0]) >= OPEN
        return any(
            found.best.mismatches <= max(FEW, SAME * found.best.compared.sum())
            and (widely or found.best.saved.sum() < EXPLAINED * one.null_bits)
            for one, found in self.readings.fits(rows, reading)
        )

    def from_power_ups(
        self, it: Handling, first: Prospect, pace: float
    ) -> Iterator[tuple[int, Prospect, float]]:
        """The power-ups from which the recording may come, what each foretells, and how rare it is."""
        side_by_side = False
        for one in self.many_power_ups(it, first, pace):
            side_by_side = True
            yield one
        if not side_by_side:
            others = ((n, self.foretold(replace(it, wake=n), pace)) for n in range(WAKES))
            yield from ((number, told, 0.0) for number, told in others if told is not None)

    def many_power_ups(
        self, it: Handling, first: Prospect, pace: float, most: float | None = None
    ) -> Iterator[tuple[int, Prospect, float]]:
        """The likeliest of many that run side by side; none where they cannot. No line tells more than `most` levels
        can."""
        reading, planned = self.readings.of(first, pace), self.teller.plan(it, self.steps_of(it, pace))
        if reading is None or planned is None or it.fault is not None:
            return
        begins = self.beginning(it, first, reading)
        found = None if begins is None else self.teller.woken(planned, begins.until)
        if begins is None or found is None:
            return
        some = begins.likely(found, most)
        # Where nothing moves one is as good as another.
        for wake in some[:1] if self.readings.still else some:
            told = self.teller.told(planned, wake)
            if told is not None:
                yield wake, told, math.log2(len(found.outputs) / len(some))

    def beginning(self, it: Handling, first: Prospect, reading: Readout) -> wakes.Beginning | None:
        """Where the first rows of the recording may lie on what was foretold for a handling; None where nowhere."""
        rows = self.readings.rows(self.readings.shown(first, it.clips), reading)
        its = reading.recordings[0]
        sources = [
            it.clips[int(name[1])].line if name in OUTPUT_LINES else None for name in its.moments.names
        ]
        ticks = self.readings.row_ticks(first.foretold, rows, reading)
        return wakes.Beginning.of(its, rows, ticks, sources, reading.before)

    @property
    def explains(self) -> bool:
        """Whether one of those that were found explains a good part of what the recording holds."""
        return _explain(self.found)

    @property
    def wholly(self) -> bool:
        """Whether one that is neither two at once nor broken silicon explains so much that others cannot explain much
        more."""
        return any(
            one.bits >= NONE
            and one.recording.null_bits - one.fit.bits <= max(LEFT * one.recording.null_bits, SECOND)
            for one in self.found
            if one.cause.kind not in UNUSUAL
        )

    @property
    def usually(self) -> bool:
        """The same of those that are neither two at once nor broken silicon; where nothing moves, whether there is one
        that is not rare."""
        usual = [one for one in self.found if one.cause.kind not in UNUSUAL]
        return any(one.bits >= NONE for one in usual) if self.readings.still else _explain(usual)

    @cached_property
    def code(self) -> int | None:
        """The strap code that was meant."""
        return _code(self.it)

    def never_settles(self, told: Prospect) -> bool:
        return never_settles(told, self.readings.names)


def _explain(found: Iterable[Explained]) -> bool:
    return any(
        one.fit.bits > EXPLAINED * one.recording.null_bits or (one.handling.slips and one.bits > 0)
        for one in found
    )


def _left_open(rows: ReadRows, recording: Recording) -> float:
    """How much of a recording it is, by what its lines cost without a prediction, that these rows leave open; where
    nothing moves, how many of its lines."""
    bits = np.arange(len(recording.names), dtype=rows.known.dtype)[:, None]
    open_ = 1 - (rows.known >> bits & 1).mean(axis=1)
    costs = recording.cost.sum(axis=1)
    return float(costs @ open_) / max(recording.null_bits, 1.0) if costs.any() else float(open_.mean())


def _of_outputs(told: Prospect, reading: Readout) -> ReadRows:
    """What all outputs are foretold to be, read where the recorded ones are."""
    there = on_axis(told.foretold, reading.reference)
    if reading.stated is not None:
        return foretold_list(there, OUTPUT_LINES)
    known = dict(zip(reading.moments.names, reading.moments.places, strict=True))
    outputs = [places for name, places in known.items() if name in OUTPUT_LINES]
    usual = max(outputs, key=outputs.count)
    at = Moments(OUTPUT_LINES, tuple(known.get(name, usual) for name in OUTPUT_LINES))
    return predicted(there, at, reading.stray)


def is_settled(told: Prospect, names: tuple[str, ...]) -> bool:
    """Whether a few power-ups show the same on these lines from the moment on at which the slot is up."""
    since = told.foretold.since
    lines = [told.foretold.lines[name] for name in names]
    late = [
        line.levels[max(int(np.searchsorted(line.times, since, side="right")) - 1, 0) :] for line in lines
    ]
    return not any((levels == UNKNOWN).any() for levels in late)


def never_settles(told: Prospect, names: tuple[str, ...]) -> bool:
    """Whether what is foretold ends with an output among these that may be anything."""
    lines = told.foretold.lines
    return any(name in OUTPUT_LINES and lines[name].levels[-1] == UNKNOWN for name in names)


def _code(it: Handling) -> int | None:
    """The strap code that is set."""
    return next((action.code for action in it.before if isinstance(action, Strap)), None)


def _is_otherwise_alike(one: Handling, other: Handling) -> bool:
    """Whether two handlings that do the same differ in their strap codes alone."""
    same = all(
        a == b or (isinstance(a, Strap) and isinstance(b, Strap))
        for a, b in zip(one.before, other.before, strict=False)
    )
    return same and len(one.before) == len(other.before) and one.then == other.then
