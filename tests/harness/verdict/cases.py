"""Draws random cases from the noise model: good captures, and captures with one real error."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tests.harness.verdict.noise import KINDS, Case, Noise, Setup, States, recorded, states


def draw(seed: int, fault: str, extreme: float = 0.25) -> Case:
    """The case that belongs to this seed; each kind of noise stands at its extreme with the given probability."""
    rng = np.random.default_rng([seed, len(fault), sum(map(ord, fault))])
    while True:
        case = _attempt(rng, fault, extreme)
        if case is not None:
            return case


def drawn_noise(
    rng: np.random.Generator, extreme: float, lines: tuple[str, ...], start: float, length: float
) -> Noise:
    """A random instrument that records these lines; each kind of noise stands at its extreme with that probability."""

    def upto(limit: float) -> float:
        return float(limit if rng.random() < extreme else limit * rng.random())

    samples = (
        0.0
        if rng.random() < 0.4
        else (3.0 if rng.random() < extreme else float(3 * (1 + 10 * rng.random() ** 2)))
    )
    sign = rng.choice([-1, 1], 2)
    return Noise(
        rate=upto(0.02) * sign[0],
        drift=upto(200e-6) * sign[1],
        jitter=upto(1 / 3),
        samples=samples,
        spikes=upto(0.1) if rng.random() < 0.5 and (samples == 0 or samples >= 6.2) else 0.0,
        lines=lines,
        start=start,
        length=length,
        layout=str(rng.choice(["vcd", "csv"])),
    )


def _attempt(rng: np.random.Generator, fault: str, extreme: float) -> Case | None:
    kind = str(rng.choice(KINDS))
    total = int(rng.integers(450, 1500))
    setup = Setup(
        states(kind, total, rng),
        half=int(rng.choice([1, 2, 5, 30])),
        lead=int(rng.integers(1, 20)),
        restart=int(rng.integers(0, 4)),
        unsettled=int(rng.integers(0, 256)),
    )
    length = float(rng.uniform(200, min(total - 5, 600)))
    start = float(rng.uniform(-4, total - length))
    outputs = [f"o{n}" for n in range(8)]
    if rng.random() < 0.5:
        outputs = [line for line in outputs if rng.random() < 0.6]
    lines = tuple(outputs) + (("i7",) if rng.random() < 0.5 else ())
    noise = drawn_noise(rng, extreme, lines, start, length)
    shown = setup.states[max(0, int(np.ceil(start)) + 1, setup.restart) : int(start + length)]
    mask = sum(1 << int(line[1]) for line in outputs)
    changes = sum(int((np.diff((shown >> n) & 1) != 0).sum()) for n in range(8) if mask >> n & 1)
    if len(shown) < 200 or changes < 20:
        return None
    bench = setup.states.copy()
    bench[: setup.restart] ^= np.uint8(setup.unsettled & int(rng.integers(256)))
    detail: dict[str, object] = {"kind": kind, "total": total}
    made = _spoil(rng, fault, setup, bench, noise, detail)
    if made is None:
        return None
    bench, noise = made[:2]
    spoilt = 0
    for line in made[2]:
        spoilt |= 1 << line
    whole = mask & ~spoilt
    if sum(int((np.diff((shown >> n) & 1) != 0).sum()) for n in range(8) if whole >> n & 1) < 20:
        return None  # no reader could lay such a capture on the golden
    case = Case(setup, noise, fault, recorded(setup, bench, noise, rng), detail, bench)
    if fault in ("none", "rate"):
        return case
    # An exhaustive oracle: where some shift explains all, or the true one nearly all, no reader could tell the fault.
    return case if min(int(wrong.sum()) for _, wrong in _wrong(case, 0)) > 0 else None


def first_steps(case: Case) -> set[int]:
    """The first step that differs, by the true shift and by each other one that explains as many bits."""
    steps: set[int] = set()
    for earlier in (0, 1):
        found = dict(_wrong(case, earlier))
        least = int(found[0].sum())
        start = _window(case, earlier)[0]
        for shift, wrong in found.items():
            if wrong.any() and wrong.sum() <= least:
                steps.add(int(np.argmax(wrong > 0)) + start + shift)
    return steps


def _window(case: Case, earlier: int) -> tuple[int, int]:
    """The first and last step (exclusive) that are recorded well; a step's answer shows a frame after its rise."""
    late = 1 / (2 * case.setup.half)
    first = max(int(np.ceil(case.noise.start - late + 1.1)), 0) - earlier
    return max(first, 0), min(int(case.noise.start + case.noise.length - late - 0.1), len(case.bench))


def _wrong(case: Case, earlier: int) -> Iterator[tuple[int, NDArray[np.int64]]]:
    """For each shift the number of wrong bits at each step of the window."""
    first, last = _window(case, earlier)
    golden, bench = case.setup.states, case.bench[first:last]
    mask = sum(1 << int(line[1]) for line in case.noise.lines if line[0] == "o")
    settled = np.full(len(golden), mask, np.uint8)
    settled[: case.setup.restart] &= np.uint8(0xFF & ~case.setup.unsettled)
    for shift in range(-first, len(golden) - last + 1):
        rows = slice(first + shift, last + shift)
        yield shift, np.bitwise_count((golden[rows] ^ bench) & settled[rows]).astype(np.int64)


def _spoil(
    rng: np.random.Generator, fault: str, setup: Setup, bench: States, noise: Noise, detail: dict[str, object]
) -> tuple[States, Noise, tuple[int, ...]] | None:
    """The bench's states with one fault, and the lines that are wrong throughout; None where this draw has no room."""
    spoilt: tuple[int, ...] = ()
    low = max(int(np.ceil(noise.start)) + 3, setup.restart + 1)
    high = int(noise.start + noise.length) - 3
    at = int(rng.integers(low + 5, high - 5))
    outputs = [int(line[1]) for line in noise.lines if line[0] == "o"]
    detail["at"] = at
    if fault == "flip":
        bench[at] ^= np.uint8(1 << int(rng.choice(outputs)))
    elif fault == "extra":
        bench[at:-1] = bench[at + 1 :].copy()
    elif fault == "lost":
        bench[at + 1 :] = bench[at:-1].copy()
    elif fault == "rate":
        factor = float(rng.uniform(1.06, 2.0))
        noise = replace(noise, rate=(1 + noise.rate) * (factor if rng.random() < 0.5 else 1 / factor) - 1)
        if noise.samples:
            noise = replace(noise, samples=max(noise.samples * (1 + noise.rate), 3.0))
    elif fault == "swap":
        if len(outputs) < 2:
            return None
        a, b = rng.choice(outputs, 2, replace=False).tolist()
        spoilt = (a, b)
        x, y = bench >> a & 1, bench >> b & 1
        bench = (bench & np.uint8(0xFF & ~(1 << a | 1 << b))) | (x << b | y << a).astype(np.uint8)
    elif fault == "stuck":
        line = int(rng.choice(outputs))
        level = int(rng.integers(2))
        spoilt = (line,)
        bench = (bench & np.uint8(0xFF & ~(1 << line))) | np.uint8(level << line)
    detail["lines"] = spoilt
    return bench, noise, spoilt
