"""What to try next: the most bits learned for the fewest switches moved.

What a try is expected to tell is the entropy of its outcome (Shannon 1948), in bits. That an untried slot agrees is as
likely as the chip's own tries say by Laplace's rule of succession (1814): (agreeing + 1) / (decided + 2). A single
recording that differs may be a slip of the hand as well as a fault, and people who contradict each other may each be
right: a bit each. Of causes with odds, the experiment that parts the first two tells the entropy of that choice, times
the odds that it is one of them. Where a recording agrees that would have shown but a share of all stuck-at faults, what
is left is the chance of one that it would not (Bayes). To turn the selector and record counts as much work as to move
one switch (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from math import log2

from forelight.sim.frozen import frozen

from ..verdict.kinds import AGREES, DIFFERS, INCONCLUSIVE, WHICH_CAUSE
from .answers import parting, proved, remedies
from .attempt import Attempt, Details
from .setup import Setup, Walk
from .standing import SlotStanding

#: A recording with less evidence that it agrees is worth a second one: odds of a million to one.
SURE_BITS = 19.93
#: A recording that agrees and would have shown fewer of the faults leaves something to be learned.
MOST_FAULTS = 0.95
#: Stretches of so many set-ups are put into the best order of all; there are 40320 of eight.
STRETCH = 8


@frozen
class Worth:
    """Why a slot is worth a try, and what that may tell in bits; the `experiment`, a procedure of actions as they are
    written, where one was named that parts two causes; what to do otherwise than before (`means`); the try that is to
    be made `again` as it was; or that only a run tells something that was not tried (`otherwise`)."""

    why: str
    bits: float
    experiment: tuple[str, ...] = ()
    means: str = ""
    again: Attempt | None = None
    otherwise: bool = False


@frozen
class Candidate:
    """A slot to be tried, and how the switches stand once it is brought up."""

    standing: SlotStanding
    setup: Setup
    worth: Worth


@frozen
class Visit:
    """A task in its place, with the switches that are moved for it."""

    task: Candidate
    before: Setup
    moves: int


def wanted(
    found: Iterable[SlotStanding],
    details: Mapping[str, Details],
    setup_of: Callable[[SlotStanding, Worth], Setup | None],
) -> list[Candidate]:
    """A task for each slot about which something is still to be learned; `details` are those of the deciding tries.

    A slot for which `setup_of` is None cannot be brought up, and is left out.
    """
    standings = [one for one in found if one.slot is not None]
    chance = agreeing(standings)
    tasks = []
    for one in standings:
        said = details.get(one.deciding.id, Details()) if one.deciding else Details()
        worth = _worth(one, said, chance)
        if worth is not None and (setup := setup_of(one, worth)) is not None:
            tasks.append(Candidate(one, setup, worth))
    return tasks


def agreeing(found: Iterable[SlotStanding]) -> float:
    """How likely it is that an untried slot agrees."""
    kinds = [one.kind for one in found]
    good, bad = kinds.count(AGREES), kinds.count(DIFFERS)
    return (good + 1) / (good + bad + 2)


def entropy(chance: float) -> float:
    """Of a choice between two, in bits."""
    return sum(-p * log2(p) for p in (chance, 1 - chance) if p > 0)


def _worth(one: SlotStanding, said: Details, chance: float) -> Worth | None:
    """What a slot is worth a try for; `chance` is that an untried one agrees."""
    fresh = entropy(chance)
    if one.deciding is None:
        return Worth("untried", fresh)
    if one.against is not None:
        names = " and ".join(attempt.who or "somebody" for attempt in (one.deciding, one.against))
        return Worth(f"{names} contradict each other", 1.0, again=one.deciding)
    if one.kind == INCONCLUSIVE:
        return Worth("inconclusive", fresh, means=next(iter(remedies(said)), ""))
    if one.kind == DIFFERS:
        return _differing(one, one.deciding, said)
    return _weak(one.deciding, said, chance) if one.kind == AGREES else None


def _differing(one: SlotStanding, differed: Attempt, said: Details) -> Worth | None:
    """What a slot is worth another try for that differs: to part two causes, or to tell a slip from a fault."""
    made = parting(said)
    if made is not None and WHICH_CAUSE not in one.procedures:
        first, both = made.shares[0], sum(made.shares)
        return Worth(
            "differs, and two causes can be parted",
            min(both, 1.0) * entropy(first / both),
            made.do,
            made.means,
        )
    means = next(iter(remedies(said)), "")
    once = Worth("differs once: a slip, or a fault?", 1.0, means=means, again=differed)
    return once if one.repeated < 2 else None


def _weak(agreed: Attempt, said: Details, chance: float) -> Worth | None:
    """What a slot is worth a second try for that agrees."""
    if agreed.command == "count":
        return Worth("only its rate was counted", entropy(chance))
    bits = agreed.evidence or 0.0
    if bits < SURE_BITS:
        return Worth("agrees on weak evidence", entropy(2.0 ** -max(bits, 1.0)), again=agreed)
    share = proved(said)
    if share is None or share >= MOST_FAULTS:
        return None
    missed = (1 - chance) * (1 - share)
    why = f"agrees, and would have shown {share:.0%} of all faults"
    return Worth(why, entropy(missed / (missed + chance)), otherwise=True)


def plan(tasks: Sequence[Candidate], walk: Walk, start: Setup, most: int) -> list[Visit]:
    """The next tries, at most so many: those that tell the most for the work, in the order that moves the fewest
    switches; tasks with one set-up stay together."""
    chosen = _chosen(tasks, walk, start, most)
    groups: dict[Setup, list[Candidate]] = {}
    for task in chosen:
        groups.setdefault(task.setup, []).append(task)
    visits, stand = [], start
    for setup in ordered(list(groups), walk, start):
        for task in sorted(groups[setup], key=lambda one: (-one.worth.bits, one.standing.slot or 0)):
            visits.append(Visit(task, stand, walk.moves(stand, setup)))
            stand = walk.then(stand, setup)
    return visits


def _chosen(tasks: Sequence[Candidate], walk: Walk, start: Setup, most: int) -> list[Candidate]:
    """The best by bits for work, one after another, each from where the one before leaves the switches."""
    groups: dict[Setup, list[Candidate]] = {}
    for task in sorted(tasks, key=lambda one: (one.worth.bits, -(one.standing.slot or 0))):
        groups.setdefault(task.setup, []).append(task)  # the best last
    chosen, stand = list[Candidate](), start
    while groups and len(chosen) < most:
        setup = max(
            groups, key=lambda one: (groups[one][-1].worth.bits / (1 + walk.moves(stand, one)), -one.inputs)
        )
        chosen.append(groups[setup].pop())
        stand = walk.then(stand, setup)
        if not groups[setup]:
            del groups[setup]
    return chosen


def ordered(setups: Sequence[Setup], walk: Walk, start: Setup) -> list[Setup]:
    """The set-ups in an order that moves few switches: always the nearest next, and then each stretch of `STRETCH` in
    the best order that there is between its neighbours (Held and Karp 1962); so the fewest where they are no more."""
    left, path, stand = list(setups), list[Setup](), start
    while left:
        nearest = min(left, key=lambda one: (walk.moves(stand, one), one.code or 0, one.inputs))
        left.remove(nearest)
        path.append(nearest)
        stand = walk.then(stand, nearest)
    for first in range(0, len(path), STRETCH // 2):
        before = _after(start, path[:first], walk)
        follows = path[first + STRETCH : first + STRETCH + 1]
        path[first : first + STRETCH] = _best(path[first : first + STRETCH], walk, before, follows)
    return path


def _after(start: Setup, path: Iterable[Setup], walk: Walk) -> Setup:
    for setup in path:
        start = walk.then(start, setup)
    return start


def _best(some: Sequence[Setup], walk: Walk, before: Setup, follows: Sequence[Setup]) -> list[Setup]:
    """Of all orders the one with the fewest moves. One is kept for each set of those that are done, the last of them,
    and the code that the divider then has."""
    Place = tuple[int, int, int | None]
    reached: dict[Place, tuple[int, Setup, list[int]]] = {(0, -1, before.code): (0, before, [])}
    for _ in some:
        onward: dict[Place, tuple[int, Setup, list[int]]] = {}
        for (done, _, _), (moves, state, order) in reached.items():
            for n, one in enumerate(some):
                if done >> n & 1:
                    continue
                then = walk.then(state, one)
                place, cost = (done | 1 << n, n, then.code), moves + walk.moves(state, one)
                if place not in onward or cost < onward[place][0]:
                    onward[place] = cost, then, [*order, n]
        reached = onward
    _, _, best = min(
        reached.values(), key=lambda found: found[0] + sum(walk.moves(found[1], one) for one in follows)
    )
    return [some[n] for n in best]
