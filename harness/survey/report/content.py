"""What a report says, in the order in which it says it; the pages only lay it out."""

from __future__ import annotations

from collections.abc import Iterator

from ...verdict.kinds import AGREES
from ..answers import parting, proved, remedies
from ..attempt import Attempt
from ..findings import Findings
from ..standing import KINDS, SlotStanding

HEADINGS = {
    "differs": "Differs from what is foretold",
    "cannot be told": "Cannot be told",
    "inconclusive": "Inconclusive",
    "untried": "Untried",
    "agrees": "Agrees",
}


#: For one slot, and for any other number.
WORDS = {
    "agrees": ("agrees", "agree"),
    "differs": ("differs", "differ"),
    "inconclusive": ("is inconclusive", "are inconclusive"),
    "cannot be told": ("cannot be told", "cannot be told"),
    "untried": ("is untried", "are untried"),
}


def title(found: Findings) -> str:
    return f"Survey of {found.chip.board}"


def summary(found: Findings) -> str:
    """How many slots stand in each way, in a sentence."""
    counts, held = found.counts, len(found.by_slot)
    listed = ", ".join(
        f"{counts[kind]} {WORDS[kind][counts[kind] != 1]}" for kind in reversed(KINDS) if counts[kind]
    )
    hold = "holds" if held == 1 else "hold"
    return f"{held} of {found.chip.slot_count} slots {hold} a design: {listed}."


def sections(found: Findings) -> Iterator[tuple[str, list[SlotStanding]]]:
    """The kinds with their slots, those first that want attention."""
    for kind in KINDS:
        members = [one for one in found.standings if one.kind == kind]
        if members:
            yield kind, members


def name(one: SlotStanding) -> str:
    """Slot and title."""
    return " ".join(filter(None, ("" if one.slot is None else str(one.slot), one.title or one.design)))


def sentences(found: Findings, one: SlotStanding, *, names: bool) -> Iterator[str]:
    """All that is to be said of a slot that does not agree."""
    details = found.said(one)
    if one.deciding and one.against:
        yield from contradiction(found, one.deciding, one.against, names=names)
        return
    if why := found.why(one, names=names):
        yield why
    yield from details.reasons[1:]
    yield from remedies(details)
    made = parting(details)
    if made is not None and made.means:
        yield f"To tell the first two causes apart: {made.means}"
    if one.deciding:
        yield from tried(one, one.deciding, names=names)
    share = proved(details)
    if share is not None:
        yield f"The recording would have shown {share:.0%} of single stuck-at faults."


def contradiction(found: Findings, one: Attempt, other: Attempt, *, names: bool) -> Iterator[str]:
    """What each of two people found."""
    yield f"Two people tried {one.under} and contradict each other."
    for number, side in enumerate((one, other), 1):
        who = f"{side.who or 'Somebody'}, {side.at[:10]}" if names else ("One", "The other")[number - 1]
        details = found.details.get(side.id)
        why = " ".join(
            [*(details.reasons[:1] if details else ()), *([f"Note: {side.note}"] if side.note else [])]
        )
        yield f"{who}: {side.verdict}{evidence(side)}. {why}".rstrip()
    if one.design_sha256 != other.design_sha256:
        yield "They held it against two versions of the design."


def tried(one: SlotStanding, attempt: Attempt, *, names: bool) -> Iterator[str]:
    """How often it was tried and how, and what was noted."""
    how = "a count" if attempt.command == "count" else attempt.under
    often = "once" if one.tries == 1 else f"{one.tries} times"
    who = f" The try that decides is by {attempt.who or 'somebody'}, {attempt.at[:10]}." if names else ""
    yield f"Tried {often}; decided by {how}{evidence(attempt)}.{who}"
    if attempt.note:
        yield f"Note: {attempt.note}"


def evidence(attempt: Attempt) -> str:
    """The evidence of a try that agrees."""
    bits = attempt.evidence
    return f", {bits:.0f} bits of evidence" if bits is not None and attempt.verdict == AGREES else ""
