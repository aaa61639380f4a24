"""Verdicts on captures of the whole chip: never a false alarm, and no real error missed that could be seen."""

from __future__ import annotations

import os
from dataclasses import replace

import numpy as np
import pytest
from forelight.harness.verdict.verdict import AGREES, DIFFERS, INCONCLUSIVE

from tests.harness.verdict.honesty import GOOD, Tally, draw, judged, measure
from tests.harness.verdict.noise import FAULTS
from tests.harness.verdict.oracle import as_begun_before, as_restarted, first_steps, hidden
from tests.sizes import sized


def solid(found: Tally) -> None:
    """No good recording differs, few are left open, and nearly all faults are found."""
    print(*found.odd, found.table(), sep="\n")
    good = sum(found.verdicts[GOOD, kind] for kind in (AGREES, DIFFERS, INCONCLUSIVE))
    faulty = sum(found.count(kind) for kind in (AGREES, DIFFERS, INCONCLUSIVE))
    assert found.count(DIFFERS, [GOOD]) == 0
    assert found.count(INCONCLUSIVE, [GOOD]) <= 0.03 * good
    assert found.count(DIFFERS) >= 0.95 * faulty


def falls_short(found: Tally) -> list[str]:
    """In what: the first step named rightly, and faults said to agree, which no reader may have been able to tell."""
    faulty = sum(found.count(kind) for kind in (AGREES, DIFFERS, INCONCLUSIVE))
    differing = found.count(DIFFERS, [fault for fault in FAULTS if fault != "rate"])
    placed, agree = sum(found.named.values()), found.count(AGREES)
    found_short = []
    if placed < 0.983 * differing:
        found_short.append(f"the first step is named in {placed} of {differing}")
    if not agree == found.missed_rightly <= 0.005 * faulty:
        found_short.append(
            f"{agree} faults of {faulty} agree, of which {found.missed_rightly} could not be told"
        )
    return found_short


def test_some_captures_of_the_chip() -> None:
    """Seeds from 5000 on, a few runs of two chips."""
    found = measure(sized(20, 40), sized(18, 36), 1, first_seed=5000, chips=(3, 8), variety=4)
    solid(found)
    assert falls_short(found) == []


@pytest.mark.parametrize(
    ("positions", "fault", "seed", "kind"),
    [(8, GOOD, 191, AGREES), (3, "lost", 44, DIFFERS), (3, "lost", 34, DIFFERS)],
)
def test_a_lone_line_with_few_changes(positions: int, fault: str, seed: int, kind: str) -> None:
    """Some 27 edges that stray by a third of a step tell drift from a slip, if what their straying costs is counted."""
    assert judged(draw(positions, fault, seed), seed).kind == kind


def test_the_recorded_restart_tells_where_a_recording_begins() -> None:
    """Two lines are swapped, so that the recording fits better where restart is not foretold."""
    case = draw(4, "swap", 52)
    found = judged(case, 52).first
    assert found is not None
    assert found.step in first_steps(case)


def test_a_slip_that_a_restart_explains_is_left_open() -> None:
    """The step that is lost is the first one of a word that comes round: restart held for a step would show the same.
    Where the restart was recorded, or one bit is wrong beside, it would not."""
    case = draw(5, "lost", 127)
    assert as_restarted(case)
    assert judged(case, 127).kind == INCONCLUSIVE
    assert not as_restarted(replace(case, noise=replace(case.noise, lines=(*case.noise.lines, "i6"))))
    pins = case.pins.copy()
    pins[-len(pins) // 4 :] ^= np.uint8(1)
    assert not as_restarted(replace(case, pins=pins))


@pytest.mark.parametrize(("positions", "fault", "seed"), [(5, "extra", 97), (8, "lost", 269)])
def test_a_slip_soon_after_a_recording_begins_may_be_the_set_up(
    positions: int, fault: str, seed: int
) -> None:
    """All behind the slip is the run from its beginning: what was before may be from before the slot was up. Where the
    restart was recorded, or a bit is wrong in the end, it is not."""
    case = draw(positions, fault, seed)
    assert as_begun_before(case) and not as_restarted(case)
    assert judged(case, seed).kind == INCONCLUSIVE
    assert not as_begun_before(replace(case, noise=replace(case.noise, lines=(*case.noise.lines, "i6"))))
    pins = case.pins.copy()
    pins[-len(pins) // 4 :] ^= np.uint8(1)
    assert not as_begun_before(replace(case, pins=pins))


@pytest.mark.slow
def test_thousands_of_captures_of_the_chip() -> None:
    """Seeds 0 to 1999; 0 of 2000 means a share of at most 0.15 % with 95 % confidence (3/n)."""
    found = measure(2000, 2000, os.cpu_count() or 1)
    solid(found)
    assert sum(found.verdicts.values()) >= 4000
    assert falls_short(found) == []


def test_a_hidden_fault_is_one_that_another_shift_explains() -> None:
    """The oracle itself: what the chip did well is explained, and one wrong bit in a run without repetition is not."""
    assert not any(hidden(draw(3, "flip", seed, 4)) for seed in range(6))
    case = draw(3, "stuck", 1, 4)
    assert not hidden(case)
    # Restart may have been held for a step more, and the lost step come before all changes: only the restart tells.
    case = draw(3, "lost", 22)
    assert hidden(case)
    assert not hidden(replace(case, noise=replace(case.noise, lines=(*case.noise.lines, "i6"))))
    case = draw(3, "stuck", 1, 4)
    whole = case.__class__(case.run, "stuck", case.run.pins, case.noise)
    assert hidden(whole)
    assert np.array_equal(whole.pins, case.run.pins)
