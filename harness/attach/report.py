"""What a person reads of the attachments that a datasheet names, and the same as facts for scripts."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from forelight.designs.datasheet import Attachment, Datasheet

from ..bench.golden import Golden
from .terminal import Received, receive
from .wiring import wired

#: Faults that are written out one by one, and characters of a terminal's text; the rest is counted.
MOST_FAULTS = 5
MOST_TEXT = 2000


@dataclass(frozen=True)
class Report:
    """One attachment over one golden: a heading, lines below it, and facts that JSON can carry."""

    heading: str
    lines: tuple[str, ...]
    facts: Mapping[str, Any]


def reports(sheet: Datasheet, golden: Golden) -> list[Report]:
    """Of every attachment of a datasheet that there is something to say of, in its order."""
    return [REPORTERS[one.kind](one, golden) for one in sheet.attach if one.kind in REPORTERS]


def paragraphs(found: list[Report]) -> Iterator[str]:
    """All reports as lines, a blank one before each."""
    for report in found:
        yield ""
        yield report.heading
        yield from (f"  {line}" for line in report.lines)


def _terminal(attachment: Attachment, golden: Golden) -> Report:
    baud = attachment.options.get("baud")
    found = receive(
        wired(golden, attachment.lines), golden.oscillator_hz, float(baud) if baud is not None else None
    )
    heading = f"Serial terminal on {attachment.lines['receive']}"
    if found.baud is None:
        heading += ": no pulses to find a rate from"
    else:
        said = ", as found from the signal" if found.found else ""
        heading += f", {found.baud:.6g} baud, 8N1{said}: {counted(len(found.characters), 'character')}"
        heading += f", {counted(len(found.faults), 'bad frame') if found.faults else 'no bad frames'}"
    facts: dict[str, Any] = {"baud": found.baud, "text": found.text, "characters": len(found.characters)}
    facts["faults"] = [
        {"time_s": one.time / golden.oscillator_hz, "fault": one.fault} for one in found.faults
    ]
    return Report(heading, tuple(_terminal_lines(found, golden)), _named(attachment, facts))


def _terminal_lines(found: Received, golden: Golden) -> Iterator[str]:
    yield from found.text[:MOST_TEXT].rstrip("\n").split("\n") if found.text else ()
    if len(found.text) > MOST_TEXT:
        yield f"and {len(found.text) - MOST_TEXT} characters more"
    yield from listed([(one.time, one.fault) for one in found.faults], golden.oscillator_hz)


def listed(faults: list[tuple[int, str]], hz: float) -> Iterator[str]:
    """The first faults with their times, and how many more there are."""
    yield from (f"{time / hz:.6f} s: {fault}" for time, fault in faults[:MOST_FAULTS])
    if len(faults) > MOST_FAULTS:
        yield f"and {len(faults) - MOST_FAULTS} more"


def counted(number: int, noun: str) -> str:
    """A number with its noun.

    >>> counted(1, "character"), counted(2, "character")
    ('1 character', '2 characters')
    """
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _named(attachment: Attachment, facts: Mapping[str, Any]) -> dict[str, Any]:
    return {"kind": attachment.kind, "lines": dict(attachment.lines), **facts}


REPORTERS: Mapping[str, Callable[[Attachment, Golden], Report]] = {
    "serial terminal": _terminal,
}
