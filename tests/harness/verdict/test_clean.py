"""Spikes go, short steps stay, and what is neither becomes a gap."""

from __future__ import annotations

import numpy as np
import pytest
from forelight.harness.capture.record import RecordedLine
from forelight.harness.verdict.clean import shortest_run, without_frays, without_spikes
from forelight.sim.levels import UNKNOWN


def line(*changes: tuple[float, int]) -> RecordedLine:
    return RecordedLine(np.array([t for t, _ in changes], float), np.array([v for _, v in changes], np.uint8))


def seen(found: RecordedLine) -> list[tuple[float, int]]:
    return [(float(t), int(v)) for t, v in zip(found.times, found.levels, strict=True)]


def test_a_spike_within_a_run_vanishes() -> None:
    spiked = line((0, 0), (3, 1), (3.04, 0), (6, 1), (7.5, 0), (7.53, 1), (9, 0))
    assert seen(without_spikes(spiked, 0.125)) == [(0, 0), (6, 1), (9, 0)]


def test_a_spike_beside_an_edge_hides_when_it_was() -> None:
    assert seen(without_spikes(line((0, 0), (3, 1), (3.04, 0), (3.09, 1), (6, 0)), 0.125)) == [
        (0, 0),
        (3, UNKNOWN),
        (3.09, 1),
        (6, 0),
    ]


def test_the_first_and_last_run_may_be_of_any_length() -> None:
    short = line((0, 0), (0.01, 1), (5, 0))
    assert without_spikes(short, 0.125) is short


def test_a_short_run_at_an_end_of_the_recording_may_be_a_spike() -> None:
    short = line((0, 0), (0.01, 1), (5, 0))
    assert seen(without_frays(short, 0.125, 5.1)) == [(0, UNKNOWN), (0.01, 1), (5, UNKNOWN)]
    assert without_frays(short, 0.005, 5.1) is short
    still = line((0, 1))
    assert without_frays(still, 0.125, 0.1) is still


@pytest.mark.parametrize(
    ("samples", "shortest"),
    # From 6 samples a step on, a spike of a twentieth of a step takes one sample and a short step two.
    [(3, 0.0), (5, 0.0), (6, 0.25), (8, 0.1875), (20, 0.125), (1000, 0.125)],
)
def test_what_counts_as_short(samples: int, shortest: float) -> None:
    assert shortest_run(1.0, 1 / samples) == pytest.approx(shortest)
    assert shortest_run(1.0, 0.0) == 0.125
