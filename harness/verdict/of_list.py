"""Decides on a list that an eye wrote down: slips of the hand, lines that do as they like, or as foretold."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from forelight.designs.datasheet import INPUT_LINES, OUTPUT_LINES

from ..capture.record import Ints
from .fit import NEVER, Fit
from .kinds import AGREES, DIFFERS
from .listing import MISSED, WRONG_ENTRY, Listed, listed
from .null import line_bits
from .otherwise import LINE, PRIOR, Otherwise, some_lines
from .placement import Recording, compared_at, lowest
from .reading import Readout
from .record import LONGER, MARGIN, MORE, RESTING, Difference, Verdict
from .rows import ReadRows, mask_of, row_times

FEW_ENTRIES = 6  # of a list: fewer are shown by too many designs (common practice, no source)
NAMED = 6  # entries of a list that are named
HALF = 0.5  # of a list, as foretold but for slips: then it is these that are named


def of_list(plain: Verdict, reading: Readout) -> Verdict:
    """The verdict on a list, from one in which nothing is said yet."""
    recording, prediction = reading.recordings[0], reading.rows
    bits, (found,) = reading.laid(prediction)
    best = _likeliest(recording, prediction, reading.stated or 0)
    result = replace(plain, evidence=bits)
    if found.places and not found.best.mismatches:
        steps, compared = compared_at(recording, prediction, found.best.offset)
        at = _begins(reading, _earliest(recording.rows, prediction, found.best.offset))
        result = replace(result, steps=steps, bits=compared, golden_start_s=at)
    if not _moving(recording.rows):
        return _still(result, recording, prediction, found)
    slipped = best.bits if best and best.slips else NEVER
    lines = some_lines(recording, prediction, before=False)
    amiss = _worth(recording, found, lines) if lines and lines.lines else NEVER
    if best and slipped >= max(MARGIN, bits + MARGIN, amiss):
        return _slips_of_hand(result, reading, best)
    if lines and amiss >= max(MARGIN, bits + MARGIN):
        return _lines_amiss(result, reading, lines)
    if bits <= -MARGIN and recording.null_bits >= found.prior + 2 * MARGIN:
        if best and best.slips and _mostly_right(recording, best):
            return _slips_of_hand(result, reading, best)
        return replace(
            result,
            kind=DIFFERS,
            reasons=("The list fits nowhere in the prediction.", *_too_long(recording, prediction)),
            remedies=(LONGER,),
        )
    return _as_foretold(result, reading)


def _likeliest(recording: Recording, prediction: ReadRows, stated: int) -> Listed | None:
    """The likeliest slips; of two and a single wrong entry that is right but for one line, the entry, if what it then
    saves is as much: it need only be said which line."""
    best = listed(recording, prediction, stated)
    if best is None or len(best.slips) != 2:
        return best
    alone = listed(recording, prediction, stated, ())
    if alone is None or len(alone.slips) != 1:
        return best
    row = alone.slips[0].first
    told = prediction.known[alone.path[row]] & recording.rows.known[row]
    if int((prediction.levels[alone.path[row]] ^ recording.rows.levels[row]) & told).bit_count() != 1:
        return best
    lines = len(recording.names)
    worth = sum(float(recording.cost[bit, row]) for bit in range(lines) if told >> bit & 1)
    return alone if alone.bits + worth - 1.0 - math.log2(lines) >= best.bits else best


def _too_long(recording: Recording, prediction: ReadRows) -> Iterator[str]:
    """That a list goes on where the prediction ends: what came then is nobody's to say."""
    entries, steps = len(recording.rows.levels), len(prediction.levels)
    if entries > steps:
        yield f"It has {entries} entries, and the prediction ends after {steps}: leave out the rest, or predict more."


