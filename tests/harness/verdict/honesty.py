"""Judges captures of the whole chip, good ones and ones with one real error: `python -m tests.harness.capture.honesty`.

A case is a stretch of a run of the whole chip, with at least 200 steps and 20 settled changes, to which an instrument
has added its noise (a quarter of the cases at each extreme); a fault is one change of what the pins did. Whether any
reader could tell it from a good capture is decided by trying every shift of the golden, with the truth in hand.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace

import numpy as np
from forelight.harness.capture.readers import parse_capture
from forelight.harness.verdict.verdict import AGREES, DIFFERS, INCONCLUSIVE, Verdict, check

from tests.harness.verdict.cases import drawn_noise
from tests.harness.verdict.noise import FAULTS
from tests.harness.verdict.oracle import (
    Case,
    as_begun_before,
    as_restarted,
    expected,
    first_steps,
    hidden,
    window,
    wrong_bits,
)
from tests.harness.verdict.silicon import POSITIONS, Run, run_of

GOOD = "none"
RUNS = 24  # of each chip
STEPS, CHANGES = 200, 20  # that each capture has at least
OUTPUTS = tuple(f"o{n}" for n in range(8))


def draw(positions: int, fault: str, seed: int, variety: int = RUNS) -> Case:
    """The case that belongs to this seed, from one of so many runs of the chip with so many positions."""
    rng = np.random.default_rng([seed, positions, *fault.encode()])
    while True:
        case = _attempt(rng, run_of(positions, 1, int(rng.integers(variety))), fault)
        if case is not None:
            return case


def _attempt(rng: np.random.Generator, run: Run, fault: str) -> Case | None:
    length = float(rng.uniform(STEPS + 3, min(run.count - 8, 600)))
    start = float(rng.uniform(-4, run.count - 3 - length))
    names = [name for name in OUTPUTS if rng.random() < 0.6] if rng.random() < 0.5 else list(OUTPUTS)
    lines = (*names, *(name for name in ("i7", "i6") if rng.random() < 0.5))
    good = Case(run, GOOD, run.pins, drawn_noise(rng, 0.25, lines, start, length))
    if _changes(good) < CHANGES:
        return None
    if fault == GOOD:
        return good
    case = _spoilt(rng, replace(good, fault=fault))
    # An error is real if it shows on a recorded line. By the lines that are not wrong throughout, it can be placed.
    if (
        case is None
        or not (fault == "rate" or dict(wrong_bits(case, 0))[0].any())
        or _changes(case) < CHANGES
    ):
        return None
    return case


def _changes(case: Case) -> int:
    """How many settled changes the recorded outputs have, but for the lines that are wrong throughout."""
    first, last = window(case, 0)
    mask = np.uint16((case.mask & ~sum(1 << line for line in case.lines)) * 0x101)
    shown, settled = (blocks[first:last] & mask for blocks in expected(case.run))
    if len(shown) < STEPS:
        return 0
    both = (shown[1:] ^ shown[:-1]) & settled[1:] & settled[:-1]
    return int(np.maximum(np.bitwise_count(both >> 8), np.bitwise_count(both & 0xFF)).sum())


def _spoilt(rng: np.random.Generator, case: Case) -> Case | None:
    """The same with its fault; None where this draw has no room for it."""
    run, noise, pins = case.run, case.noise, case.run.pins.copy()
    first, last = window(case, 0)
    step, long = int(rng.integers(first + 7, last - 7)), 2 * run.half
    at = run.first + long * (step - 1) + 1
    outputs = [int(name[1]) for name in noise.lines if name[0] == "o"]
    lines: tuple[int, ...] = ()
    if case.fault == "flip":
        pins[at : at + long] ^= np.uint8(1 << int(rng.choice(outputs)))
    elif case.fault == "extra":
        pins[at:-long] = pins[at + long :].copy()
    elif case.fault == "lost":
        pins[at + long :] = pins[at:-long].copy()
    elif case.fault == "rate":
        factor = float(rng.uniform(1.051, 2.0)) ** rng.choice([-1, 1])
        noise = replace(noise, rate=(1 + noise.rate) * factor - 1)
        if noise.samples:
            noise = replace(noise, samples=max(noise.samples * (1 + noise.rate), 3.0))
    elif case.fault == "swap" and len(outputs) > 1:
        a, b = lines = tuple(rng.choice(outputs, 2, replace=False).tolist())
        apart = (pins >> a ^ pins >> b) & 1
        pins ^= (apart << a | apart << b).astype(np.uint8)
    elif case.fault == "stuck":
        line, level = int(rng.choice(outputs)), int(rng.integers(2))
        lines = (line,)
        pins = (pins & np.uint8(0xFF & ~(1 << line))) | np.uint8(level << line)
    else:
        return None
    return replace(case, pins=pins, noise=noise, lines=lines, step=step)


# Counting


@dataclass
class Tally:
    """How many cases had each verdict, by fault; how many named the first step; those that are against the rules."""

    verdicts: Counter[tuple[str, str]] = field(default_factory=Counter)
    named: Counter[str] = field(default_factory=Counter)
    missed_rightly: int = 0  # faults that were said to agree, and that no reader could tell
    open_rightly: Counter[str] = field(default_factory=Counter)  # the same of those that were left open
    odd: list[str] = field(default_factory=list)

    def add(self, other: Tally) -> None:
        self.verdicts += other.verdicts
        self.named += other.named
        self.missed_rightly += other.missed_rightly
        self.open_rightly += other.open_rightly
        self.odd += other.odd

    def count(self, kind: str, faults: Sequence[str] = FAULTS) -> int:
        return sum(self.verdicts[fault, kind] for fault in faults)

    def table(self) -> str:
        """The confusion table, and what it means that none of the good captures differs."""
        kinds = (AGREES, INCONCLUSIVE, DIFFERS)
        lines = [
            "| in truth | agrees | inconclusive | of which no reader could tell | differs | first step named |",
            "|---|---|---|---|---|---|",
        ]
        for fault in (GOOD, *FAULTS):
            agree, left, differ = (self.verdicts[fault, kind] for kind in kinds)
            told = "-" if fault in (GOOD, "rate") else str(self.open_rightly[fault])
            named = "-" if fault in (GOOD, "rate") else str(self.named[fault])
            lines.append(
                f"| {'good' if fault == GOOD else fault} | {agree} | {left} | {told} | {differ} | {named} |"
            )
        good = sum(self.verdicts[GOOD, kind] for kind in kinds)
        wrong = self.verdicts[GOOD, DIFFERS]
        lines.append("")
        if not wrong:
            lines.append(
                f"0 of {good} good captures differ: a share of at most {300 / good:.2f} % with 95 % confidence (3/n)."
            )
        lines.append(f"{self.missed_rightly} faults were said to agree that no reader could tell.")
        return "\n".join(lines)


def judged(case: Case, seed: int) -> Verdict:
    text = case.text(np.random.default_rng([seed, 77]))
    capture = parse_capture(text.encode(), "bench")
    return check(case.run.golden, capture, case.run.board, start=case.run.start)


def tally(positions: int, seeds: dict[str, range], variety: int = RUNS) -> Tally:
    """The verdicts on the cases of one chip that belong to these seeds, by fault."""
    found = Tally()
    for fault, numbers in seeds.items():
        for seed in numbers:
            _count(found, draw(positions, fault, seed, variety), seed)
    return found


def _count(found: Tally, case: Case, seed: int) -> None:
    fault, verdict = case.fault, judged(case, seed)
    found.verdicts[fault, verdict.kind] += 1
    where = f"{fault} {seed} of {case.run.label}: {verdict.kind}, {verdict.first}, {verdict.reasons}"
    unseen = fault != GOOD and verdict.kind == AGREES and hidden(case)
    found.missed_rightly += unseen
    if fault != GOOD and verdict.kind == INCONCLUSIVE:
        found.open_rightly[fault] += hidden(case) or as_restarted(case) or as_begun_before(case)
    if verdict.kind != (AGREES if fault == GOOD else DIFFERS) and not unseen:
        found.odd.append(where)
    if fault not in (GOOD, "rate") and verdict.kind == DIFFERS:
        named = verdict.first is not None and verdict.first.step in first_steps(case)
        found.named[fault] += named
        if not named:
            found.odd.append(f"{where}, not {sorted(first_steps(case))[:9]}")


def measure(
    good: int,
    faulty: int,
    processes: int,
    first_seed: int = 0,
    chips: Sequence[int] = POSITIONS,
    variety: int = RUNS,
) -> Tally:
    """So many good captures and so many with an error, over all chips and faults, in several processes."""
    shares = {GOOD: good} | dict.fromkeys(FAULTS, faulty // len(FAULTS) + 1)
    jobs = []
    for number, positions in enumerate(chips):
        parts = {
            fault: range(*(count * n // len(chips) + first_seed for n in (number, number + 1)))
            for fault, count in shares.items()
        }
        jobs.append((positions, parts, variety))
    total = Tally()
    if processes == 1:
        for job in jobs:
            total.add(tally(*job))
        return total
    with ProcessPoolExecutor(processes, multiprocessing.get_context("spawn")) as pool:
        for part in pool.map(tally, *zip(*jobs, strict=True)):
            total.add(part)
    return total


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split(":")[0] + ".")
    parser.add_argument(
        "good", type=int, nargs="?", default=2000, help="how many good captures (%(default)s)"
    )
    parser.add_argument("faulty", type=int, nargs="?", default=2000, help="and with an error (%(default)s)")
    parser.add_argument("first", type=int, nargs="?", default=0, help="the first seed (%(default)s)")
    asked = parser.parse_args()
    found = measure(asked.good, asked.faulty, os.cpu_count() or 1, asked.first)
    print(*found.odd, sep="\n")
    print(found.table())


if __name__ == "__main__":
    main()
