"""Measures one circuit on all engines in interleaved rounds, after it has compared their outputs byte for byte."""

from __future__ import annotations

import statistics
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from .build import PLAIN_C, Maker, Workshop
from .circuits import Circuit
from .engines import BLOCK, AmaranthSim, Child, Forelight, Runner

#: Cycles in the first block of the engines that interpret: so many of theirs are compared.
SHORT = 1 << 15

#: Blocks of the second comparison, of Forelight with plain C, after an engine that tunes itself has had time for it.
LATE = 400

#: Engines that interpret: at most a million cycles a second or so.
SLOW = ("amaranth.sim", "Icarus")


@dataclass(frozen=True)
class Effort:
    """How long to measure: the medians of `rounds` interleaved rounds, `seconds` for each engine in each."""

    rounds: int
    seconds: float


@dataclass(frozen=True)
class Result:
    """What was found of one circuit, by engine: rates per second, how many bytes were compared, and who differed."""

    circuit: str
    rates: Mapping[str, float]
    compared: Mapping[str, int]
    differing: Sequence[str]


def clocked(workshop: Workshop, makers: Sequence[Maker], circuit: Circuit, effort: Effort) -> Result:
    """Cycles per second of all engines: constant inputs, a toggling clock."""
    runners: dict[str, Runner] = {"Forelight": Forelight(circuit), "amaranth.sim": AmaranthSim(circuit)}
    runners |= {maker.name: Child(workshop, maker, circuit) for maker in makers}
    late = Child(workshop, PLAIN_C, circuit) if PLAIN_C in makers else None
    return _measure(circuit, runners, late, lambda runner: runner.clocked, effort)


def sampled(
    workshop: Workshop, makers: Sequence[Maker], circuit: Circuit, stimulus: Path, effort: Effort
) -> Result:
    """Samples per second of the engines that compile: a new input byte at each, the clock one of its bits."""
    runners: dict[str, Runner] = {"Forelight": Forelight(circuit, stimulus.read_bytes())}
    runners |= {
        maker.name: Child(workshop, maker, circuit, stimulus) for maker in makers if maker.tool != "iverilog"
    }
    late = Child(workshop, PLAIN_C, circuit, stimulus) if PLAIN_C in makers else None
    return _measure(circuit, runners, late, lambda runner: runner.sampled, effort)


def _measure(
    circuit: Circuit,
    runners: Mapping[str, Runner],
    late: Runner | None,
    step_of: Callable[[Runner], Callable[[int, int], float]],
    effort: Effort,
) -> Result:
    steps = {name: step_of(runner) for name, runner in runners.items()}
    heads, amounts = {}, {}
    for name, step in steps.items():
        slow = name.startswith(SLOW)
        size = SHORT if slow else BLOCK
        seconds = step(size, 1)
        heads[name] = runners[name].outputs()
        amounts[name] = (
            (max(1, int(size * effort.seconds / seconds)), 1) if slow else _amount(step, effort.seconds)
        )
    rates: dict[str, list[float]] = {name: [] for name in steps}
    for _ in range(effort.rounds):
        for name, step in steps.items():
            size, blocks = amounts[name]
            rates[name].append(size * blocks / step(size, blocks))
    compared = {name: len(head) for name, head in heads.items()}
    differing = _differing(heads)
    if late and not _equal_later(runners["Forelight"], late, step_of):
        differing.append(f"Forelight after {LATE} blocks")
    for runner in runners.values():
        runner.close()
    medians = {name: statistics.median(values) for name, values in rates.items()}
    return Result(circuit.name, medians, compared, differing)


def _equal_later(
    tuned: Runner, plain: Runner, step_of: Callable[[Runner], Callable[[int, int], float]]
) -> bool:
    """Whether an engine that has run for long, powered up again, gives the last of many blocks as plain C does."""
    tuned.power_up()
    for runner in (tuned, plain):
        step_of(runner)(BLOCK, LATE)
    equal = tuned.outputs() == plain.outputs()
    plain.close()
    return equal


def _amount(step: Callable[[int, int], float], seconds: float) -> tuple[int, int]:
    """Size and number of blocks that take about so many seconds, found by doubling: it warms the engine up as well."""
    blocks, took = 1, 0.0
    while took < seconds / 2:
        blocks *= 2
        took = step(BLOCK, blocks)
    return BLOCK, max(1, round(blocks * seconds / took))


def _differing(heads: Mapping[str, bytes]) -> list[str]:
    """The engines that differ from `amaranth.sim` as far as it got, or from plain C further on."""
    judge = heads.get("amaranth.sim", b"")
    further = heads.get(PLAIN_C.name, heads["Forelight"])
    judge += further[len(judge) :]
    return [name for name, head in heads.items() if not judge.startswith(head)]
