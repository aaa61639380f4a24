"""A recording and its predictions in the same form: one row for each moment at which lines keep still in a step.

Theory of operation. A line changes at few places in a step: those at which it does in the prediction. Half-way between
them it keeps still, and there it is read, in the recording and in every prediction, once a step or oftener. Then a
placement is a number of rows, and a comparison one exclusive or. A level is read only where it can be told: in the
prediction where the line keeps still for as long as edges stray, and in the recording where no edge stands beside it.
"""

from __future__ import annotations

import math
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from forelight.sim.frozen import frozen
from forelight.sim.levels import UNKNOWN
from numpy.typing import NDArray

from ..capture.record import Floats, Ints, Levels, RecordedLine, places
from .reference import Foretold

if TYPE_CHECKING:
    from .clock import Clock

Words = NDArray[np.unsignedinteger]
#: The times at one place in a step, and which of them count.
_Counting = tuple[Floats, NDArray[np.bool_]]

STILL = 0.45  # a line that keeps still for this part of a step on both sides is read whatever the jitter
WIDE = 0.3  # part of a step for which a line keeps still that changes at several places in a step
RARE = 0.02  # of a line's changes: places in a step that are rarer do not say where it keeps still
MANY = 1 << 17  # changes of a line that tell where they come
STRETCHES = 64  # in which these lie
CELLS = 64  # of a step, by which places in it are counted
FURTHER = 1.25  # times what 99 % of the edges keep within: further none strays
FURTHEST = 0.75  # of a step
DEAR = 30.0  # bits: an edge that cost more to stray has not strayed
ANYWHERE = 8  # rows of a step in which lines change anywhere


@frozen
class Strays:
    """Levels of a recording that were read so near to an edge that it may have strayed over the moment.

    `sides` are two words for each row, with a bit for each line: whether the edge before the moment may have come too
    early, and whether the one after it may have come too late. By side and line `cost` says how many bits that is,
    for the `rows` (rising).
    """

    sides: tuple[Words, Words]
    rows: tuple[tuple[Ints, ...], tuple[Ints, ...]]
    cost: tuple[tuple[Floats, ...], tuple[Floats, ...]]

    def bits(self, side: int, line: int, rows: Ints) -> Floats:
        """What it costs that these rows of a line were read on the wrong side of an edge."""
        return self.cost[side][line][np.searchsorted(self.rows[side][line], rows)]


@frozen
class ReadRows:
    """`levels` and `known` are words with a bit for each line; row n * `slots` + k is the k-th moment of a step.

    Row 0 belongs to the step that begins at `first` on the prediction's time axis. `strays` are those of a recording.
    A prediction's `hold` is what its lines show at the moments of each step for which restart is held, in words too.
    """

    levels: Words
    known: Words
    slots: int
    first: int = 0
    strays: Strays | None = None
    hold: tuple[Words, Words] | None = None

    @property
    def sure(self) -> Words:
        """The known levels that do not stand beside an edge which may have strayed."""
        return self.known & ~(self.strays.sides[0] | self.strays.sides[1]) if self.strays else self.known

    @property
    def moved(self) -> Words:
        """The lines that are known to change from each row to the next."""
        levels, known = self.levels, self.known
        return (levels[1:] ^ levels[:-1]) & known[1:] & known[:-1]


def mask_of(names: Sequence[str], among: Container[str]) -> int:
    """A word with the bits of those lines, of all that `names` gives the order of."""
    return sum(1 << bit for bit, name in enumerate(names) if name in among)


@frozen
class Moments:
    """Where in a step each line is read: parts of a step from its beginning on the prediction's axis, rising."""

    names: tuple[str, ...]
    places: tuple[tuple[float, ...], ...]
    halves: tuple[tuple[float, ...], ...] = ()  # for how long it keeps still before each
    rise: float = 0.0  # the last one under restart
    held: tuple[tuple[str, int], ...] = ()  # lines that are held at that level then

    @property
    def lines(self) -> int:
        """How many there are, with those that are asked about twice."""
        return len(self.names) + len(self.held)

    @property
    def slots(self) -> int:
        return max((len(places) for places in self.places), default=1)


def moments(reference: Foretold, names: tuple[str, ...]) -> Moments:
    """Where these lines keep still; one that never changes is read where the others are."""
    phases = {name: _some(changes(reference, name)) % 1.0 for name in names}
    still = [_still(phases[name]) for name in names]
    if not all(still):
        usual = _still(_some(every_change(reference, names)) % 1.0) or ((0.49, 0.49),)
        still = [some or usual for some in still]
    first, second = (tuple(tuple(pair[n] for pair in pairs) for pairs in still) for n in (0, 1))
    return Moments(names, first, second, reference.since % 1.0, _held(reference, names))


