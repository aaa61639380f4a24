"""Slips of whoever writes a list: found at the entry at which they were made, and said in its numbers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from forelight.designs.procedures.procedure import Steps
from forelight.harness.capture.record import Capture, changes_only
from forelight.harness.verdict.causes import writing
from forelight.harness.verdict.causes.foretell import Foreteller
from forelight.harness.verdict.causes.rank import rank
from forelight.harness.verdict.causes.readings import Readings
from forelight.harness.verdict.listing import MISSED, TWICE, WRONG_ENTRY, Listed, Slip, listed
from numpy.typing import NDArray

from .benches import OUTPUTS, by_eye, handling

IT = handling("travelling_wave", (Steps(60),), i0=1)
ENTRIES = 24


def entries() -> NDArray[np.uint8]:
    """What an eye sees, entry by entry, bit 0 first."""
    right = by_eye(IT, ENTRIES)
    return np.stack([right.lines[name].at(np.arange(ENTRIES, dtype=np.float64) + 0.5) for name in OUTPUTS])


def as_list(columns: NDArray[np.uint8]) -> Capture:
    at = np.arange(columns.shape[1], dtype=np.float64)
    lines = {name: changes_only(at, levels) for name, levels in zip(OUTPUTS, columns, strict=True)}
    return Capture(lines, 0.0, float(columns.shape[1]), unit="steps")


def slipped(kind: str, at: int) -> Capture:
    right = entries()
    if kind == MISSED:
        return as_list(np.delete(right, at, axis=1))
    if kind == TWICE:
        return as_list(np.insert(right, at, right[:, at - 1], axis=1))
    right[2, at] ^= 1
    return as_list(right)


def read(capture: Capture) -> tuple[Readings, Listed]:
    told = Foreteller("i7").prospect(IT)
    assert told is not None
    found = Readings(capture, IT.board, told, "i7")
    best = listed(found.usual.recordings[0], found.usual.rows, found.usual.stated or 0)
    assert best is not None
    return found, best


@pytest.mark.parametrize("kind", [MISSED, TWICE, WRONG_ENTRY])
def test_a_list_is_foretold_entry_by_entry_as_it_was_written(kind: str) -> None:
    readings, best = read(slipped(kind, 9))
    (slip,) = best.slips
    assert slip.kind == kind and slip.first <= 9 <= slip.last
    recording = readings.usual.recordings[0]
    rows = writing.as_written(readings.usual.rows, best)
    assert len(rows.levels) == len(recording.rows.levels)
    assert rows.first == recording.rows.first
    known = rows.known & recording.rows.known
    assert not ((rows.levels ^ recording.rows.levels) & known).any()
    assert np.flatnonzero(rows.known == 0).tolist() == ([9] if kind == WRONG_ENTRY else [])
    laid = writing.explains(recording, readings.usual.rows, best)
    assert laid.best.mismatches == 0 and laid.bits > 0.5 * recording.null_bits


def test_an_entry_that_is_wrong_in_one_line_alone_is_no_wonder() -> None:
    """Whichever entry and line it is: that costs no more than to say which, and that a list has such an entry."""
    saved = []
    for wrong in (0b100, 0b1100110):
        columns = entries()
        columns[:, 9] ^= (wrong >> np.arange(8) & 1).astype(np.uint8)
        readings, best = read(as_list(columns))
        recording = readings.usual.recordings[0]
        saved.append(recording.null_bits - writing.explains(recording, readings.usual.rows, best).bits)
    assert saved[0] == pytest.approx(np.log2(ENTRIES) + 1 + np.log2(8) + 1, abs=1)
    assert saved[1] > saved[0] + 3


def test_the_entries_are_said_as_a_person_counts_them() -> None:
    assert writing.cause([Slip(MISSED, 6, 6)]).said == (
        "In the list a step was left out before entry 7; all else in it is as foretold."
    )
    assert "one of entries 3 to 5 is too many" in writing.cause([Slip(TWICE, 2, 4)]).said
    two = writing.cause([Slip(WRONG_ENTRY, 3, 3), Slip(TWICE, 8, 8)])
    assert two.kind == writing.SEVERAL
    assert two.name == "entry 4 was written down wrong; entry 9 is the step before it once more"
    assert two.change(IT) == replace(IT, slips=(Slip(WRONG_ENTRY, 3, 3), Slip(TWICE, 8, 8)))


@pytest.mark.slow
@pytest.mark.parametrize("kind", writing.KINDS)
def test_it_stands_first_among_all_causes(kind: str) -> None:
    found = rank(IT, slipped(writing.KINDS[kind], 9), IT.board, "i7")
    assert found.convincing[0].best.cause.kind == kind
    assert found.differing == ()
