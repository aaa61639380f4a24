"""Ranks the causes of a recording that differs, in groups that it cannot tell apart.

Theory of operation. Each cause is foretold and weighed as the prediction itself is: bits saved over all placements, plus
the logarithm of its prior. Causes that foretell the same for each recorded row are one group, whose weight is the sum
of theirs. What saves fewer bits than its prior costs explains nothing: then none of these fits.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations

import numpy as np
from forelight.designs.datasheet import INPUT_LINES, OUTPUT_LINES
from forelight.designs.procedures.procedure import Strap
from forelight.sim.levels import UNKNOWN
from numpy.typing import NDArray

from ...capture.record import Capture
from ..fit import Fit, Recording, fit
from ..reference import Foretold
from ..rows import ReadRows, changes
from . import clips, clock, hand, recording, silicon, wiring
from .cause import SHARES, Cause, Situation
from .foretell import Foreteller, clipped, on_axis
from .recordings import TOLERANCE, Recorded, coherence
from .table import Differing, differing

FAMILIES = (hand.causes, clock.causes, wiring.causes, recording.causes)

#: Steps of a long recording by which causes are picked at first, and of the predictions for it.
LOOK, AHEAD = 1024, 4096
#: Steps by which a rate is tried.
PROBE = 200
#: How much more or less often a recording may move than the whole prediction does.
BUSY = 3.0
#: Causes that are weighed by the whole of a long recording.
FINALISTS = 32
#: Power-ups that are tried one by one where a prediction never settles.
WAKES = 8
#: The share of recordings that none of the causes explains.
NONE = 0.05
#: Rates that are tried for a clock that is not the board's.
RATES = 6
COHERENT = 0.75
WIDEST = 64.0  # times as fast or as slow
PACES = int(2 * math.log(WIDEST) / (1.5 * TOLERANCE))

#: Members of a group, and groups, whose faults of silicon are described.
NAMED = 4
#: Bits for an order of clips, beside what `clips` says.
ORDERS = 8.0
#: Causes of which two may have come together, and how many of the likeliest.
PAIRED = frozenset(
    {"switch set the other way", "switch without contact", "straps not put back", "inputs left at zero",
     "restart never given", "restart held", "inputs swapped", "output stuck", "outputs swapped", "selector, one switch"}
)  # fmt: skip
PAIRS = 24
NOTHING = Cause("as foretold", "as foretold", "Nothing went wrong.", "", lambda it: it)

Words = NDArray[np.unsignedinteger]
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Explained:
    """A cause, the situation that it makes, and how it explains the recording: `bits` are saved, its prior counted.

    `levels` and `known` are what it foretells for each row of the recording, `recording` those rows; `reference` is the whole
    prediction. `prior` is a logarithm.
    """

    cause: Cause
    prior: float
    situation: Situation
    bits: float
    fit: Fit
    recording: Recording
    reference: Foretold
    levels: Words
    known: Words

    @property
    def signature(self) -> tuple[bytes, bytes]:
        """The same for all that foretell the same for the rows that were recorded."""
        told = np.flatnonzero(self.known)
        part = slice(int(told[0]), int(told[-1]) + 1) if len(told) else slice(0)
        return self.levels[part].tobytes(), self.known[part].tobytes()


@dataclass(frozen=True)
class Group:
    """Causes that the recording cannot tell apart, the most common first; `bits` are the logarithm of their weight."""

    members: tuple[Explained, ...]
    bits: float

    @property
    def best(self) -> Explained:
        return self.members[0]


@dataclass(frozen=True)
class Ranking:
    """Groups, the best first; `none` is the weight, in bits, of there being another cause; `tried` counts causes.

    `meant` is how well the prediction itself explains the recording, and `differing` counts the bits by which it does not.
    """

    groups: tuple[Group, ...]
    none: float
    tried: int
    meant: Explained | None
    differing: tuple[Differing, ...] = ()

    def odds(self, group: Group) -> float:
        """The probability of a group, among all that were thought of and none of them."""
        most = max(self.none, *(g.bits for g in self.groups))
        total = 2.0 ** (self.none - most) + sum(2.0 ** (g.bits - most) for g in self.groups)
        return float(2.0 ** (group.bits - most) / total)


@dataclass
class _Search:
    """One recording, and what was made of it so far."""

    it: Situation
    recorded: Recorded
    teller: Foreteller
    base: Foretold
    cut: int | None
    progress: Progress
    rows: dict[tuple[float, int | None], list[Recording]] = field(default_factory=dict)
    found: list[Explained] = field(default_factory=list)
    tried: int = 0

    def weigh(self, causes: Sequence[Cause]) -> None:
        """Keep those that explain the recording."""
        priors = _priors(causes)
        for number, cause in enumerate(causes):
            self.progress(number, len(causes))
            self.keep(self.explained(cause, priors[cause.name], cause.change(self.it)))
        self.tried += len(causes)

    def keep(self, one: Explained | None) -> None:
        if one is not None and one.bits > math.log2(NONE):
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
        for members, golden in silicon.foretold(plan, seats, self.it.home):
            told = on_axis(self.teller.laid(golden, up), self.base)
            first = silicon.unnamed(members[0])
            one = self.best(first, prior, first.change(self.it), [(told, 1.0)])
            if one is not None and one.bits > math.log2(NONE):
                for fault in members:
                    cause = silicon.unnamed(fault)
                    self.keep(replace(one, cause=cause, situation=cause.change(self.it)))

    def weigh_clips(self, it: Situation, prior: float = 0.0, kind: str = "") -> None:
        """Clips in any order, on the outputs of this situation."""
        for told, pace in self.told(it):
            for one in self.recordings(told, pace):
                rows = self.recorded.rows(told, one, OUTPUT_LINES)
                for cause in clips.found(one, rows, OUTPUT_LINES):
                    share = math.log2(SHARES[cause.kind] / sum(SHARES.values())) - ORDERS
                    made = (
                        cause if not kind else replace(cause, kind="two slips", said=f"{kind} {cause.said}")
                    )
                    self.keep(self.explained(made, share + prior, cause.change(it)))

    def weigh_pairs(self, causes: Sequence[Cause]) -> None:
        """Two slips at a time, of those that are the most common: of the hand, and with clips in another order."""
        priors = _priors(causes)
        usual = sorted((c for c in causes if c.kind in PAIRED), key=lambda c: -priors[c.name])[:PAIRS]
        for first, second in combinations(usual, 2):
            self.tried += 1
            both = Cause(
                "two slips", f"{first.name}; {second.name}", f"{first.said} {second.said}",
                f"{first.remedy} {second.remedy}", _after(first, second),
            )  # fmt: skip
            self.keep(self.explained(both, priors[first.name] + priors[second.name], both.change(self.it)))
        for cause in usual:
            self.weigh_clips(cause.change(self.it), priors[cause.name], cause.said)

    def recordings(self, told: Foretold, pace: float) -> list[Recording]:
        """The recording in the rows of a prediction; those of one rate are made once.

        Another rate than was meant is looked at in the first rows, and goes no further where those are not as foretold.
        """
        rate = told.unit / self.base.unit * pace
        most = LOOK if self.cut else None
        if rate == 1.0:
            return self._made(rate, self.base, pace, most)
        if not self._is_as_busy(told, pace):
            return []
        probes = self._made(rate, told, pace, PROBE)
        if not any(self._may_be(told, one) for one in probes):
            return []
        return self._made(rate, told, pace, most)

    def _made(self, rate: float, told: Foretold, pace: float, most: int | None) -> list[Recording]:
        # A clock that was found for another rate, and that this rate may be too, gives the same rows.
        for (known, look), found in self.rows.items():
            steps = {round(known / one.clock.rate, 6) for one in found if one.clock}
            near = len(steps) == 1 and abs(steps.pop() / rate - 1) < TOLERANCE
            if look == most and (known == rate or near):
                return found
        self.rows[rate, most] = self.recorded.recordings(told, pace, most)
        return self.rows[rate, most]

    def _is_as_busy(self, told: Foretold, pace: float) -> bool:
        """Whether the recording moves about as often as is foretold at this rate."""
        capture = self.recorded.capture
        outputs = [name for name in self.recorded.names if name[0] == "o"]
        long = (capture.end - capture.start) * told.oscillator_hz / told.unit / pace
        seen = sum(len(capture.lines[name].times) - 1 for name in outputs)
        due = sum(len(changes(told, name)) for name in outputs) * long / max(told.end - told.since, 1.0)
        return (seen + 6) / BUSY < due + 6 < (seen + 6) * BUSY

    def _may_be(self, told: Foretold, one: Recording) -> bool:
        rows = self.recorded.rows(told, one)
        found = fit(one, rows, stated=self.recorded.stated(rows))
        return bool(found.places) and found.best.mismatches <= 1 + found.best.compared.sum() // 100

    def explained(self, cause: Cause, prior: float, it: Situation) -> Explained | None:
        """How a cause explains the recording; None where it foretells nothing, or cannot have been."""
        return self.best(cause, prior, it, self.told(it))

    def best(
        self, cause: Cause, prior: float, it: Situation, tolds: Iterable[tuple[Foretold, float]]
    ) -> Explained | None:
        """The same, of what was foretold for it in one or more ways."""
        best: Explained | None = None
        bits: list[float] = []
        for told, pace in tolds:
            for one in self.recordings(told, pace):
                rows = self.recorded.rows(told, one)
                found = fit(one, rows, stated=self.recorded.stated(rows))
                if not found.places:
                    continue
                worth = found.bits + prior - (one.clock.handicap if one.clock else 0.0)
                worth -= math.log2(PACES) if it.pace is None else 0.0
                bits.append(worth)
                if best is None or worth > best.bits:
                    levels, known = _laid(one, rows, found.best.offset)
                    best = Explained(cause, prior, it, worth, found, one, told, levels, known)
        if best is None:
            return None
        return replace(best, bits=float(np.logaddexp2.reduce(bits)) - math.log2(len(bits)))

    def told(self, it: Situation) -> Iterator[tuple[Foretold, float]]:
        """What this situation foretells, and at which pace; from power-up after power-up where it never settles."""
        paces = [it.pace] if it.pace is not None else list(self.free_paces(it))
        if not paces or (it.pace is not None and not self.may_run(it)):
            return
        first = self.teller.reference(it, self.cut)
        if first is None:
            return
        whole = [first]
        if it.wake is None and self.never_settles(first):
            others = (self.teller.reference(replace(it, wake=wake), self.cut) for wake in range(WAKES))
            whole += [other for other in others if other is not None]
        for told in whole:
            for pace in paces:
                rate = told.unit / self.base.unit * pace
                if rate == 1.0 or told.hz is None or self.is_coherent(told, pace):
                    yield on_axis(clipped(told, it.clips), self.base), pace

    def may_run(self, it: Situation) -> bool:
        """Whether the recording may be of the strap code that is set; of the code that was meant it may."""
        codes = [
            next((action.code for action in one.before if isinstance(action, Strap)), None)
            for one in (it, self.it)
        ]
        if codes[0] is None or codes[0] == codes[1] or it.board != self.it.board:
            return True
        if self.recorded.capture.unit != "seconds":
            return False
        unit = float(1 / it.board.step_hz(codes[0])) * (it.pace or 1.0)
        return coherence(self.recorded.capture, self.recorded.names, unit) > COHERENT

    def never_settles(self, told: Foretold) -> bool:
        outputs = [name for name in self.recorded.names if name[0] == "o"]
        return any(told.lines[name].levels[-1] == UNKNOWN for name in outputs)

    def is_coherent(self, told: Foretold, pace: float) -> bool:
        capture = self.recorded.capture
        if capture.unit != "seconds":
            return False
        return coherence(capture, self.recorded.names, told.unit / told.oscillator_hz * pace) > COHERENT

    def free_paces(self, it: Situation) -> Iterator[float]:
        """Paces at which the lines move at one place in a step, the slowest clocks first; none that a code gives."""
        capture = self.recorded.capture
        if capture.unit != "seconds":
            return
        unit = self.base.unit / self.base.oscillator_hz
        count = 0
        for pace in np.geomspace(WIDEST, 1 / WIDEST, PACES).tolist():
            if abs(pace - 1) > TOLERANCE and coherence(capture, self.recorded.names, unit * pace) > COHERENT:
                yield pace
                count += 1
                if count == RATES:
                    return
        del it


def _laid(one: Recording, rows: ReadRows, offset: int) -> tuple[Words, Words]:
    """What is foretold for each row of the recording, where it was recorded."""
    count = len(one.rows.levels)
    levels, known = (np.zeros(count, one.rows.known.dtype) for _ in range(2))
    begin, end = max(0, -offset), max(min(count, len(rows.levels) - offset), 0)
    if end > begin:
        there = slice(begin + offset, end + offset)
        known[begin:end] = rows.known[there] & one.rows.known[begin:end]
        levels[begin:end] = rows.levels[there] & known[begin:end]
    return levels, known


def rank(
    it: Situation, capture: Capture, step_line: str, progress: Progress = lambda done, total: None
) -> Ranking:
    """The causes that explain a recording of what was meant to be `it`, in groups, the likeliest first."""
    recorded = Recorded(capture, step_line)
    teller = Foreteller(frozenset(INPUT_LINES), step_line)
    base = teller.reference(it)
    if base is None:
        return Ranking((), math.log2(NONE), 0, None)
    cut = AHEAD if max(_length(capture, base), len(base.rises)) > 2 * AHEAD else None
    if cut:
        base = teller.reference(it, cut) or base
    search = _Search(it, recorded, teller, base, cut, progress)
    causes = [cause for family in FAMILIES for cause in family(it, capture)]
    search.weigh(causes)
    search.weigh_silicon()
    search.weigh_clips(it)
    if not search.found:
        search.weigh(list(recording.other_slots(it)))
    if not search.found:
        search.weigh_pairs(causes)
    found, meant = search.found, search.explained(NOTHING, 0.0, it)
    if cut:
        whole = _Search(it, recorded, teller, teller.reference(it) or base, None, progress)
        found.sort(key=lambda one: -one.bits)
        again = (whole.explained(one.cause, one.prior, one.situation) for one in found[:FINALISTS])
        found = [one for one in again if one is not None and one.bits > math.log2(NONE)]
        meant = whole.explained(NOTHING, 0.0, it)
    groups = _grouped(found, meant)
    bits = differing_bits(recorded, groups[0].best if groups else None, meant)
    return Ranking(_named(groups, teller, it), math.log2(NONE), search.tried, meant, bits)


def differing_bits(
    recorded: Recorded, best: Explained | None, meant: Explained | None
) -> tuple[Differing, ...]:
    """By how many bits the recording differs from what was meant, laid where the best explanation lies."""
    if meant is None:
        return ()
    rows, offset = recorded.rows(meant.reference, meant.recording), meant.fit.best.offset
    if best is not None and (recorded.listed or best.recording is meant.recording):
        theirs, slots = recorded.rows(best.reference, best.recording), rows.slots
        ups = [0 if recorded.listed else round(it.onward) for it in (best.reference, meant.reference)]
        offset = best.fit.best.offset + ((theirs.first - ups[0]) - (rows.first - ups[1])) * slots
    return tuple(differing(meant.recording, meant.reference, rows, offset, recorded.listed))


def _length(capture: Capture, base: Foretold) -> float:
    """Of a recording, in steps."""
    if capture.unit == "seconds":
        return (capture.end - capture.start) * base.oscillator_hz / base.unit
    return capture.end - capture.start


def _priors(causes: Sequence[Cause]) -> dict[str, float]:
    """The logarithm of each cause's prior, by name: the share of its kind, parted by weight."""
    total: dict[str, float] = {}
    for cause in causes:
        total[cause.kind] = total.get(cause.kind, 0.0) + cause.weight
    whole = sum(SHARES.values())
    return {c.name: math.log2(SHARES[c.kind] / whole * c.weight / total[c.kind]) for c in causes}


