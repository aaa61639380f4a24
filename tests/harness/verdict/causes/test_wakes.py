"""Power-ups from which a recording may come: in the order of how much is as it was recorded, where most is."""

from __future__ import annotations

import numpy as np
import pytest
from forelight.harness.verdict.causes.wakes import SOME, Beginning, Woken
from forelight.harness.verdict.placement import Recording
from forelight.harness.verdict.rows import Moments, ReadRows

SEED = 3
LANES, TICKS, ROWS = 40, 300, 60


@pytest.mark.parametrize(
    ("differ", "moves"),
    [((0, 9), TICKS), ((0, TICKS), TICKS), ((100, 130), TICKS), ((0, 9), 40), ((0, 0), TICKS), ((0, 0), 0)],
)
def test_the_likeliest_power_ups_are_those_of_all_placements(differ: tuple[int, int], moves: int) -> None:
    """They differ within some ticks, and after some nothing moves; judged by counting at each placement."""
    rng = np.random.default_rng(SEED)
    print(f"seed {SEED}")
    outputs = np.tile(rng.integers(0, 4, TICKS, np.uint8), (LANES, 1))
    own = slice(*differ)
    outputs[:, own] = rng.integers(0, 4, outputs[:, own].shape, np.uint8)
    outputs[:, moves:] = outputs[:1, moves - 1 : moves] if moves else 1
    at = differ[0] + 3
    seen = (outputs[7, at : at + ROWS] ^ (rng.random(ROWS) < 0.1)).astype(np.uint8)
    known = rng.integers(0, 4, ROWS, np.uint8)
    rows = ReadRows(seen, known, 1)
    recording = Recording(Moments(("o0", "o1"), ((0.5,),) * 2), rows, np.zeros((2, ROWS)))
    ticks = np.arange(TICKS, dtype=np.float64) + 0.5
    lags = np.arange(TICKS - ROWS + 1)
    begins = Beginning(recording, slice(0, ROWS), lags, [ticks, ticks], [0, 1])
    woken = Woken(np.r_[-np.inf, np.arange(1, TICKS)], outputs)
    windows = np.lib.stride_tricks.sliding_window_view(outputs, ROWS, axis=1)
    wrong = np.bitwise_count((windows ^ seen) & known).sum(axis=2).min(axis=1)
    unlike = sorted({row.tobytes(): n for n, row in reversed(list(enumerate(outputs)))}.values())
    order = sorted(unlike, key=lambda lane: int(wrong[lane]))
    found = begins.likely(woken)
    assert len(set(found)) == len(found) == len(order[:SOME])
    assert [wrong[lane] for lane in found] == [
        wrong[lane] for lane in order[:SOME]
    ]  # of those as good any may come
    assert begins.amiss(woken).tolist() == wrong.tolist()
    by_line = np.stack([((windows ^ seen) & known & bit > 0).sum(axis=2) for bit in (1, 2)])
    assert begins.amiss(woken, 5).tolist() == np.minimum(by_line, 5).sum(axis=0).min(axis=1).tolist()
