"""What stands in the answer of a try: a stranger may have written it, so what is not as it should be is left out."""

from __future__ import annotations

from collections.abc import Mapping

from forelight.sim.frozen import frozen

from .attempt import Details, texts

OUTPUTS = 8


@frozen
class Parting:
    """An experiment that parts the two likeliest causes: its actions as they are written, what it means, and the odds
    of the two, 0 to 1."""

    do: tuple[str, ...]
    means: str
    shares: tuple[float, float]


def remedies(details: Details) -> tuple[str, ...]:
    """What to look at first, and what to record instead, a sentence each."""
    likely = text(_likeliest(details), "remedy")
    return (*((likely,) if likely else ()), *texts(details.answer, "remedies"))


def cause(details: Details) -> str:
    """The likeliest cause of a recording that differs, where one was found, as a sentence."""
    return text(_likeliest(details), "said")


def parting(details: Details) -> Parting | None:
    """The experiment that was named with the causes; an older answer says only that it is of the first two groups."""
    made = table(_explanation(details), "experiment")
    said = made.get("shares")
    shares = said if isinstance(said, list) else [group.get("share") for group in _groups(details)[:2]]
    odds = [min(max(share, 0.0), 1.0) for share in shares if isinstance(share, int | float)]
    do = texts(made, "do")
    if not do or not sum(odds):
        return None
    if len(odds) < 2:  # they are of one group, which the recording cannot tell apart
        odds = [odds[0] / 2] * 2
    return Parting(do, text(made, "said"), (odds[0], odds[1]))


def proved(details: Details) -> float | None:
    """The share of single stuck-at faults that the recording would have shown, 0 to 1, where that was asked."""
    share = table(details.answer, "proves").get("share")
    return min(max(share, 0.0), 1.0) if isinstance(share, float) else None


def displays(details: Details) -> dict[str, str] | None:
    """The outputs where the first bit differs, as foretold and as seen, o7 first; None where they are not known."""
    outputs = table(details.answer, "outputs")
    shown = {key: text(outputs, key) for key in ("foretold", "seen")}
    whole = all(len(levels) == OUTPUTS and set(levels) <= set("01x") for levels in shown.values())
    return shown if whole else None


def table(answer: Mapping[str, object], key: str) -> Mapping[str, object]:
    """What stands there, if it is a table."""
    found = answer.get(key)
    return found if isinstance(found, dict) else {}


def text(answer: Mapping[str, object], key: str) -> str:
    """What stands there, if it is a text."""
    found = answer.get(key)
    return found if isinstance(found, str) else ""


def _groups(details: Details) -> list[Mapping[str, object]]:
    """The causes that were ranked, those together that a recording cannot tell apart."""
    found = _explanation(details).get("groups")
    return [group for group in found if isinstance(group, dict)] if isinstance(found, list) else []


def _explanation(details: Details) -> Mapping[str, object]:
    """What explains the recording; in notebooks of before it is called causes."""
    return table(details.answer, "explanation") or table(details.answer, "causes")


def _likeliest(details: Details) -> Mapping[str, object]:
    for group in _groups(details)[:1]:
        members = group.get("causes")
        if isinstance(members, list) and members and isinstance(members[0], dict):
            return members[0]
    return {}
