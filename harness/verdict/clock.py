"""The clock of a recording: which time of it belongs to which place in a step, found before anything is placed.

Theory of operation. Edges come at the same place in every step; the prediction says at which, for each line and
direction. So each recorded edge is a unit vector, turned once a step, and the length of their sum is how well a rate
fits: one Fourier transform shows all rates at once. A step that was lost or gained turns no vector, so it cannot bend
the clock. The best rates are refined by least squares on the phases, the drift bounded as an instrument's is stated,
first in the densest stretch and then in ones twice as long, until the whole is covered; what bends otherwise is taken
up by means of blocks. Where several rates explain the edges, as between two bursts, each is a clock of its own; the
bits by which its edges' times cost more than those of the best one are its handicap. That edges keep to a clock of the
predicted rate is evidence too: who knows no design knows no rate either.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import scipy  # loads its parts where they are used
from numpy.typing import NDArray

from ..capture.record import Floats
from ..capture.step_line import through

DRIFT = 200e-6  # of the rate, from one end of a recording to the other
BENDS = 2  # tried on both sides of none, where the drift would blur the edges
SEED_EDGES = 4096  # edges of the stretch that the rate is sought in
SEED_CELLS = 1 << 18  # and the cells that it is divided into
CELL = 1 / 8  # of a step
ALIKE = 0.7  # of the best sum of vectors: rates that reach it are candidates
WIDE = 64.0  # times slower and faster than predicted that a clock may run if nothing is known
NOISE = 1.2  # times the root of the number of edges: a sum may be so much smaller by chance
MOST = 16  # candidates
ASTRAY = 2.0  # times beyond the rates that are asked for no clock runs, however it was found
SAMPLE = 1 << 16  # edges that are looked at, evenly chosen, where there are more
FEW_EDGES_KEPT = 8  # edges that tell how they keep to a clock
FEW_EDGES = 512  # by which candidates among all rates are chosen
BAND = 4.0  # rates are sought in bands, the highest of which is so many times the lowest
BLOCK = 512  # edges that give one phase: a drift of 200 ppm bends so many by a hundredth of a step
SPREADS = (
    0.01,
    0.02,
    0.04,
    0.07,
    0.1,
    0.15,
    0.2,
    0.25,
    0.3,
)  # of edges, in steps: one of these codes their times
NORMAL = 1.96  # standard deviations within which 95 % of a normal distribution lie
ODD = 0.02  # edges that keep to no clock


@dataclass(frozen=True)
class Clock:
    """Times `x` of the recording are at the steps `u` (both rise), straight in between and beyond.

    `rate` is steps per unit of time, `rate_sigma` its standard deviation; `sigma` that of a step count, `stray` what 99
    % of the edges keep within. `handicap` is by how many bits its edges' times cost more than by the best clock,
    `credit` how many bits it is worth that a clock of this rate was found among all rates. `given` is a clock that was
    recorded. `cost` is what the edges' times cost by it, `spread` their standard deviation in steps.
    """

    x: Floats
    u: Floats
    rate: float
    rate_sigma: float
    sigma: float
    stray: float
    handicap: float = 0.0
    credit: float = 0.0
    given: bool = False
    cost: float = 0.0
    spread: float = 0.1

    def steps(self, times: Floats) -> Floats:
        return through(times, self.x, self.u)

    def times(self, steps: Floats) -> Floats:
        return through(steps, self.u, self.x)


def steady(rate: float, phase: float = 0.0, stray: float = 0.3) -> Clock:
    """A clock of this rate that nobody doubts."""
    return Clock(np.array([0.0, 1.0]), phase + np.array([0.0, rate]), rate, 0.0, 0.0, stray)


def clocks(times: Floats, phases: Floats, low: float, high: float) -> list[Clock]:
    """The clocks at rates from `low` to `high` on which edges at these rising times are at these places in a step.

    The best comes first; none where the edges keep to no clock.
    """
    if len(times) < 2 or times[0] == times[-1]:
        return []
    rough: list[tuple[int, float, float, slice]] = []
    bands = max(1, round(math.log(high / low, BAND)))
    for low_, high_ in pairwise(np.geomspace(low, high, bands + 1).tolist()):
        seed = _densest(times, high_)
        for rate, bend in _peaks(times[seed], phases[seed], low_, high_):
            part = slice(seed.start, min(seed.stop, seed.start + FEW_EDGES))
            cost = (
                _refined(times[part], phases[part], slice(0, part.stop - part.start), rate, bend)[0]
                if bands > 1
                else 0.0
            )
            rough.append((round(cost), rate, bend, seed))
    rough = sorted(rough, key=lambda four: four[:2])[:MOST] if bands > 1 else rough
    found = [_refined(times, phases, seed, rate, bend) for _, rate, bend, seed in rough]
    # Few edges may be explained better by a rate that nobody asked for.
    found = [pair for pair in found if low / ASTRAY <= pair[1].rate <= high * ASTRAY]
    kept: list[tuple[float, Clock]] = []
    # Twice a rate explains as much: the slowest comes first.
    for cost, clock in sorted(found, key=lambda pair: (round(pair[0]), pair[1].rate)):
        if not any(_same(clock, other, times) for _, other in kept):
            kept.append((cost, clock))
    rates = max((high - low) * float(times[-1] - times[0]), 1.0) * len(SPREADS)
    rarity = credit(low, high)
    return [
        replace(
            clock,
            cost=cost,
            handicap=cost - kept[0][0],
            credit=min(max(-cost - math.log2(rates), 0.0), rarity),
        )
        for cost, clock in kept[:MOST]
    ]


def credit(low: float, high: float) -> float:
    """How many bits it says that a rate lies between these, of all that are up to `WIDE` times slower or faster."""
    return math.log2(max(2 * math.log(WIDE) / math.log(high / low), 1.0))


def keeping(clock: Clock, times: Floats, phases: Floats, most: float) -> Clock:
    """A clock that was not found by these edges: how they keep to it, and what that is worth, `most` bits at most."""
    if len(times) < FEW_EDGES_KEPT:
        return clock
    rest = _wrapped(clock.steps(times), phases)
    worth = -_time_bits(rest) - math.log2(len(SPREADS))
    spread, stray = _spread(rest)
    return replace(clock, credit=min(max(worth, 0.0), most), spread=spread, stray=stray)


def _spread(rest: Floats) -> tuple[float, float]:
    """The standard deviation of edges in steps, and what 99 % of them keep within."""
    near = np.abs(rest) < 0.45
    spread = max(float(rest[near].std()) if near.any() else 0.3, 0.003)
    return spread, min(float(np.quantile(np.abs(rest), 0.99)), 0.5)


def _same(one: Clock, other: Clock, times: Floats) -> bool:
    """Whether two clocks count the same steps, wherever they begin."""
    apart = one.steps(times[[0, -1]]) - other.steps(times[[0, -1]])
    return bool(np.ptp(apart) < 0.5 and np.abs(apart - np.round(apart)).max() < 0.2)


def _densest(times: Floats, high: float) -> slice:
    """The stretch in which the rate is sought: not too many edges and not too long."""
    longest = SEED_CELLS * CELL / high
    count = min(len(times), SEED_EDGES)
    if times[count - 1] - times[0] <= longest and count == len(times):
        return slice(0, count)
    ends = np.minimum(np.searchsorted(times, times + longest, side="right"), np.arange(len(times)) + count)
    begin = int(np.argmax(ends - np.arange(len(times))))
    return slice(begin, int(ends[begin]))


def _peaks(times: Floats, phases: Floats, low: float, high: float) -> Iterator[tuple[float, float]]:
    """Rates and bends at which the edges' vectors add up to nearly the most."""
    cell = CELL / high
    middle, span = (times[0] + times[-1]) / 2, max(float(times[-1] - times[0]), cell)
    size = scipy.fft.next_fast_len(int(4 * (span / cell + 2)))
    place = ((times - times[0]) / cell + 0.5).astype(np.int64)
    bend = DRIFT * span * (low + high) / 16  # in the middle, at the most
    shape = 1 - (2 * (times - middle) / span) ** 2
    bends = np.linspace(-bend, bend, 2 * BENDS + 1) if bend > 0.1 else np.zeros(1)
    # In what is so short that not a quarter of a step lies in it, no clock stands still.
    first, last = max(int(low * cell * size), 1), max(int(np.ceil(high * cell * size)), 1) + 1
    sums = []
    for some in bends:
        vectors = np.exp(2j * np.pi * (some * shape - phases))
        binned = np.bincount(place, vectors.real, size) + 1j * np.bincount(place, vectors.imag, size)
        # The inverse transform turns with the rate; its factor is that of the mean.
        sums.append(np.abs(scipy.fft.ifft(binned)[first:last]) * size)
    table = np.array(sums)
    best = table.max(axis=0)
    least = min(ALIKE * best.max(), best.max() - NOISE * math.sqrt(len(times)))
    around = np.pad(best, 1)
    tops = np.flatnonzero((best >= around[:-2]) & (best >= around[2:]) & (best >= least))
    for at in tops[np.argsort(-best[tops], kind="stable")[:MOST]].tolist():
        yield (first + at) / (cell * size), float(bends[table[:, at].argmax()])


