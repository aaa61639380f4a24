"""What a recording may be that is not as foretold: the bits of each explanation by its own prices, worked anew."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from forelight.harness.capture.record import Levels
from forelight.harness.verdict.clock import steady
from forelight.harness.verdict.fit import fit
from forelight.harness.verdict.null import line_bits
from forelight.harness.verdict.otherwise import in_two, some_bits, some_lines
from forelight.harness.verdict.placement import WRONG, Recording, place, set_up, timed
from forelight.harness.verdict.rows import Moments, ReadRows

NAMES = tuple(f"o{bit}" for bit in range(4))
MOMENTS = Moments(NAMES, ((0.5,),) * 4, ((0.5,),) * 4)
ALL = 15


def rows(levels: Levels) -> ReadRows:
    return ReadRows(levels.astype(np.uint8), np.full(len(levels), ALL, np.uint8), 1)


def side(levels: Levels) -> Recording:
    return timed(MOMENTS, rows(levels), steady(1.0))


def shown(count: int = 300, seed: int = 1) -> Levels:
    print("seed", seed)
    return np.random.default_rng(seed).integers(0, 16, count).astype(np.uint8)


def places(prediction: Levels, bench: Levels, before: bool = False) -> int:
    """How many: a recording may begin a step early and end one late, or begin `before`, so that no more than half of
    it lies in the set-up."""
    return len(prediction) - len(bench) + 1 + (len(bench) // 2 if before else 2)


@pytest.mark.parametrize("steps", [1, -1, 3, -2, 40])
def test_a_slip_is_found_with_its_place_and_its_size(steps: int) -> None:
    """Steps lost or gained half-way: what both parts save, less 10 bits for anything amiss, the places of both, the
    rows at which it may lie, and 2 for each octave of steps."""
    told = shown(400)
    first, middle, last = 100, 160, 220
    bench = np.concatenate([told[first:middle], told[middle + steps : last + steps]])
    recording, prediction = side(bench), rows(told)
    found = fit(recording, prediction, before=False)
    slip, _ = in_two(recording, prediction, found, False)
    assert slip is not None
    assert (slip.kind, slip.steps, slip.offset) == ("slip", steps, first)
    joins = [
        row
        for row in range(1, len(bench))
        if np.array_equal(bench[:row], told[first : first + row])
        and np.array_equal(bench[row:], told[first + row + steps : first + len(bench) + steps])
    ]
    assert slip.rows == (joins[0], joins[-1])
    raw = recording.null_bits - math.log2(places(told, bench))
    assert slip.raw == pytest.approx(raw, abs=1e-6)
    prices = 10 + math.log2(len(bench) - 1) + 2 * math.log2(abs(steps) + 1)
    assert slip.bits == pytest.approx(raw - prices + math.log2(len(joins)), abs=0.1)
    wrong_rows, wrong = slip.wrong
    differ = np.flatnonzero(bench != told[first : first + len(bench)])
    assert wrong_rows.tolist() == differ.tolist()
    assert wrong.tolist() == (bench ^ told[first : first + len(bench)])[differ].tolist()


@pytest.mark.parametrize(
    ("share", "still"),
    [
        *((share, (0.0, 0.0)) for share in (0.05, 0.3, 0.6, 0.95)),
        *((0.24, (0.0, 1 / 8)), (0.3, (1 / 2, 1.0)), (0.7, (0.0, 1 / 2)), (0.76, (7 / 8, 1.0))),
    ],
)
def test_a_slip_far_away_in_a_long_recording(share: float, still: tuple[float, float]) -> None:
    """700 steps are lost; too many placements to look at all pairs of them. Nothing was read in the first rows, and
    nothing moves in some part of the recording."""
    told, lead, count = shown(6000), 300, round(3000 * share)
    begin, end = (round(3000 * part) for part in still)
    at = np.arange(3000) + np.where(np.arange(3000) < count, 1000, 1700)
    told[at[begin:end]] = 0
    if begin == 0 < end:  # and for long before, so that the beginning fits in many places
        told[:1000] = 0
    if end == 3000:
        told[4700:] = 0
    bench = told[at]
    unread = np.zeros(lead, np.uint8)
    read = ReadRows(np.append(unread, bench), np.append(unread, np.full(len(bench), ALL, np.uint8)), 1)
    recording, prediction = timed(MOMENTS, read, steady(1.0)), rows(told)
    slip, _ = in_two(recording, prediction, fit(recording, prediction, before=False), False)
    assert slip is not None
    assert (slip.steps, slip.offset) == (700, 1000 - lead)
    assert slip.rows[0] <= lead + count <= slip.rows[1] < lead + count + 8
    assert slip.bits > 0.9 * recording.null_bits


def test_a_recording_whose_beginning_is_known_slips_from_there_alone() -> None:
    told = shown(400)
    bench = np.concatenate([told[100:160], told[162:220]])
    recording, prediction = side(bench), rows(told)
    found = fit(recording, prediction, before=False, pinned=100)
    slip, restart = in_two(recording, prediction, found, False, 100)
    assert slip is not None
    assert (slip.steps, slip.offset, restart) == (2, 100, None)
    elsewhere = in_two(recording, prediction, fit(recording, prediction, before=False, pinned=90), False, 90)[
        0
    ]
    assert elsewhere is None or (elsewhere.offset == 90 and elsewhere.bits < 0)


@pytest.mark.parametrize("lead", [0, 100])
def test_a_design_that_was_restarted_on_the_way(lead: int) -> None:
    """It ran from step 50 on, and begins again after 60 rows: 6 bits, and the places and rows at which that may be.
    Nothing was read in the rows before."""
    told = shown(200, 3)
    bench = np.concatenate([told[50:110], told[:90]])
    unread = np.zeros(lead, np.uint8)
    read = ReadRows(np.append(unread, bench), np.append(unread, np.full(len(bench), ALL, np.uint8)), 1)
    recording, prediction = timed(MOMENTS, read, steady(1.0)), rows(told)
    found = fit(recording, prediction, before=True)
    _, restart = in_two(recording, prediction, found, True)
    assert restart is not None
    assert (restart.kind, restart.offset, restart.steps) == ("restart", -60 - lead, -110)
    assert restart.rows == (60 + lead, 60 + lead)
    early = set_up(recording, -60 - lead, 1)
    assert early == pytest.approx(2 * math.log2(59 + 2))
    count = places(told, bench, True)
    raw = recording.null_bits - math.log2(count)
    assert restart.raw == pytest.approx(raw, abs=1e-3)
    assert restart.bits == pytest.approx(raw - 6 - math.log2(count * len(bench)), abs=0.1)


def test_single_wrong_bits_are_named_among_those_that_were_compared() -> None:
    """For each bit the logarithm of how many were compared, 2 for each octave of how many are wrong, 10 for anything
    amiss, and the place; and what the wrong levels cost is not saved."""
    told = shown(300)
    bench = told[80:200].copy()
    flips = [(10, 0), (50, 2), (51, 2)]
    for row, bit in flips:
        bench[row] ^= np.uint8(1 << bit)
    recording, prediction = side(bench), rows(told)
    found = fit(recording, prediction, before=False)
    bits = some_bits(recording, prediction, found)
    assert bits is not None
    lost = sum(float(recording.cost[bit, row]) for row, bit in flips)
    named = 3 * math.log2(4 * len(bench)) + 2 * math.log2(4)
    worth = recording.null_bits - lost - named - math.log2(places(told, bench)) - 10
    assert bits.bits == pytest.approx(worth, abs=1e-3)
    assert (bits.kind, bits.offset) == ("bits", 80)
    assert bits.share == pytest.approx(3 / (4 * len(bench)))
    assert bits.wrong[0].tolist() == [10, 50, 51]
    assert bits.wrong[1].tolist() == [1, 4, 4]
    whole = side(told[80:200])
    assert some_bits(whole, prediction, fit(whole, prediction, before=False)) is None


def test_lines_that_do_as_they_like_save_nothing_and_are_named() -> None:
    """3 bits for a line and as much as it takes to say which of the four, 10 for anything amiss, and the place."""
    told = shown(300)
    bench = told[80:200].copy()
    other = np.random.default_rng(2).integers(0, 2, len(bench)).astype(np.uint8)
    bench = bench & np.uint8(0b1011) | other << np.uint8(2)
    recording, prediction = side(bench), rows(told)
    lines = some_lines(recording, prediction, False)
    assert lines is not None
    assert (lines.lines, lines.offset) == (("o2",), 80)
    kept = recording.null_bits - float(recording.cost[2].sum()) - (3 + 2)
    worth = kept - math.log2(places(told, bench)) - 10
    assert lines.bits == pytest.approx(worth, abs=1e-3)
    wrong = (bench ^ told[80:200]) >> 2 & 1
    assert lines.share == pytest.approx(wrong.sum() / (4 * len(bench)))
    assert lines.wrong[0].tolist() == np.flatnonzero(wrong).tolist()
    assert some_lines(side(told[80:200]), prediction, False) is None
    assert some_lines(side(told), rows(told[:50]), False) is None


def test_what_a_placement_saves_line_by_line() -> None:
    """Levels that are left open save nothing and are not compared; each wrong one costs `WRONG` bits."""
    told = shown(120)
    bench = told[30:90].copy()
    bench[7] ^= np.uint8(4)
    recording = side(bench)
    for bit in range(4):
        alone = line_bits(recording.rows.levels, recording.rows.known, bit)
        assert recording.cost[bit] == pytest.approx(np.pad(alone, (0, len(bench) - len(alone))))
    known = np.full(len(told), ALL, np.uint8)
    known[40:45] ^= 3  # rows 10 to 14 of the recording
    there = place(recording, ReadRows(told, known, 1), 30)
    kept = np.ones((4, len(bench)), bool)
    kept[:2, 10:15] = False
    assert there.saved == pytest.approx((recording.cost * kept).sum(axis=1))
    assert there.compared.tolist() == [55, 55, 60, 60]
    assert there.wrong.tolist() == [0, 0, 1, 0]
    assert there.mismatches == 1
    assert there.bits == pytest.approx(float((recording.cost * kept).sum()) - WRONG)
    # Nothing is compared before the prediction begins and after its end.
    early = place(recording, ReadRows(told[35:], known[35:], 1), -5)
    assert early.compared.tolist() == [50, 50, 55, 55]
    late = place(recording, ReadRows(told[:80], known[:80], 1), 30)
    assert late.compared.tolist() == [45, 45, 50, 50]


def test_what_was_not_read_has_no_part_in_it() -> None:
    told = shown(200)
    known = np.full(60, ALL, np.uint8)
    known[20:30] = 0
    bench = told[50:110] & known
    recording = timed(MOMENTS, ReadRows(bench, known, 1), steady(1.0))
    found = fit(recording, rows(told), before=False)
    assert (found.best.offset, found.best.mismatches) == (50, 0)
    assert found.best.compared.tolist() == [50] * 4
    assert found.bits == pytest.approx(recording.null_bits - math.log2(places(told, bench)), abs=1e-3)
    spoilt = replace(recording, rows=ReadRows(bench ^ np.uint8(1) & known, known, 1))
    assert fit(spoilt, rows(told), before=False).best.wrong.sum() > 20