def _as_foretold(result: Verdict, reading: Readout) -> Verdict:
    """A list in which something moves, as foretold, if it proves anything."""
    recording = reading.recordings[0]
    if result.evidence < MARGIN or np.count_nonzero(recording.rows.known) < FEW_ENTRIES:
        return replace(
            result,
            reasons=(
                "The list is so short, or its entries so alike, that it would fit somewhere by chance.",
            ),
            remedies=("Record more steps, more lines, or a run in which the outputs change more often.",),
        )
    outputs = mask_of(recording.names, OUTPUT_LINES)
    # What an entry costs is shared among its lines, those too that rest: only inputs are told apart.
    inputs = mask_of(recording.names, INPUT_LINES)
    proved = reading.proved(result.evidence, inputs) if _moving(recording.rows) & outputs else 0.0
    if proved < MARGIN:
        return replace(result, evidence=proved, reasons=(RESTING,), remedies=(MORE,))
    return replace(result, kind=AGREES, evidence=proved)


def _earliest(seen: ReadRows, prediction: ReadRows, place: int) -> int:
    """The first row from which on a prediction is as seen, as it is from `place` on."""
    found = np.arange(max(place, 0) + 1)
    for row, (level, known) in enumerate(zip(seen.levels, seen.known, strict=True)):
        there = np.minimum(found + row, len(prediction.levels) - 1)
        found = found[(prediction.levels[there] ^ level) & prediction.known[there] & known == 0]
    return int(found[0]) if len(found) else place


def _begins(reading: Readout, row: int) -> float:
    """The second of the procedure at which a row of the prediction begins."""
    begins = row_times(reading.reference)
    return reading.reference.seconds(float(begins[min(max(row, 0), len(begins) - 1)]))


def _moving(rows: ReadRows) -> int:
    """The lines that are seen at both levels, a bit each."""
    high, low = (
        np.bitwise_or.reduce(levels & rows.known, initial=0) for levels in (rows.levels, ~rows.levels)
    )
    return int(high & low)


def _still(result: Verdict, recording: Recording, prediction: ReadRows, found: Fit) -> Verdict:
    """A list in which nothing moves: how long it keeps still is compared, and nothing else, for what rests proves
    little."""
    first, stop = recording.bounds
    read = np.count_nonzero(recording.rows.known)
    fits = bool(found.places) and not found.best.mismatches
    rest = max(_longest_shown(recording.rows, prediction), stop - first if fits else 0)
    if rest >= len(prediction.levels):
        reason = "Nothing moves in the list, and nothing need move in the prediction."
        return replace(result, evidence=0.0, reasons=(reason,), remedies=(MORE,))
    many = "1 step" if rest == 1 else f"{rest} steps in a row"
    if fits or read < FEW_ENTRIES:
        reason = f"Nothing moves in the list, and in the prediction the same may be shown for {many}."
        remedies = ("Write down more steps than that.",)
        return replace(result, evidence=0.0, reasons=(reason,), remedies=remedies)
    shown = f"stays for {many} at most" if rest else "is never shown"
    reason = f"All {read} entries show the same; as foretold, that {shown}."
    return replace(result, kind=DIFFERS, reasons=(reason,), remedies=(LONGER,))


def _longest_shown(seen: ReadRows, prediction: ReadRows) -> int:
    """For how many steps in a row a prediction may show what a list in which nothing moves does."""
    known = np.bitwise_or.reduce(seen.known, initial=0)
    level = np.bitwise_or.reduce(seen.levels & seen.known, initial=0)
    may = ((prediction.levels ^ level) & prediction.known & known) == 0
    bounds = np.flatnonzero(np.diff(may, prepend=False, append=False))
    return int(np.diff(bounds)[::2].max(initial=0))


def _mostly_right(recording: Recording, best: Listed) -> bool:
    """Whether most of what a list holds is as foretold but for slips: then these are what is amiss."""
    cost = recording.cost.sum(axis=0)
    wrong = [slip.first for slip in best.slips if slip.kind == WRONG_ENTRY]
    return float(cost[wrong].sum()) < HALF * float(cost.sum()) and len(best.slips) < HALF * len(cost)


def _worth(recording: Recording, found: Fit, lines: Otherwise) -> float:
    """What is saved if some lines do as they like, and all others of a list are as foretold: each of the first is
    written down by itself, since entries are not written line by line."""
    bits = [recording.names.index(name) for name in lines.lines]
    rows = recording.rows
    alone = sum(float(line_bits(rows.levels, rows.known, bit).sum()) for bit in bits)
    price = PRIOR + len(bits) * (LINE + math.log2(len(recording.names)))
    return recording.null_bits - alone - price - found.prior


