"""Draws random cases from the noise model: good captures, and captures with one real error."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests.harness.capture.noise import BOARD, FAULTS, KINDS, Case, Noise, Setup, States, recorded, states


def draw(seed: int, fault: str, extreme: float = 0.25) -> Case:
    """The case that belongs to this seed; each kind of noise stands at its extreme with the given probability."""
    rng = np.random.default_rng([seed, len(fault), sum(map(ord, fault))])
    while True:
        case = _attempt(rng, fault, extreme)
        if case is not None:
            return case


def _noise(
    rng: np.random.Generator, extreme: float, lines: tuple[str, ...], start: float, length: float
) -> Noise:
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
    noise = _noise(rng, extreme, lines, start, length)
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
    first = _first(setup, bench, noise, mask)
    if (first is None) != (fault in ("none", "rate")):
        return None
    return Case(setup, noise, fault, recorded(setup, bench, noise, rng), first, detail, bench)


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


def _first(setup: Setup, bench: States, noise: Noise, mask: int) -> int | None:
    """The first step, shown whole within the recording, at which a settled bit of a recorded line differs."""
    late = 1 / (2 * setup.half)
    settled = np.full(len(bench), mask, np.int64)
    settled[: setup.restart] &= ~setup.unsettled
    steps = np.arange(len(bench))
    shown = (steps - 1 + late + 0.5 > noise.start) & (steps + late - 0.5 < noise.start + noise.length)
    wrong = np.flatnonzero(shown & (((bench ^ setup.states) & settled) != 0))
    return int(wrong[0]) if len(wrong) else None


__all__ = ["BOARD", "FAULTS", "draw"]