def _named(groups: tuple[Group, ...], teller: Foreteller, it: Situation) -> tuple[Group, ...]:
    """The groups, in which the first faults of silicon have the names of the source."""

    def named(one: Explained) -> Explained:
        fault = one.situation.fault
        return one if fault is None else replace(one, cause=silicon.described(teller.seat(it).netlist, fault))

    return tuple(
        replace(group, members=(*map(named, group.members[:NAMED]), *group.members[NAMED:]))
        if number < NAMED
        else group
        for number, group in enumerate(groups)
    )


def _after(first: Cause, second: Cause) -> Callable[[Situation], Situation]:
    return lambda it: second.change(first.change(it))


def _grouped(found: list[Explained], meant: Explained | None) -> tuple[Group, ...]:
    """By what they foretell; what foretells nothing else than was meant explains nothing."""
    groups: dict[tuple[bytes, bytes], list[Explained]] = {}
    for one in found:
        groups.setdefault(one.signature, []).append(one)
    if meant is not None:
        groups.pop(meant.signature, None)
    made = [
        Group(
            tuple(sorted(members, key=lambda one: -one.bits)),
            float(np.logaddexp2.reduce([m.bits for m in members])),
        )
        for members in groups.values()
    ]
    return tuple(sorted(made, key=lambda group: -group.bits))