def _lines_amiss(result: Verdict, reading: Readout, lines: Otherwise) -> Verdict:
    """A list in which some lines do as they like, and all others are as foretold."""
    recording, prediction = reading.recordings[0], reading.rows
    rows, wrong = lines.wrong
    said = []
    for name in lines.lines:
        bit = recording.names.index(name)
        mine = rows[(wrong >> bit & 1) == 1]
        read = recording.rows.known >> bit & 1 == 1
        seen = set((recording.rows.levels[read] >> bit & 1).tolist())
        always = f", and is {min(seen)} throughout" if len(seen) == 1 else ""
        share = f"{len(mine)} of {np.count_nonzero(read)} entries ({_numbers(mine + 1)}){always}"
        said.append(f"Line {name} is not as foretold in {share}.")
    if len(lines.lines) < len(recording.names):
        said.append("All other lines are as foretold.")
    row = int(rows[0])
    bit = lowest(int(wrong[0]))
    seen_level = int(recording.rows.levels[row] >> bit & 1)
    there = row + lines.offset
    first = Difference(
        _begins(reading, there),
        None,
        prediction.first + there,
        recording.names[bit],
        1 - seen_level,
        seen_level,
    )
    steps, bits = compared_at(recording, prediction, lines.offset)
    return replace(
        result,
        kind=DIFFERS,
        first=first,
        steps=steps,
        bits=bits,
        more=int(np.bitwise_count(wrong).sum()) - 1,
        entries=(row + 1, row + 1),
        reasons=tuple(said),
    )


def _numbers(entries: Ints) -> str:
    """The numbers of some entries, the first few of them."""
    few = ", ".join(str(number) for number in entries[:NAMED].tolist())
    return f"{few} and so on" if len(entries) > NAMED else few


def _slips_of_hand(result: Verdict, reading: Readout, best: Listed) -> Verdict:
    recording, prediction = reading.recordings[0], reading.rows
    slip = best.slips[0]
    row = best.path[slip.first] if slip.kind == WRONG_ENTRY else best.path[slip.first - 1] + 1
    theirs = min(row, len(prediction.levels) - 1)
    told = recording.rows.known[slip.first] & prediction.known[theirs]
    wrong = int((recording.rows.levels[slip.first] ^ prediction.levels[theirs]) & told)
    first = None
    where = f"entry {slip.first + 1}"
    if slip.first != slip.last:
        where = f"one of entries {slip.first + 1} to {slip.last + 1}"
    step = prediction.first + theirs
    if wrong:
        bit = lowest(wrong)
        seen = int(recording.rows.levels[slip.first] >> bit & 1)
        at = _begins(reading, theirs)
        first = Difference(at, None, step, recording.names[bit], 1 - seen, seen)
    if slip.kind == WRONG_ENTRY and first:
        reason = (
            f"At step {first.step} line {first.line} is {first.seen} where {first.expected} was predicted"
        )
        reason += f": {where}."
    elif slip.kind == MISSED:
        reason = f"A step is missing before {where}: what was foretold for it was not written down."
    else:
        reason = f"{where.capitalize()} shows the step before it once more, where the next one was foretold."
    others = [other.first + 1 for other in best.slips[1:]]
    shown = np.minimum(np.array(best.path), len(prediction.known) - 1)
    told_bits = recording.rows.known & prediction.known[shown]
    differing = int(np.bitwise_count((recording.rows.levels ^ prediction.levels[shown]) & told_bits).sum())
    return replace(
        result,
        kind=DIFFERS,
        first=first,
        steps=int(np.count_nonzero(told_bits)),
        bits=int(np.bitwise_count(told_bits).sum()),
        more=differing - 1 if first else differing,
        entries=(slip.first + 1, slip.last + 1),
        reasons=(reason, f"Entries amiss beside that: {_numbers(np.array(others))}.")
        if others
        else (reason,),
    )
