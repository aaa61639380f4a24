"""The race start against the signals of the Racing Rules of Sailing, rule 26."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive, Driven

RATE_HZ = 15
CLASS_FLAG, PREPARATORY_FLAG, HORN = 1 << 0, 1 << 6, 1 << 7
#: Rule 26 (World Sailing, Racing Rules of Sailing 2021-2024; from memory): minutes before the starting signal ->
#: class flag, preparatory flag, sound. Times are taken from the visual signals.
RULE_26 = {
    5: ("displayed", "", "one"),
    4: ("", "displayed", "one"),
    1: ("", "removed", "one long"),
    0: ("removed", "", "one"),
}


def changes(outputs: NDArray[np.uint8], line: int) -> dict[float, bool]:
    """Seconds since the first output -> the new level; the line rests at 0 before."""
    level = np.append(False, outputs & line != 0)
    at = np.flatnonzero(level[1:] != level[:-1])
    return {float(step) / RATE_HZ: bool(level[step + 1]) for step in at}


def signals(outputs: NDArray[np.uint8], start_s: float) -> dict[float, tuple[str, str, str]]:
    """Minutes before the start -> what is seen and heard, as in RULE_26."""
    found: dict[float, list[str]] = {}
    for place, line in enumerate((CLASS_FLAG, PREPARATORY_FLAG)):
        for at, shown in changes(outputs, line).items():
            found.setdefault(at, ["", "", ""])[place] = "displayed" if shown else "removed"
    edges = list(changes(outputs, HORN))
    lengths = {at: end - at for at, end in zip(edges[::2], edges[1::2], strict=True)}
    for at, length in lengths.items():
        found.setdefault(at, ["", "", ""])[2] = "one long" if length >= 2 * min(lengths.values()) else "one"
    return {(start_s - at) / 60: (seen[0], seen[1], seen[2]) for at, seen in found.items()}


def restarted(drive: Drive, another: int = 0) -> Driven:
    design = drive("race_start")
    assert design.datasheet.step is not None
    assert design.datasheet.step.wanted_hz == RATE_HZ
    design.switch(another)
    design.restart()
    return design


def test_one_class(drive: Drive) -> None:
    """Every signal of the rule at its time to the step, and nothing else for an hour."""
    design = restarted(drive)
    outputs = np.append(design.now(), design.steps(3600 * RATE_HZ))
    assert signals(outputs, 300) == RULE_26


@pytest.mark.parametrize("classes", [2, 3])
def test_classes_in_a_row(drive: Drive, classes: int) -> None:
    """The next class's warning comes with the start of the one before (rule 26): one sound, a class flag up."""
    design = restarted(drive, 1)
    outputs = np.append(design.now(), design.steps((classes * 300 - 100) * RATE_HZ))
    design.set(i0=0)
    outputs = np.append(outputs, design.steps(200 * RATE_HZ))
    expected: dict[float, tuple[str, str, str]] = {}
    for before in range(classes):
        sequence: dict[float, tuple[str, str, str]] = {
            5.0 * before + at: seen for at, seen in RULE_26.items()
        }
        expected |= {at: sequence[at] for at in sequence if at not in expected}
    for between in range(1, classes):
        expected[5.0 * between] = ("", "", "one")
    assert signals(outputs, classes * 300) == expected


def test_the_switch_counts_only_at_the_start(drive: Drive) -> None:
    """On and off before the starting signal, it changes nothing; on after it, neither."""
    design, plain = restarted(drive, 1), restarted(drive)
    outputs = design.steps(299 * RATE_HZ)
    design.set(i0=0)
    outputs = np.append(outputs, design.steps(2 * RATE_HZ))
    design.set(i0=1)
    outputs = np.append(outputs, design.steps(600 * RATE_HZ))
    assert np.array_equal(outputs, plain.steps(901 * RATE_HZ))
