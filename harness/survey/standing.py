"""How each slot of a chip stands after all tries, and where people contradict each other."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from forelight.sim.frozen import frozen

from ..verdict.kinds import AGREES, DIFFERS, INCONCLUSIVE
from .attempt import DEFINITE, UNTOLD, WITHDRAW, Attempt, ChipRoster

UNTRIED = "untried"
#: In this order they are listed: what wants attention first.
KINDS = (DIFFERS, UNTOLD, INCONCLUSIVE, UNTRIED, AGREES)


@frozen
class SlotStanding:
    """How one slot stands. `deciding` is the try that says so, None where there is none; `against` is one of another
    person with the opposite verdict on the same question. `tries` is how many there are with a verdict, `cards` how
    many cards were made; `repeated` how many tries say the same; `procedures` are those that were tried."""

    slot: int | None
    design: str
    title: str
    kind: str
    deciding: Attempt | None = None
    against: Attempt | None = None
    tries: int = 0
    cards: int = 0
    repeated: int = 0
    procedures: frozenset[str] = frozenset()


def standings(chip: ChipRoster, attempts: Iterable[Attempt]) -> list[SlotStanding]:
    """How the slots that hold a design stand, in their order, and after them designs that were tried and are in no
    slot of the roster; `attempts` in the order of their time, all on this chip."""
    by_place: defaultdict[tuple[int | None, str], list[Attempt]] = defaultdict(list)
    for attempt in attempts:
        place = attempt.slot if attempt.slot in chip.slots else None
        by_place[place, "" if place is not None else attempt.design].append(attempt)
    on_chip = [
        standing(slot, name, by_place.get((slot, ""), ())) for slot, name in sorted(chip.slots.items())
    ]
    beside = sorted(name for place, name in by_place if place is None)
    return on_chip + [standing(None, name, by_place[None, name]) for name in beside]


def standing(slot: int | None, entry: str, attempts: Sequence[Attempt]) -> SlotStanding:
    """How one slot stands; `entry` names its design where no try does."""
    design = attempts[-1].design if attempts else Path(entry).name
    title = next((one.title for one in reversed(attempts) if one.title), "")
    judged = valid(attempts)
    gone = withdrawn(attempts)
    cards = sum(one.command == "card" and one.id not in gone for one in attempts)
    counting = current(judged)
    kind, deciding, against = _decided(counting)
    same = sum(one.verdict == kind for one in judged) if deciding else 0
    procedures = frozenset(one.procedure for one in judged if one.command == "check")
    return SlotStanding(slot, design, title, kind, deciding, against, len(judged), cards, same, procedures)


def withdrawn(attempts: Iterable[Attempt]) -> frozenset[str]:
    """The ids of the entries that a later one withdraws, unless that is withdrawn itself."""
    found: set[str] = set()
    entries = [one for one in attempts if one.command == WITHDRAW and one.again_of]
    for one in sorted(entries, key=lambda one: (one.at, one.id), reverse=True):
        if one.again_of and one.id not in found:
            found.add(one.again_of)
    return frozenset(found)


def valid(attempts: Sequence[Attempt]) -> list[Attempt]:
    """The tries with a verdict that stand; of one that was judged anew, what was said of it last."""
    found: dict[str, Attempt] = {}
    gone = withdrawn(attempts)
    for attempt in attempts:
        if attempt.verdict is not None and not {attempt.id, attempt.again_of} & gone:
            root = attempt.again_of or attempt.id
            if attempt.again_of or root not in found:
                found[root] = attempt
    return sorted(found.values(), key=lambda one: (one.at, one.id))


def current(judged: Iterable[Attempt]) -> list[Attempt]:
    """For each person and question the last try that decided it, or the last at all."""
    found: dict[tuple[str, tuple[str, str, int]], Attempt] = {}
    for attempt in judged:
        key = attempt.person, attempt.question
        before = found.get(key)
        if before is None or attempt.verdict in DEFINITE or before.verdict not in DEFINITE:
            found[key] = attempt
    return list(found.values())


def _decided(counting: Sequence[Attempt]) -> tuple[str, Attempt | None, Attempt | None]:
    """The verdict on the slot, the try that says so, and one that contradicts that."""
    for one, other in contradictions(counting):
        return UNTOLD, one, other
    for kind in (DIFFERS, AGREES, UNTOLD, INCONCLUSIVE):
        found = [one for one in counting if one.verdict == kind]
        if found:
            return kind, max(found, key=_weight), None
    return UNTRIED, None, None


def _weight(attempt: Attempt) -> tuple[bool, float, str]:
    """The more a try says, the greater: a recording more than a count, then by its evidence."""
    return attempt.command == "check", abs(attempt.evidence or 0.0), attempt.at


def contradictions(counting: Iterable[Attempt]) -> list[tuple[Attempt, Attempt]]:
    """Pairs of tries by two people who asked the same, of which one agrees and the other differs."""
    asked: defaultdict[tuple[str, str, int], list[Attempt]] = defaultdict(list)
    for attempt in counting:
        asked[attempt.question].append(attempt)
    found = []
    for tries in asked.values():
        sides = {kind: [one for one in tries if one.verdict == kind] for kind in DEFINITE}
        if all(sides.values()):
            one, other = (max(side, key=_weight) for side in sides.values())
            if one.person != other.person:
                found.append((one, other))
    return found


def tallied(found: Iterable[SlotStanding]) -> Mapping[str, int]:
    """How many slots stand in each way."""
    count = dict.fromkeys(KINDS, 0)
    for one in found:
        count[one.kind] += 1
    return count