def _some(times: Floats) -> Floats:
    """All of these, or some stretches of them where they are many."""
    if len(times) <= MANY:
        return times
    begins = np.linspace(0, len(times) - MANY // STRETCHES, STRETCHES).astype(np.int64)
    return np.concatenate([times[begin : begin + MANY // STRETCHES] for begin in begins])


def moves(reference: Foretold, name: str) -> tuple[Floats, Levels]:
    """When a line changes from one known level to the other, from the prediction's start on, and to which."""
    line = reference.lines[name]
    known = (line.levels[1:] != UNKNOWN) & (line.levels[:-1] != UNKNOWN) & (line.times[1:] >= reference.since)
    return line.times[1:][known], line.levels[1:][known]


def changes(reference: Foretold, name: str) -> Floats:
    """When it does."""
    return moves(reference, name)[0]


def every_change(reference: Foretold, names: Iterable[str], most: int | None = None) -> Floats:
    """When these lines do, the first `most` times each; where no level is known on both sides of a change, when they
    come to be known or are so no more, which is at the same places in a step."""
    found = np.concatenate([np.zeros(0), *(changes(reference, name)[:most] for name in names)])
    if len(found):
        return found
    times = [reference.lines[name].times[1:] for name in names]
    return np.concatenate([np.zeros(0), *(some[some >= reference.since][:most] for some in times)])


def _still(phases: Floats) -> tuple[tuple[float, float], ...]:
    """The middles of the wide gaps between places in a step that are not rare, and half of each; none where nothing
    changes."""
    if not len(phases):
        return ()
    cell = (phases * CELLS + 0.5).astype(np.int64) % CELLS
    counts = np.bincount(cell, minlength=CELLS)
    used = np.flatnonzero(counts > RARE * len(phases))
    if not len(used):
        return tuple(((n + 0.5) / ANYWHERE, 0.5 / ANYWHERE) for n in range(ANYWHERE))
    # Places exactly, not by cells.
    late = (phases - cell / CELLS + 0.5) % 1.0 - 0.5
    exact = used / CELLS + np.bincount(cell, late, CELLS)[used] / counts[used]
    gaps = np.diff(exact, append=exact[0] + 1)
    wide = np.flatnonzero(gaps > WIDE) if gaps.max() > WIDE else [int(gaps.argmax())]
    return tuple(sorted((float(exact[at] + gaps[at] / 2) % 1.0, float(gaps[at]) / 2) for at in wide))


def _held(reference: Foretold, names: tuple[str, ...]) -> tuple[tuple[str, int], ...]:
    """The inputs that a hand moves to let go of restart, and the levels at which it held them."""
    moved = [name for name in names if name.startswith("i") and _moves(reference, reference.lines[name])]
    return tuple((name, int(reference.lines[name].at(np.array([reference.freed]))[0])) for name in moved)


def predicted(reference: Foretold, at: Moments, stray: float) -> ReadRows:
    """What a prediction shows at these moments; nothing of it counts before the slot is up.

    Unknown is what is unsettled, what lies within `stray` steps of a change, and a line that moves because restart is
    let go, in the step in which that happens: a hand lets go anywhere in it.
    """
    first, last = int(np.floor(reference.since)), int(np.ceil(reference.end))
    rows = _empty(last - first, at.slots, first, at.lines)
    steps = np.arange(first, last, dtype=np.float64)
    found: dict[float, _Counting] = {}
    for bit, (name, places_) in enumerate(zip(at.names, at.places, strict=True)):
        line = reference.lines[name]
        free = _let_go(reference, line)
        for slot, place in enumerate(places_):
            if place not in found:
                times = steps + place
                found[place] = times, (times > reference.since) & (times < reference.end)
            times, counts = found[place]
            read = _read(line, times, min(stray, STILL))
            told = (read.level != UNKNOWN) & ~read.near & counts
            if free is not None:
                told[slice(*np.searchsorted(times, free))] = False
            _put(rows, bit, slot, read.level, told)
    hold = _hold(rows, at, reference.since) if reference.onward > 0 else None
    for bit, _ in enumerate(at.held, len(at.names)):
        for words in (rows.levels, rows.known):
            words[:1] |= words.dtype.type(1 << bit)
    return replace(rows, hold=hold)


def _hold(rows: ReadRows, at: Moments, since: float) -> tuple[Words, Words]:
    """What the last step under restart shows at each moment, which is in it or, in the next row, in its end."""
    hold = np.zeros((2, rows.slots), rows.levels.dtype)
    for bit, places_ in enumerate(at.places):
        mask = rows.levels.dtype.type(1 << bit)
        for slot, place in enumerate(places_):
            row = slot + rows.slots * (rows.first + place <= since)
            if row < len(rows.levels):
                hold[:, slot] |= mask & np.array([rows.levels[row], rows.known[row]])
    return hold[0], hold[1]


def recorded(
    lines: Mapping[str, RecordedLine], at: Moments, clock: Clock, bounds: tuple[float, float], doubt: float
) -> ReadRows:
    """What a recording shows at these moments, by a clock that is sure to `doubt` steps, within its `bounds`.

    For each line that a hand must have held at a certain rise there is one line more: whether it was held then.
    """
    low, high = clock.steps(np.array(bounds)).tolist()
    first, last = int(np.floor(low)), int(np.ceil(high))
    rows = _empty(last - first, at.slots, first, at.lines)
    strays = _Straying(rows, clock)
    found: dict[float, _Counting] = {}
    for bit, (name, places_) in enumerate(zip(at.names, at.places, strict=True)):
        for slot, place in enumerate(places_):
            if place not in found:
                times = clock.times(np.arange(first, last, dtype=np.float64) + place)
                found[place] = times, (times >= bounds[0]) & (times <= bounds[1])
            times, inside = found[place]
            half = at.halves[bit][slot]
            reach = strays.reach(half)
            read = _read(lines[name], times, doubt / clock.rate, reach / clock.rate)
            _put(rows, bit, slot, read.level, (read.level != UNKNOWN) & ~read.near & inside)
            strays.add(bit, slot, half, read.beside)
    rise = np.arange(first, last, dtype=np.float64) + at.rise
    edges = [clock.times(rise + side) for side in (-STILL, STILL)]
    inside = (edges[0] >= bounds[0]) & (edges[1] <= bounds[1])
    for bit, (name, active) in enumerate(at.held, len(at.names)):
        line = lines[name]
        change, seen = np.searchsorted(line.times, edges), [line.at(times) for times in edges]
        still = (change[0] == change[1]) & (seen[0] == 1 - active)
        _put(rows, bit, 0, 1 - still.astype(np.uint8), inside)
    return replace(rows, strays=strays.found())


class _Straying:
    """Gathers the levels of a recording that stand beside an edge.

    An edge that keeps still for `half` a step before it and is read as though it had strayed further, by a distance d,
    is less likely than if it had strayed less by as much the other way: by 2 half d / spread^2 in natural logarithms,
    if edges stray as the normal distribution says.
    """

    def __init__(self, rows: ReadRows, clock: Clock) -> None:
        self.slots, self.clock = rows.slots, clock
        self.sides = (np.zeros_like(rows.levels), np.zeros_like(rows.levels))
        self.parts: dict[tuple[int, int], list[tuple[Ints, Floats]]] = {}

    def reach(self, half: float) -> float:
        """How far beyond the moment, in steps, an edge may stray."""
        clock = self.clock
        most = min(FURTHER * clock.stray + 2 * clock.sigma, FURTHEST) - half
        return max(min(most, DEAR * math.log(2) * self._variance / (2 * half)), 0.0)

    @property
    def _variance(self) -> float:
        return self.clock.spread**2 + self.clock.sigma**2

    def add(self, bit: int, slot: int, half: float, beside: Sequence[tuple[Ints, Floats]]) -> None:
        for side, (steps, apart) in enumerate(beside):
            rows = steps * self.slots + slot
            self.sides[side][rows] |= self.sides[side].dtype.type(1 << bit)
            cost = 2 * half * apart * self.clock.rate / (math.log(2) * self._variance)
            self.parts.setdefault((side, bit), []).append((rows, cost))

    def found(self) -> Strays:
        rows: list[list[Ints]] = [[], []]
        cost: list[list[Floats]] = [[], []]
        for side in (0, 1):
            for bit in range(1 + max((bit for _, bit in self.parts), default=-1)):
                here = [np.concatenate(column) for column in zip(*self.parts[side, bit], strict=True)]
                order = np.argsort(here[0], kind="stable")
                rows[side].append(here[0][order])
                cost[side].append(here[1][order])
        return Strays(self.sides, (tuple(rows[0]), tuple(rows[1])), (tuple(cost[0]), tuple(cost[1])))


def _empty(steps: int, slots: int, first: int, lines: int) -> ReadRows:
    count = max(steps, 0) * slots
    word = np.min_scalar_type((1 << lines) - 1)
    return ReadRows(np.zeros(count, word), np.zeros(count, word), slots, first)


def _put(rows: ReadRows, bit: int, slot: int, level: NDArray[np.uint8], told: NDArray[np.bool_]) -> None:
    part = slice(slot, None, rows.slots)
    rows.levels[part] |= ((level == 1) & told).astype(rows.levels.dtype) << bit
    rows.known[part] |= told.astype(rows.levels.dtype) << bit


def _let_go(reference: Foretold, line: RecordedLine) -> tuple[float, float] | None:
    """The time in which the line does as the hand that lets go of restart does, if it does."""
    return (reference.since, reference.onward + STILL) if _moves(reference, line) else None


def _moves(reference: Foretold, line: RecordedLine) -> bool:
    return len(line.times) > 1 and bool(
        np.diff(np.searchsorted(line.times, [reference.freed, reference.onward]))[0] > 0
    )


@frozen
class _Read:
    """A line's level at rising times, which of them lie near a change, and those that lie beside one: the change
    before them, and the one after them, each with its distance."""

    level: NDArray[np.uint8]
    near: NDArray[np.bool_]
    beside: tuple[tuple[Ints, Floats], tuple[Ints, Floats]]


def _read(line: RecordedLine, times: Floats, room: float, reach: float = 0.0) -> _Read:
    """The line's level at these rising times, which of them lie within `room` of a change, and within `reach`."""
    nothing = np.zeros(0, np.int64), np.zeros(0)
    if len(line.times) == 1:  # it never changes
        level = np.full(len(times), line.levels[0], np.uint8)
        level[: np.searchsorted(times, line.times[0])] = UNKNOWN
        return _Read(level, np.zeros(len(times), bool), (nothing, nothing))
    slot: Ints = places(times, line.times)  # how many of the times come before each change
    runs = np.diff(np.concatenate([[0], slot, [len(times)]]))
    level = np.repeat(np.concatenate([[np.uint8(UNKNOWN)], line.levels]), runs)
    near = np.zeros(len(times), bool)
    beside = []
    for before, side in ((True, slot[1:]), (False, slot[1:] - 1)):
        inner = slice(*np.searchsorted(side, [0, len(times)]))
        apart = np.abs(line.times[1:][inner] - times[side[inner]])
        near[side[inner][apart < room]] = True
        if not reach:
            beside.append(nothing)
            continue
        some = np.flatnonzero(apart < reach)
        rows, apart = side[inner][some], apart[some]
        # Of several edges between two moments the nearest.
        one = np.ones(len(rows), bool)
        one[slice(None, -1) if before else slice(1, None)] = np.diff(rows) > 0
        beside.append((rows[one], apart[one]))
    return _Read(level, near, (beside[0], beside[1]))


def row_times(reference: Foretold) -> Floats:
    """When the rows of `foretold_list` begin, in the reference's unit."""
    times: Floats = np.concatenate([[reference.since], reference.rises[reference.rises > reference.since]])
    return times


def foretold_list(reference: Foretold, names: tuple[str, ...]) -> ReadRows:
    """What an eye sees at the end of each step, from the one on in which the slot is up; `first` is its number."""
    begins = row_times(reference)
    ends = np.append(begins[1:], reference.end)
    rows = _empty(len(begins), 1, int(reference.step_at(begins[:1])[0]), len(names))
    for bit, name in enumerate(names):
        row = np.searchsorted(reference.lines[name].times, ends, side="left") - 1
        level = reference.lines[name].levels[np.maximum(row, 0)]
        _put(rows, bit, 0, level, (level != UNKNOWN) & (row >= 0))
    return rows


def seen_list(
    lines: Mapping[str, RecordedLine], names: tuple[str, ...], start: float, end: float
) -> ReadRows:
    """What an eye wrote down, step by step; `first` is the number of its first step."""
    steps = np.arange(int(np.floor(start)), int(np.ceil(end)), dtype=np.float64)
    rows = _empty(len(steps), 1, int(steps[0]), len(names))
    for bit, name in enumerate(names):
        level = lines[name].at(steps + 0.5)
        _put(rows, bit, 0, level, level != UNKNOWN)
    return rows
