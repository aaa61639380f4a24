"""Good recordings that were begun before the restart: `python -m tests.harness.verdict.begun`.

A design of the catalogue wakes up somehow, runs for some steps, and is then restarted by a hand, which holds the line
for as long as it likes. The recording holds all of that, with the restart's line or without it; and it is judged by
what is foretold for the usual run, or for the inputs that it holds itself (`--play`).
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from forelight.designs.catalogue import load_design
from forelight.harness.asking.question import Asked
from forelight.harness.capture.readers import parse_capture
from forelight.harness.capture.record import Floats
from forelight.harness.commands.judging.judge import judged
from forelight.harness.scripting.asking import predict
from forelight.harness.verdict.kinds import AGREES, DIFFERS, INCONCLUSIVE
from forelight.harness.verdict.verdict import Verdict
from numpy.typing import NDArray

from tests.harness.verdict.catalogue import moving
from tests.harness.verdict.noise import Noise, Wave, written

WRONG = ("a step lost", "a step gained", "outputs stuck")
WAYS = ("with its line", "without its line", "played")
AFTER = 300  # steps that are recorded after the restart
CHANGES = 20  # of the outputs after it, from which on a recording should agree


@cache
def designs() -> tuple[str, ...]:
    """Those that show something, and have a step line and a restart."""
    return tuple(
        name for name in moving() if (sheet := load_design(name)).restart and sheet.step and sheet.step.line
    )


@dataclass(frozen=True)
class Begun:
    """A recording, and how often its outputs change after the restart."""

    name: str
    text: str
    changes: int


def draw(way: str, seed: int, names: Sequence[str] = (), wrong: str = "") -> Begun:
    """The recording that belongs to this seed, of one of the designs of these names, or of all.

    What is `wrong` is one of `WRONG`, from somewhere after the restart on.
    """
    rng = np.random.default_rng([seed, *way.encode()])
    name = str(rng.choice(names or designs()))
    sheet = load_design(name)
    assert sheet.restart and sheet.step
    line, active = sheet.restart.line, int(sheet.restart.active == "high")
    ran, held = int(rng.integers(5, 80)), int(rng.integers(1, 9))
    do = [
        f"steps {ran}",
        f"set {line}={active}",
        f"steps {held}",
        f"set {line}={1 - active}",
        f"steps {AFTER}",
    ]
    bench = predict(name, do=do, power_ups=1, seed=int(rng.integers(1 << 20)))
    rises = np.flatnonzero(np.diff((bench.inputs >> int(sheet.step.line[1]) & 1).astype(np.int8)) == 1) + 1
    first, unit = float(bench.ticks[rises[0]]), float(np.median(np.diff(bench.ticks[rises])))
    lines = [f"o{bit}" for bit in range(8)] + [sheet.step.line] * (way == "played" or rng.random() < 0.5)
    lines += [line] * (way != "without its line")
    waves: dict[str, Wave] = {}
    jitter = float(rng.uniform(0, 0.2))
    moved = bench.steps[1:][(np.diff(bench.outputs) != 0) & (bench.steps[1:] > ran + held)] - 1
    middle = moved[len(moved) // 4 : 3 * len(moved) // 4 + 1]
    at = float(np.random.default_rng(seed).choice(middle)) + 0.5 if len(middle) else 1e9
    for wanted in lines:
        column = ((bench.outputs if wanted[0] == "o" else bench.inputs) >> int(wanted[1]) & 1).astype(
            np.uint8
        )
        changed = np.flatnonzero(np.diff(column)) + 1
        shown_at = (bench.ticks[changed] - first).astype(np.float64) / unit
        levels = np.concatenate([column[:1], column[changed]])
        times, levels = _spoilt(shown_at, levels, wrong if wanted[0] == "o" else "", at)
        times = np.sort(times + rng.uniform(-jitter, jitter, len(times)))
        waves[wanted] = np.concatenate([[-1e9], times]), levels
    noise = Noise(
        rate=float(rng.uniform(-0.02, 0.02)), lines=tuple(lines), start=0.2, length=ran + held + AFTER - 5.0
    )
    shown = bench.outputs[bench.steps > ran + held]
    text = written(waves, unit / bench.oscillator_hz, noise, rng)
    return Begun(name, text, int(np.bitwise_count(shown[1:] ^ shown[:-1]).sum()))


def _spoilt(
    times: Floats, levels: NDArray[np.uint8], wrong: str, at: float
) -> tuple[Floats, NDArray[np.uint8]]:
    """When a line goes to which levels, of which the first is its first one, with that wrong from the step `at` on."""
    before = times < at
    match wrong:
        case "a step lost":
            return np.where(before, times, times + 1), levels
        case "a step gained":
            return np.where(before, times, np.maximum(times - 1, at)), levels
        case "outputs stuck":
            return times[before], levels[: 1 + before.sum()]
        case _:
            return times, levels


def verdict(way: str, made: Begun) -> Verdict:
    capture = parse_capture(made.text.encode(), "bench")
    if way != "played":
        return judged(Asked(made.name, "quay", None, None, {}, None, None, None, 0), capture)[2]
    with TemporaryDirectory() as folder:
        path = Path(folder) / "bench.vcd"
        path.write_text(made.text)
        return judged(Asked(made.name, "quay", None, None, {}, None, None, None, 0, play=path), capture)[2]


def measure(
    each: int, first_seed: int = 0, names: Sequence[str] = (), ways: Sequence[str] = WAYS, wrong: str = ""
) -> Counter[tuple[str, str]]:
    """The verdicts on so many recordings of each kind, those with few changes apart."""
    found: Counter[tuple[str, str]] = Counter()
    for way in ways:
        for seed in range(first_seed, first_seed + each):
            made = draw(way, seed, names, wrong)
            said = verdict(way, made)
            found[way if made.changes >= CHANGES else f"{way}, few changes", said.kind] += 1
            expected = said.kind == (DIFFERS if wrong else AGREES)
            if (said.kind == DIFFERS and not wrong) or (not expected and made.changes >= CHANGES):
                print(way, seed, made.name, made.changes, said.kind, said.reasons)
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split(":")[0] + ".")
    parser.add_argument("each", type=int, nargs="?", default=60, help="how many of each kind (%(default)s)")
    parser.add_argument("first", type=int, nargs="?", default=0, help="the first seed (%(default)s)")
    parser.add_argument("--good", action="store_true", help="good ones alone")
    asked = parser.parse_args()
    print(len(designs()), "designs:", *designs())
    for wrong in ("",) if asked.good else ("", *WRONG):
        print(wrong or "nothing wrong")
        found = measure(asked.each, asked.first, wrong=wrong)
        for way in dict.fromkeys(way for way, _ in found):
            print(
                way,
                *(f"{found[way, kind]} {kind}" for kind in (AGREES, INCONCLUSIVE, DIFFERS)),
                sep=", ",
                flush=True,
            )


if __name__ == "__main__":
    main()
