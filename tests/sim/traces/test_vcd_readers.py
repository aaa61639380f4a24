"""Three readers find the same changes at the same instants: vectors, unknown bits, and every time scale."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from forelight.sim.traces import vcd
from forelight.sim.traces.trace import Trace

from tests.sim.traces.vcd_readers import SECONDS, forelight, pyvcd, vcdvcd

WIDTHS = {"o0": 1, "o1": 1, "bus": 8, "word": 37, "long": 64}


def random_trace(seed: int, rows: int = 200) -> Trace:
    """Vectors and single bits, some of them unknown in part or for a while."""
    rng = np.random.default_rng(seed)
    times = np.cumsum(rng.integers(1, 10**9, rows)) - 1
    top = {name: np.uint64((1 << width) - 1) for name, width in WIDTHS.items()}

    def column(name: str, often: float) -> np.ndarray[tuple[int], np.dtype[np.uint64]]:
        bits = rng.integers(0, 1 << 64, rows, np.uint64, endpoint=False) & top[name]
        return np.where(rng.random(rows) < often, bits, np.uint64(0))

    unknown = {name: column(name, 0.3) for name in WIDTHS if name != "o1"}
    values = {name: column(name, 0.9) & ~unknown.get(name, np.uint64(0)) for name in WIDTHS}
    return Trace(times, values, dict(WIDTHS), int(times[-1]) + 3, unknown).compact()


@pytest.mark.parametrize("unit", SECONDS)
@pytest.mark.parametrize("count", [1, 10, 100])
def test_three_readers_agree(count: int, unit: str) -> None:
    for seed in range(3):
        trace = random_trace(seed)
        text = vcd.write(trace, timescale=f"{count} {unit}", comment=f"seed {seed}")
        found = forelight(text)
        assert found == pyvcd(text) == vcdvcd(text), seed
        assert found.keys() == WIDTHS.keys()
        instants = {time for changes in found.values() for time, _ in changes}
        assert instants == {int(time) * count * SECONDS[unit] for time in trace.times}
        assert any("x" in bits and set(bits) != {"x"} for _, bits in found["long"]), "unknown in part"


def test_a_wrong_level_or_instant_would_be_seen() -> None:
    trace = random_trace(0)
    text = vcd.write(trace)
    assert forelight(text)["o0"][0][0] == Fraction(int(trace.times[0]), 10**9)
    later = text.replace(f"\n#{trace.times[-1]}\n", f"\n#{trace.times[-1] + 1}\n")
    assert later != text and forelight(text) != pyvcd(later) == vcdvcd(later)
    level = text[::-1].replace("x\n", "1\n", 1)[::-1]
    assert level != text and forelight(text) != pyvcd(level) == vcdvcd(level)
