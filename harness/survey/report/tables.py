"""A survey as rows: one record a slot, as CSV (RFC 4180) and for JSON."""

from __future__ import annotations

import csv
from io import StringIO

from forelight.sim.plain_text import clean

from ..answers import cause, proved, remedies
from ..attempt import Attempt
from ..findings import Findings
from ..standing import SlotStanding

#: A spreadsheet takes a cell that begins so for a formula (OWASP, CSV Injection); an apostrophe makes it a text.
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


#: Stands for the try of a slot that nobody tried.
_NONE = Attempt("", None, "", "check")


def record(found: Findings, one: SlotStanding, *, names: bool) -> dict[str, object]:
    """All that is said of one slot, as plain values; `names` adds who tried it and when."""
    details, attempt = found.said(one), one.deciding
    said: dict[str, object] = {
        "board": found.chip.board,
        "slot": one.slot,
        "name": one.design,
        "title": one.title,
        "verdict": one.kind,
        "reason": found.why(one, names=names),
        "cause": cause(details),
        "remedies": list(remedies(details)),
        "proved_share": proved(details),
        "try_count": one.tries,
        "card_count": one.cards,
        **(tried(attempt) if attempt else dict.fromkeys(tried(_NONE))),
    }
    if names:
        said |= {"who": attempt.who if attempt else None, "at": attempt.at if attempt else None}
    return said


def tried(attempt: Attempt) -> dict[str, object]:
    """One try as plain values, without names and dates."""
    return {
        "command": attempt.command,
        "procedure": attempt.procedure,
        "strap_code": attempt.code,
        "inputs": f"{attempt.inputs:08b}",
        "evidence": attempt.evidence,
        "capture": attempt.recording_name or None,
        "capture_sha256": attempt.recording,
        "netlist_sha256": attempt.design_sha256,
        "board_sha256": attempt.board_sha256,
        "procedure_sha256": attempt.procedure_sha256,
        "remark": attempt.note,
    }


def plain(found: Findings, *, names: bool) -> dict[str, object]:
    """The whole survey of a chip as plain values."""
    return {
        "board": found.chip.board,
        "slot_count": found.chip.slot_count,
        "counts": dict(found.counts),
        "slots": [record(found, one, names=names) for one in found.standings],
        "contradictions": [
            {"slot": one.slot, "name": one.design, "tries": [_opposite(side, names) for side in (one, other)]}
            for one, other in found.contradictions()
        ],
    }


def _opposite(attempt: Attempt, names: bool) -> dict[str, object]:
    said = {"verdict": attempt.verdict, **tried(attempt)}
    return said | {"who": attempt.who, "at": attempt.at} if names else said


def to_csv(found: Findings, *, names: bool) -> str:
    """A row for each slot."""
    out = StringIO()
    records = [record(found, one, names=names) for one in found.standings]
    writer = csv.DictWriter(out, list(records[0]) if records else [])
    writer.writeheader()
    writer.writerows({key: _cell(value) for key, value in one.items()} for one in records)
    return out.getvalue()


def _cell(value: object) -> str:
    if isinstance(value, str | list):
        text = clean(" ".join(value) if isinstance(value, list) else value).replace("\n", " ")
        return f"'{text}" if text.startswith(_FORMULA) else text
    return "" if value is None else f"{value:.6g}" if isinstance(value, float) else str(value)
