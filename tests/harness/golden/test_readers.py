"""The kept goldens as VCD: pyvcd and vcdvcd read what Forelight reads, unsettled bits too, and other time scales."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from forelight.designs.catalogue import load_design, names
from forelight.harness.bench.kept import FOLDER
from forelight.harness.golden.read import read_golden
from forelight.harness.golden.write import to_vcd

from tests.sim.traces.vcd_readers import forelight, pyvcd, vcdvcd

LINES = [f"{side}{bit}" for side in "io" for bit in range(8)]


@pytest.mark.parametrize("design", names())
def test_kept_goldens_are_read_alike(design: str) -> None:
    kept = sorted((load_design(design).folder / FOLDER).glob("*.csv"))
    assert kept
    for path in kept:
        golden = read_golden(path)
        text = to_vcd(golden)
        found = forelight(text)
        assert found == pyvcd(text) == vcdvcd(text), path.name
        assert sorted(found) == LINES
        for bit in range(8):
            levels = np.where(golden.settled >> bit & 1, np.where(golden.outputs >> bit & 1, "1", "0"), "x")
            changed = np.concatenate(([True], levels[1:] != levels[:-1]))
            assert [level for _, level in found[f"o{bit}"]] == levels[changed].tolist(), path.name
            for (instant, _), tick in zip(found[f"o{bit}"], golden.ticks[changed].tolist(), strict=True):
                assert abs(instant - Fraction(tick, golden.oscillator_hz)) <= Fraction(1, 2 * 10**9)


@pytest.mark.parametrize(("hz", "scale"), [(499_999_999, "1 ns"), (500_000_001, "1 ps")])
def test_on_other_oscillators(hz: int, scale: str) -> None:
    for design in ("dice", "nor_latch", "free_counter", "inverter_ring"):
        for path in sorted((load_design(design).folder / FOLDER).glob("*.csv")):
            text = to_vcd(replace(read_golden(path), oscillator_hz=hz))
            assert f"$timescale {scale} $end" in text
            assert forelight(text) == pyvcd(text) == vcdvcd(text), path.name


def test_there_are_unsettled_bits_among_them() -> None:
    ever, last = set(), set()
    for design in names():
        for path in (load_design(design).folder / FOLDER).glob("*.csv"):
            unsettled = ~read_golden(path).settled
            ever |= {design} if unsettled[1:].any() else set()
            last |= {design} if unsettled[-1] else set()
    assert len(ever) > 20 and last == {"free_counter", "inverter_ring"}
