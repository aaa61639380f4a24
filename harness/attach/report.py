"""What a person reads of the attachments that a datasheet names, and the same as facts for scripts."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

import numpy as np
from forelight.designs.datasheet import INPUT_LINES, Attachment, Datasheet
from forelight.sim.frozen import frozen

from ..golden.golden import Golden
from ..view.pictures import Picture, repeat, since
from .display import watch
from .lamp import looks
from .meter import Reading, measure
from .reads import log
from .speaker import LOWEST_HZ
from .terminal import Received, receive
from .wiring import wired

#: Above this hardly anybody hears (common practice, no source).
HIGHEST_HZ = 20_000.0
#: Looks of a lamp that are written out, unless they repeat.
MOST_LOOKS = 12
#: Faults that are written out one by one, and characters of a terminal's text; the rest is counted.
MOST_FAULTS = 5
MOST_TEXT = 2000
#: What is read anew from moment to moment, and over how long, in seconds.
MOMENTARY, LIVE_S = ("speaker", "pulse-width meter", "lamp"), 2.0
#: Bytes of one reading that are written out.
MOST_BYTES = 16


@frozen
class Report:
    """One attachment over one golden: a heading, lines below it, and facts that JSON can carry."""

    heading: str
    lines: tuple[str, ...]
    facts: Mapping[str, Any]


def reports(sheet: Datasheet, golden: Golden) -> list[Report]:
    """Of every attachment of a datasheet that there is something to say of, in its order."""
    return [REPORTERS[one.kind](one, golden) for one in sheet.attach]


def reports_now(sheet: Datasheet, golden: Golden) -> list[Report]:
    """The same at the end of a golden that goes on: a meter, a speaker and a lamp tell of the last `LIVE_S` alone."""
    begin = golden.end - int(LIVE_S * golden.oscillator_hz)
    recent = since(golden, max(begin, int(golden.ticks[0])))
    found = []
    for one in sheet.attach:
        if one.kind == "lamp":
            active = str(one.options.get("active", "high"))
            last = looks(wired(recent, one.lines), recent.oscillator_hz, active)[-1]
            found.append(Report(f"Lamp on {one.lines['signal']}: {_light(last.lamps[0])}", (), {}))
        else:
            found.append(REPORTERS[one.kind](one, recent if one.kind in MOMENTARY else golden))
    return found


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
    facts["mistakes"] = [
        {"time_s": one.time / golden.oscillator_hz, "fault": one.fault} for one in found.faults
    ]
    return Report(heading, tuple(_terminal_lines(found, golden)), _named(attachment, facts))


def _terminal_lines(found: Received, golden: Golden) -> Iterator[str]:
    yield from found.text[:MOST_TEXT].rstrip("\n").split("\n") if found.text else ()
    if len(found.text) > MOST_TEXT:
        yield f"and {len(found.text) - MOST_TEXT} characters more"
    yield from listed([(one.time, one.fault) for one in found.faults], golden.oscillator_hz)


def _meter(attachment: Attachment, golden: Golden) -> Report:
    found = measure(wired(golden, attachment.lines), golden.oscillator_hz)
    heading = f"Pulse-width meter on {attachment.lines['signal']}: {reading(found)}"
    return Report(heading, (), _named(attachment, _measured(found)))


def _speaker(attachment: Attachment, golden: Golden) -> Report:
    line = attachment.lines["signal"]
    found = measure(wired(golden, attachment.lines), golden.oscillator_hz)
    heading = f"Speaker on {line}: {pitch(found)}"
    how = f"To hear it, have it written as a WAV file: forelight listen --line {line}"
    return Report(heading, (how,), _named(attachment, _measured(found)))


def pitch(found: Reading | None) -> str:
    """What there is to hear of a reading."""
    if found is None:
        return "no tone"
    audible = found.hz.most >= LOWEST_HZ and found.hz.least <= HIGHEST_HZ
    # Silences are long periods: the highest pitch is the one that says most of a line that pauses.
    return f"up to {found.hz.most:.6g} Hz" + ("" if audible else ", which nobody hears")


def reading(found: Reading | None) -> str:
    """A reading of the meter in words; the least and the most only where they differ."""
    if found is None:
        return "not one whole period"
    hz, duty = found.hz, found.duty
    said = f"{hz.mean:.6g} Hz"
    if hz.least != hz.most:
        said += f" ({hz.least:.6g} to {hz.most:.6g})"
    said += f", high for {duty.mean:.2%}"
    if duty.least != duty.most:
        said += f" ({duty.least:.2%} to {duty.most:.2%})"
    return f"{said}, over {counted(found.periods, 'whole period')}"


def _measured(found: Reading | None) -> dict[str, Any]:
    if found is None:
        return {"periods": 0, "range_hz": None, "duty": None}
    return {"periods": found.periods, "range_hz": vars(found.hz), "duty": vars(found.duty)}


def _lamp(attachment: Attachment, golden: Golden) -> Report:
    active = str(attachment.options.get("active", "high"))
    found = looks(wired(golden, attachment.lines), golden.oscillator_hz, active)
    again = repeat(found, [0])
    lines = _looks(found[: sum(again)] if again else found, golden.oscillator_hz)
    if again:
        period = sum(look.lasts for look in found[again[0] : sum(again)]) / golden.oscillator_hz
        lines = [
            *lines,
            f"then again as from {found[again[0]].start / golden.oscillator_hz:.3f} s, every {period:.3f} s",
        ]
    facts: dict[str, Any] = {
        "looks": [{"time_s": look.start / golden.oscillator_hz, "lit": look.lamps[0]} for look in found]
    }
    return Report(f"Lamp on {attachment.lines['signal']}", tuple(lines), _named(attachment, facts))


def _looks(found: list[Picture], hz: float) -> list[str]:
    said = [f"{look.start / hz:.3f} s: {_light(look.lamps[0])}" for look in found[:MOST_LOOKS]]
    return [*said, f"and {len(found) - MOST_LOOKS} changes more"] if len(found) > MOST_LOOKS else said


def _light(level: float | None) -> str:
    if level is None:
        return "unsettled"
    if level in (0, 1):
        return "lit" if level else "dark"
    return f"seems lit at {level:.0%} of its light"


def _display(attachment: Attachment, golden: Golden) -> Report:
    options, hz = attachment.options, golden.oscillator_hz
    columns, rows = int(options.get("columns", 16)), int(options.get("rows", 2))
    volts = float(options.get("volts", 5.0))
    found = watch(wired(golden, attachment.lines), hz, columns=columns, rows=rows, volts=volts)
    frame = f"+{'-' * columns}+"
    lines = []
    for screen in found.screens[:MOST_LOOKS]:
        lines += [f"{screen.start / hz:.3f} s", frame, *(f"|{line}|" for line in screen.lines), frame]
    if len(found.screens) > MOST_LOOKS:
        lines.append(f"and {len(found.screens) - MOST_LOOKS} texts more")
    lines += listed([(fault.time, fault.found) for fault in found.faults], hz)
    wrong = counted(len(found.faults), "fault") if found.faults else "no faults"
    heading = f"Character display of {columns} x {rows} at {volts:g} V: {wrong} by its published timing"
    facts: dict[str, Any] = {
        "screens": [{"time_s": screen.start / hz, "texts": list(screen.lines)} for screen in found.screens],
        "mistakes": [{"time_s": fault.time / hz, "fault": fault.found} for fault in found.faults],
    }
    return Report(heading, tuple(lines), _named(attachment, facts))


def _memory(attachment: Attachment, golden: Golden) -> Report:
    hz, options = golden.oscillator_hz, attachment.options
    found = log(wired(golden, attachment.lines), hz, int(options.get("address_bytes", 3)))
    faults = [*found.faults, *_meetings(attachment.lines["so"], golden)]
    lines = [
        f"{one.time / hz:.3f} s: from {one.address():X}h: {one.data()[:MOST_BYTES].hex(' ').upper()}"
        + (f" and {len(one.data()) - MOST_BYTES} bytes more" if len(one.data()) > MOST_BYTES else "")
        for one in found.transfers[:MOST_LOOKS]
    ]
    if len(found.transfers) > MOST_LOOKS:
        lines.append(f"and {len(found.transfers) - MOST_LOOKS} more")
    lines += listed(faults, hz)
    wrong = counted(len(faults), "fault") if faults else "no faults"
    heading = f"Serial memory with {options['image']}: read {counted(len(found.transfers), 'time')}, {wrong}"
    reads = [
        {"time_s": one.time / hz, "address": one.address(), "data": one.data().hex()}
        for one in found.transfers
    ]
    facts = {"reads": reads, "mistakes": [{"time_s": time / hz, "fault": what} for time, what in faults]}
    return Report(heading, tuple(lines), _named(attachment, facts))


def _meetings(so: str, golden: Golden) -> list[tuple[int, str]]:
    """When an answer reaches the design in the very instant of a step, and something is unsettled from then on.

    A design that looks at the answer only later does not mind.
    """
    step = str(golden.facts.get("step_line", ""))
    if step not in INPUT_LINES:
        return []
    moved = golden.inputs[1:] ^ golden.inputs[:-1]
    risen = moved & golden.inputs[1:]
    bits = INPUT_LINES.index(so), INPUT_LINES.index(step)
    both = np.flatnonzero((moved >> bits[0] & 1) & (risen >> bits[1] & 1)) + 1
    what = f"{so} moves in the instant of a step, and what the design takes is chance: step more slowly"
    vague = np.flatnonzero(golden.settled != 0xFF)
    return [(int(golden.ticks[row]), what) for row in both if len(vague) and vague[-1] >= row]


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
    return {"kind": attachment.kind, "terminals": dict(attachment.lines), **facts}


REPORTERS: Mapping[str, Callable[[Attachment, Golden], Report]] = {
    "serial terminal": _terminal,
    "speaker": _speaker,
    "pulse-width meter": _meter,
    "lamp": _lamp,
    "character display": _display,
    "serial memory": _memory,
}
