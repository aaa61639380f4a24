"""Good recordings of hard kinds, and bursts with steps lost between them: `python -m tests.harness.verdict.timed`.

Bursts some 2000 steps apart, short windows, and the interval that is stated for the rate, each with the noise of an
instrument; by generators of their own, on runs that are made without any of the code that judges.
"""

from __future__ import annotations

import argparse
from collections import Counter
from functools import cache

import numpy as np
from forelight.harness.capture.readers import parse_capture
from forelight.harness.verdict.verdict import AGREES, DIFFERS, Verdict, check

from tests.harness.verdict.catalogue import moving, shown
from tests.harness.verdict.noise import BOARD, KINDS, Noise, Setup, States, golden_of, recorded, states

BURSTS, BURST = 3, 90  # bursts, and steps of each
CHANGES = 2  # of a design in each of them
LOST = (0, 1, -1, 2, -2, 6, -6)  # steps, in a silence
OUTPUTS = tuple(f"o{bit}" for bit in range(8))


@cache
def bursting() -> tuple[str, ...]:
    """The designs that show at least `CHANGES` changes in each of so many bursts as are recorded."""
    return tuple(name for name in moving() if all(_moves(burst) >= CHANGES for burst in _cut(name, BURSTS)))


def _moves(states_: States) -> int:
    return int(np.bitwise_count(states_[1:] ^ states_[:-1]).sum())


def _cut(name: str, count: int) -> list[States]:
    """The run of a design in so many bursts, a short one over and over; what is not settled is low."""
    run = shown(name)
    assert run is not None
    seen = (run.outputs & run.settled)[: BURST * count]
    seen = np.resize(seen, BURST * count)
    return [seen[part * BURST : (part + 1) * BURST] for part in range(count)]


def bursts(rng: np.random.Generator, count: int, name: str | None = None) -> tuple[States, list[int]]:
    """So many bursts of changes some 2000 steps apart, and the steps in the middle of each silence: by chance, or those
    of a design that pauses."""
    parts, silent, at = [np.zeros(60, np.uint8)], [], 60
    for number in range(count):
        burst = np.bitwise_xor.accumulate(
            np.where(rng.random(BURST) < 0.4, 1 << rng.integers(0, 8, BURST), 0)
        )
        burst = _cut(name, count)[number] if name else burst
        length = int(rng.integers(1900, 2100))
        parts += [burst.astype(np.uint8), np.full(length, burst[-1], np.uint8)]
        silent.append(at + BURST + length // 2)
        at += BURST + length
    return np.concatenate(parts), silent[:-1]


def in_bursts(seed: int, lost: int, name: str | None = None) -> Verdict:
    """The verdict on a recording of three bursts with samples a quarter of a step apart (good, `lost` 0), or with edges
    good to a hundredth of a step and so many steps lost in a silence; they may be those of a design."""
    rng = np.random.default_rng([seed, lost + 100])
    meant, silent = bursts(rng, BURSTS, name)
    setup = Setup(meant, half=2, lead=5, restart=0, unsettled=0)
    bench = meant
    if lost:
        at = int(rng.choice(silent))
        bench = np.concatenate(
            [meant[:at], meant[at + lost :]]
            if lost > 0
            else [meant[:at], np.full(-lost, meant[at]), meant[at:]]
        )
    noise = Noise(
        rate=float(rng.uniform(-0.02, 0.02)),
        drift=200e-6 * float(rng.choice([-1, 1])),
        samples=0.0 if lost else 4.0,
        jitter=0.01 if lost else 0.02,
        lines=OUTPUTS,
        start=10.3,
        length=silent[-1] + 1150.0,
        layout="csv",
    )
    return judged(setup, bench, noise, rng)


def short(seed: int) -> Verdict | None:
    """The verdict on a good window with 20 to 40 changes, of any kind; None where it has fewer."""
    rng = np.random.default_rng([seed, 2])
    setup = Setup(states(str(rng.choice(KINDS)), 900, rng), half=2, lead=5, restart=0, unsettled=0)
    start = int(rng.integers(0, 500))
    changes = np.cumsum(np.bitwise_count(setup.states[start + 1 :] ^ setup.states[start:-1]))
    stop = int(np.searchsorted(changes, rng.integers(20, 41))) + 2
    if changes[-1] < 40 or start + stop > 880:
        return None
    noise = Noise(
        rate=float(rng.uniform(-0.02, 0.02)),
        jitter=float(rng.uniform(0, 0.2)),
        lines=OUTPUTS,
        start=start + 0.2,
        length=stop + 0.6,
    )
    return judged(setup, setup.states, noise, rng)


def rate_error(seed: int, name: str | None = None) -> float | None:
    """By how many of its standard deviations a stated rate is off; None where none is stated. The run is one by chance,
    or that of a design."""
    rng = np.random.default_rng([seed, 3, *(name or "").encode()])
    run = shown(name) if name else None
    seen = run.outputs & run.settled if run else states("slow", 900, rng)
    setup = Setup(seen, half=2, lead=5, restart=0, unsettled=0)
    noise = Noise(
        start=10.1 if run else 100.1,
        length=min(300.0, len(seen) - 20.0),
        rate=float(rng.uniform(-0.015, 0.015)),
        jitter=float(rng.uniform(0.05, 0.3)),
        lines=OUTPUTS,
    )
    verdict = judged(setup, setup.states, noise, rng)
    if verdict.rate_hz is None or not verdict.rate_sigma_hz:
        return None
    return (verdict.rate_hz - 750 / (1 + noise.rate)) / verdict.rate_sigma_hz


def judged(setup: Setup, bench: States, noise: Noise, rng: np.random.Generator) -> Verdict:
    capture = parse_capture(recorded(setup, bench, noise, rng).encode(), "bench")
    return check(golden_of(setup), capture, BOARD)


def _print_rates(errors: list[float]) -> None:
    inside = np.mean(np.abs(errors) < 1.96)
    print(f"rates within 1.96 standard deviations: {inside:.3f} of {len(errors)}")


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split(":")[0] + ".")
    parser.add_argument("each", type=int, nargs="?", default=100, help="how many of each (%(default)s)")
    parser.add_argument(
        "--bursts", action="store_true", help="bursts of designs alone, so many of each design"
    )
    parser.add_argument("--rates", action="store_true", help="rates on designs alone, so many of each design")
    asked = parser.parse_args()
    each = range(asked.each)
    print("seeds 0 to", each.stop - 1)
    if asked.rates:
        names = moving(6)
        print(len(names), "designs:", *names)
        every = [rate_error(seed, name) for name in names for seed in each]
        return _print_rates([error for error in every if error is not None])
    if asked.bursts:
        print(len(bursting()), "designs:", *bursting())
    for lost in LOST:
        found: Counter[str] = Counter()
        for name in bursting() if asked.bursts else (None,):
            kinds = [in_bursts(seed, lost, name).kind for seed in each]
            odd = sum(kind != (DIFFERS if lost else AGREES) for kind in kinds)
            if name and odd:
                print(f"  {name}, {lost} lost: {Counter(kinds)}")
            found.update(kinds)
        print("bursts, steps lost:", lost, found, flush=True)
    if asked.bursts:
        return
    windows = [verdict for seed in each if (verdict := short(seed))]
    print("short windows:", Counter(verdict.kind for verdict in windows))
    _print_rates([error for seed in each if (error := rate_error(seed)) is not None])
    assert not any(verdict.kind == DIFFERS for verdict in windows)


if __name__ == "__main__":
    main()