def _refined(times: Floats, phases: Floats, seed: slice, rate: float, bend: float) -> tuple[float, Clock]:
    """The clock near this rate, and what the times of the edges cost by it."""
    begin, end = seed.start, seed.stop
    middle = float(times[begin] + times[end - 1]) / 2
    span = max(float(times[end - 1] - times[begin]), CELL / rate)
    law = np.array([bend, rate, -bend * 4 / span**2])  # steps = law[0] + law[1] * t + law[2] * t * t
    turned = np.exp(2j * np.pi * (_of(law, times[begin:end] - middle) - phases[begin:end]))
    law[0] -= np.angle(turned.sum()) / (2 * np.pi)
    doubt = 0.0
    most = DRIFT * rate / 2 / max(float(times[-1] - times[0]), CELL / rate)
    while True:
        for _ in range(3):
            some = slice(begin, end, 1 + (end - begin) // SAMPLE)
            law, doubt = _squares(times[some] - middle, phases[some], law, most)
        if begin == 0 and end == len(times):
            break
        more = (end - begin) // 2 + 1
        begin, end = max(0, begin - more), min(len(times), end + more)
    some = slice(None, None, 1 + len(times) // SAMPLE)
    return _clock(times[some], phases[some], law, middle, doubt)


def _of(law: Floats, t: Floats) -> Floats:
    out: Floats = law[0] + t * (law[1] + t * law[2])
    return out


def _wrapped(steps: Floats, phases: Floats) -> Floats:
    """How far behind its place in a step each edge is, from -1/2 to 1/2."""
    rest: Floats = (phases - steps + 0.5) % 1.0 - 0.5
    return rest


def _squares(t: Floats, phases: Floats, law: Floats, most: float) -> tuple[Floats, float]:
    """The law corrected by the edges' phases, its bend kept to what a clock may drift; and the rate's standard
    deviation."""
    rest = _wrapped(_of(law, t), phases)
    near = np.abs(rest) < 0.45
    t, rest = t[near], rest[near]
    if len(t) < 2:
        return law, 0.0
    scale = float(np.abs(t).max())
    if not scale:
        return law, 0.0
    x = t / scale
    design = np.stack([np.ones(len(x)), x, x * x], axis=1)
    spread = max(float(rest.std()) * math.sqrt(len(x) / max(len(x) - 2, 1)), 1e-6)
    # The drift's own standard deviation is half of what is stated.
    prior = np.diag([0.0, 0.0, (spread / max(most * scale**2 / 2, 1e-12)) ** 2])
    inverse = np.linalg.pinv(design.T @ design + prior)
    change = inverse @ (design.T @ rest - prior @ np.array([0.0, 0.0, law[2] * scale**2]))
    new: Floats = law + change / np.array([1.0, scale, scale**2])
    new[2] = np.clip(new[2], -1.2 * most, 1.2 * most)
    # Of few edges the spread is known badly: twice what is stated shall hold the truth in 95 of 100 cases still.
    few = float(scipy.special.stdtrit(len(x) - 2, 0.975)) / NORMAL if len(x) > 2 else 1.0
    return new, few * spread * math.sqrt(max(float(inverse[1, 1]), 0.0)) / scale


def _clock(times: Floats, phases: Floats, law: Floats, middle: float, doubt: float) -> tuple[float, Clock]:
    t = times - middle
    straight = _of(law, t)
    blocks = max(1, len(t) // BLOCK)
    bounds = np.linspace(0, len(t), blocks + 1).astype(np.int64)
    if blocks > 3:
        turned = np.add.reduceat(np.exp(2j * np.pi * _wrapped(straight, phases)), bounds[:-1])
        late = np.unwrap(np.angle(turned)) / (2 * np.pi)
        x = np.add.reduceat(times, bounds[:-1]) / np.diff(bounds)
        u = _of(law, x - middle) + late
    else:
        x = np.linspace(times[0], times[-1], 9)
        u = _of(law, x - middle)
    if np.diff(x).min() <= 0 or np.diff(u).min() <= 0:
        x, u = times[[0, -1]].astype(np.float64), straight[[0, -1]]
    rest = _wrapped(through(times, x, u), phases)
    instants = 1 + int((np.diff(times) * law[1] > 0.3).sum())
    spread, stray = _spread(rest)
    clock = Clock(
        x,
        u,
        float(law[1]),
        doubt,
        2 * spread / float(np.sqrt(min(max(len(t), 1), BLOCK))),
        stray,
        spread=spread,
    )
    return _time_bits(rest) * instants / len(times), clock


def _time_bits(rest: NDArray[np.float64]) -> float:
    """What it costs to say where in a step the edges are, beside saying nothing: wrapped normal, of some spread."""
    costs = []
    for spread in SPREADS:
        turns = np.array([-1.0, 0.0, 1.0])[:, None]
        density = np.exp(-0.5 * ((rest + turns) / spread) ** 2).sum(axis=0) / (spread * np.sqrt(2 * np.pi))
        costs.append(float(-np.log2((1 - ODD) * density + ODD).sum()))
    return min(costs)
