"""Verdicts on recordings of some 100,000 changes, fit or no fit: `python -m tests.benchmarks.verdicts`."""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np
from forelight.harness.capture.readers import parse_capture
from forelight.harness.verdict.verdict import check

from tests.harness.verdict.noise import BOARD, Noise, Setup, States, golden_of, recorded, states

SEED = 5
LINES = tuple(f"o{bit}" for bit in range(8))


@dataclass(frozen=True)
class Shape:
    """A kind of run, so many steps of it, and what is wrong with the recording."""

    kind: str
    steps: int
    wrong: str


SHAPES = (
    *(
        Shape("lfsr", 25_000, wrong)
        for wrong in ("nothing", "a step lost", "two lines swapped", "another design")
    ),
    *(Shape("lone", 600_000, wrong) for wrong in ("a step lost", "another design")),
    Shape("ring", 150_000, "a step lost"),
    Shape("gated", 45_000, "another design"),
)


def spoilt(shape: Shape, shown: States) -> States:
    """What the bench does."""
    middle, bench = shape.steps // 2, shown.copy()
    if shape.wrong == "a step lost":
        bench[middle + 1 :] = shown[middle:-1]
    elif shape.wrong == "two lines swapped":
        bench = ((shown & 0xFC) | (shown & 1) << 1 | (shown >> 1 & 1)).astype(np.uint8)
    elif shape.wrong == "another design":
        bench = states(shape.kind, len(shown) - 1, np.random.default_rng(SEED + 1))
    return bench


def main() -> None:
    print(f"seed {SEED}; processor time of the verdict, the file read beforehand")
    for shape in SHAPES:
        rng = np.random.default_rng(SEED)
        setup = Setup(states(shape.kind, shape.steps + 2000, rng), half=2, lead=5, restart=1, unsettled=0)
        noise = Noise(
            rate=0.01, drift=100e-6, jitter=0.2, start=500.3, length=float(shape.steps), lines=LINES
        )
        text = recorded(setup, spoilt(shape, setup.states), noise, rng)
        capture, golden = parse_capture(text.encode(), "bench"), golden_of(setup)
        changes = sum(len(line.times) - 1 for line in capture.lines.values())
        began = time.process_time()
        verdict = check(golden, capture, BOARD, start=setup.first_rise + 1)
        spent = time.process_time() - began
        print(
            f"{shape.kind:6}{changes:>9,} changes in {shape.steps:>7,} steps, {shape.wrong:18}: {verdict.kind:12}"
            f"{spent:5.2f} s, {changes / spent / 1e3:7.0f} thousand a second"
        )


if __name__ == "__main__":
    main()
