"""Ranks the causes of a recording that differs, in groups that it cannot tell apart.

Theory of operation. The first steps of a long recording say which causes are worth weighing by the whole of it
(`inquiry.py`). Causes that foretell the same for each recorded row are one group, whose weight is the sum of theirs.
Where each saves fewer bits than its prior costs none of these fits, nor where steps lost on the way, or single wrong
bits, explain more.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ...boards.profile import Board
from ...capture.record import Capture
from ...hand.routine import made_by_hand
from ..fit import NEVER
from ..listing import listed
from ..placement import Recording
from ..reading import Readout
from ..reference import Foretold
from ..verdict import lay
from . import clock, hand, pairs, recording, silicon, wiring, writing
from .foretell import Foreteller, on_axis
from .inquiry import EXPLAINED, NONE, NOTHING, RARE, Inquiry, Progress, never_settles
from .mishap import Handling
from .readings import Readings, beginning
from .suspects import Explained, Ranking, Suspects, grouped
from .table import Differing, differing

FAMILIES = (hand.causes, clock.causes, wiring.causes, recording.causes)

#: Steps of a long recording by which causes are picked at first.
LOOK = 1024
#: Steps of a rest at the end of a recording that are looked at.
REST = 2048
#: Steps after the slot is up within which a recording begins; of a design that nothing settles, and may be anywhere.
AHEAD, ANYWHERE = 512, 4096
#: Causes that are weighed by the whole of a long recording.
FINALISTS = 32
#: Members of a group, and groups, whose faults of silicon are described.
NAMED = 4
#: Slots of a board of which all are tried; of one with more only where nothing else explains the recording.
FEW_SLOTS = 8


def rank(
    it: Handling,
    capture: Capture,
    board: Board,
    step_line: str,
    progress: Progress = lambda done, total: None,
) -> Ranking:
    """The causes that explain a recording of what was meant to be `it`, in groups, the likeliest first."""
    teller = Foreteller(step_line)
    meant = teller.prospect(it)
    if meant is None:
        return Ranking((), NONE, 0, None)
    long = _length(capture, meant.foretold)
    capture = _without_long_rest(capture, long)
    long = min(long, _length(capture, meant.foretold))
    cut = None
    ahead = ANYWHERE if never_settles(meant, tuple(capture.lines)) else AHEAD
    if len(meant.foretold.rises) > long + 2 * ahead:
        cut = int(long) + ahead
        meant = teller.prospect(it, cut) or meant
    readings = Readings(capture, board, meant, step_line, made_by_hand(it.procedure.actions))
    whole = Inquiry(it, readings, teller, cut, progress)
    search = _first_look(whole, long, ahead) or whole
    causes = [cause for family in FAMILIES for cause in family(it, capture)]
    search.weigh(causes)
    search.weigh_silicon()
    search.weigh_clips()
    search.weigh_power_ups()
    search.weigh_list()
    whole.weigh_stop()
    search.found += whole.found if search is not whole else []
    none = max(_none(whole.readings), _otherwise(whole.readings))
    if len(it.board.slots) <= FEW_SLOTS or not (search.found if search.readings.still else search.explains):
        search.weigh(list(recording.other_slots(it, capture)))
    if not search.usually:
        search.weigh_unrestarted(causes)
    if not (search.wholly or _is_explained(whole, none)):
        pairs.weigh(search, causes)
    found = search.found
    if search is not whole:
        found.sort(key=lambda one: -one.bits)
        again = (whole.explained(one.cause, one.prior, one.handling) for one in found[:FINALISTS])
        found = [one for one in again if one is not None and one.bits > NONE - RARE]
    as_meant = whole.explained(NOTHING, 0.0, it)
    found, none = _by_length(found, none, whole.readings)
    groups = grouped(found, as_meant)
    bits = differing_bits(groups[0].best if groups else None, as_meant)
    return Ranking(_named(groups, teller, it), none, search.tried, as_meant, bits)


def _without_long_rest(capture: Capture, long: float) -> Capture:
    """A recording of so many steps without the most of a rest at its end: where nothing moves no cause is told from
    another for long."""
    end = capture.last_change + REST * (capture.end - capture.start) / max(long, 1.0)
    return beginning(capture, end) if capture.timed and end < capture.end else capture


def _length(capture: Capture, base: Foretold) -> float:
    """Of a recording, in steps."""
    unit = base.unit / base.oscillator_hz if capture.unit == "seconds" else 1.0
    return (capture.end - capture.start) / unit


def _first_look(whole: Inquiry, long: float, ahead: int) -> Inquiry | None:
    """The first steps of a recording so long, and the predictions for as much; None where it is short."""
    capture, base = whole.readings.capture, whole.readings.meant.foretold
    if not capture.timed or long <= 2 * LOOK:
        return None
    edges = np.sort(np.concatenate([line.times for line in capture.lines.values()]))
    enough = edges[min(LOOK, len(edges) - 1)] if len(edges) else capture.end
    unit = (capture.end - capture.start) / long
    end = max(capture.start + LOOK * unit, float(enough) + unit)
    if 2 * (end - capture.start) > capture.end - capture.start:
        return None
    cut = int((end - capture.start) / unit + min(max(base.end - base.onward - long, 0), ahead)) + LOOK
    told = whole.teller.prospect(whole.it, cut)
    if told is None:
        return None
    known = whole.readings
    readings = Readings(beginning(capture, end), known.board, told, known.step_line, known.by_hand)
    return Inquiry(whole.it, readings, whole.teller, cut, whole.progress)


def _none(readings: Readings) -> float:
    """How well nothing that was thought of explains a recording: a level at which a line rests is then one of two."""
    names, lines = readings.names, readings.usual.lines
    resting = sum(len(lines[name].times) == 1 for name in names)
    return NONE - (resting if resting == len(names) else 0)


def _is_explained(whole: Inquiry, none: float) -> bool:
    """Whether so much of a recording in which something moves is explained without a cause."""
    return not whole.readings.still and none >= EXPLAINED * whole.readings.usual.null_bits


def _otherwise(readings: Readings) -> float:
    """How well slips of single steps, entries and bits explain a recording of what was meant."""
    reading = readings.usual
    if readings.given_rate_is_off:
        return NEVER
    if reading.stated is not None:
        found = listed(reading.recordings[0], reading.rows, reading.stated)
        return found.bits if found and len(found.slips) > writing.MOST else NEVER
    return max((other.bits for _, other in lay(reading).otherwise), default=NEVER)


def _by_length(found: list[Explained], none: float, readings: Readings) -> tuple[list[Explained], float]:
    """The same, by the length to which each writes the recording down, the times of its edges and all.

    By a slow clock a recording is a few rows and costs little without a prediction; but then nothing says when in those
    rows its edges come. So what is saved by one clock is not to be compared with what is saved by another.
    """
    if not found:
        return found, none

    def length(recording: Recording, reading: Readout, bits: float) -> float:
        return recording.null_bits + readings.times_bits(recording, reading) - bits - recording.handicap

    lengths = [length(one.recording, one.reading, one.bits) for one in found]
    best = int(np.argmin(lengths))
    usual = readings.usual.recordings[0]
    if none > NONE:
        its = length(usual, readings.usual, none)
        none = max(NONE, found[best].bits + lengths[best] - its)
    return [
        replace(one, bits=found[best].bits + lengths[best] - its)
        for one, its in zip(found, lengths, strict=True)
    ], none


def differing_bits(best: Explained | None, meant: Explained | None) -> tuple[Differing, ...]:
    """By how many bits the recording differs from what was meant, laid where the best explanation lies."""
    if meant is None:
        return ()
    if best is not None and (best.handling.slips or best.reading is not meant.reading):
        return ()  # a missed entry shifts all that follow, and by another clock no step is at its place
    rows, offset, is_list = meant.rows, meant.fit.best.offset, meant.reading.stated is not None
    if best is not None and (is_list or best.recording is meant.recording):
        ups = [0 if is_list else round(one.foretold.onward) for one in (best, meant)]
        offset = best.fit.best.offset + ((best.rows.first - ups[0]) - (rows.first - ups[1])) * rows.slots
    told = on_axis(meant.foretold, meant.reading.reference)
    return tuple(differing(meant.recording, told, rows, offset, is_list))


def _named(groups: tuple[Suspects, ...], teller: Foreteller, it: Handling) -> tuple[Suspects, ...]:
    """The groups, in which the first faults of silicon have the names of the source."""

    def named(one: Explained) -> Explained:
        fault = one.handling.fault
        return one if fault is None else replace(one, cause=silicon.described(teller.seat(it).netlist, fault))

    return tuple(
        replace(group, members=(*map(named, group.members[:NAMED]), *group.members[NAMED:]))
        if number < NAMED
        else group
        for number, group in enumerate(groups)
    )
