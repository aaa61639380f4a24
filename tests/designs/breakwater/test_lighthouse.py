"""The lighthouse's rhythms against the definitions of the IHO and the IALA."""

from __future__ import annotations

from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from forelight.designs.sheets.reader import load
from forelight.harness.bench.predict import predict
from forelight.harness.boards.reader import load_board
from forelight.harness.hand.routine import run_procedure
from numpy.typing import NDArray

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive

#: The eight characters by their number on the pins. Fl(2) is the rhythm of an isolated danger, Q(6)+LFl 15s
#: of a south cardinal; Iso, Oc, LFl 10s and Mo(A) mark safe water (IALA Maritime Buoyage System, R1001).
NAMES = ["Fl 5s", "Fl(2) 10s", "Iso 4s", "Oc 6s", "Q", "Mo(A) 8s", "LFl 10s", "Q(6)+LFl 15s"]
CODES = pytest.mark.parametrize("code", range(8))
BEAT_S = 0.25
PRESCALER = 75  # steps a beat
BYPASS = 1 << 3
LAMP = 0b0111_1111
DESIGN = Path(__file__).parents[3] / "designs" / "breakwater" / "lighthouse"


def lamp(outputs: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Whether it is light, at each step; the seven segments must agree."""
    seven = outputs & LAMP
    assert set(seven) <= {0, LAMP}
    light: NDArray[np.bool_] = seven == LAMP
    return light


def appearances(light: NDArray[np.bool_], step_s: float) -> list[tuple[float, float]]:
    """One period as (light, dark) durations in seconds; it must begin with light and repeat to the end."""
    period = next(p for p in range(1, len(light) // 2 + 1) if np.array_equal(light[p:], light[:-p]))
    runs = [(level, len(list(run)) * step_s) for level, run in groupby(light[:period])]
    assert [level for level, _ in runs] == [True, False] * (len(runs) // 2)
    durations = [duration for _, duration in runs]
    return list(zip(durations[::2], durations[1::2], strict=True))


def character(period: list[tuple[float, float]]) -> str:
    """The abbreviation on a chart for one period of (light, dark), after IHO S-32 and INT 1 section P 10."""
    seconds = f"{sum(light + dark for light, dark in period):g}s"
    if len(period) == 1:
        return single(*period[0], seconds)
    lights, darks = zip(*period, strict=True)
    within, between = darks[:-1], darks[-1]
    assert len(set(within)) == 1  # the eclipses in a group are equal
    assert within[0] < between  # and clearly shorter than the eclipse between groups
    if len(set(lights)) == 1:
        assert sum(lights) < sum(darks)
        return f"Fl({len(period)}) {seconds}"
    if len(period) == 2 and lights[1] == 3 * lights[0] and within[0] == lights[0]:
        return f"Mo(A) {seconds}"  # dot, dash; a dash is three dots and the gap one (ITU-R M.1677-1)
    *quick, (long, _) = period
    assert len(set(quick)) == 1
    assert single(*quick[0], "") == "Q"
    assert long >= 2
    return f"Q({len(quick)})+LFl {seconds}"


def single(light: float, dark: float, seconds: str) -> str:
    """A light with one appearance a period."""
    rate = 60 / (light + dark)
    if light == dark:
        return f"Iso {seconds}"
    if light > dark:
        return f"Oc {seconds}"
    if light >= 2:
        return f"LFl {seconds}"
    if rate < 50:
        return f"Fl {seconds}"
    assert rate < 80  # 50 to 79 flashes a minute are quick, more are very quick
    return "Q"


@CODES
def test_characters_in_real_time(drive: Drive, code: int) -> None:
    """At the rate that the datasheet asks for, with the prescaler in use."""
    design = drive("lighthouse")
    assert design.datasheet.step is not None
    assert design.datasheet.step.wanted_hz == PRESCALER / BEAT_S
    design.switch(code)
    design.restart()
    light = np.append(lamp(design.now()), lamp(design.steps(PRESCALER * 4 * 60)))
    assert character(appearances(light, BEAT_S / PRESCALER)) == NAMES[code]
    assert NAMES[code].split()[0] in design.datasheet.lines["i0"].means


@CODES
def test_characters_beat_by_beat(drive: Drive, code: int) -> None:
    """With the prescaler bypassed a step is a beat."""
    design = drive("lighthouse")
    design.switch(code | BYPASS)
    design.restart()
    light = np.append(lamp(design.now()), lamp(design.steps(4 * 60)))
    assert character(appearances(light, BEAT_S)) == NAMES[code]


@CODES
def test_shares_of_light(drive: Drive, code: int) -> None:
    """Flash to eclipse at most 1 to 3, occulting light to dark at least 3 to 1 (IALA R0110, from memory)."""
    design = drive("lighthouse")
    design.switch(code | BYPASS)
    design.restart()
    period = appearances(np.append(lamp(design.now()), lamp(design.steps(240))), BEAT_S)
    light, dark = period[-1]
    if NAMES[code].startswith(("Fl", "LFl", "Q")):
        assert dark >= 3 * light
    elif NAMES[code].startswith("Oc"):
        assert light >= 3 * dark
    elif NAMES[code].startswith("Mo"):
        assert period[0][0] >= 0.5  # a dot of about half a second


@CODES
def test_no_more_than_three_flashes_in_a_second(drive: Drive, code: int) -> None:
    """The caution's limit: 12 steps a second with the bypass still keep to WCAG 2.2, criterion 2.3.1."""
    design = drive("lighthouse")
    assert "below 12 steps a second" in design.datasheet.description
    design.switch(code | BYPASS)
    design.restart()
    rises = np.diff(lamp(design.steps(240)).astype(int)) == 1
    assert np.convolve(rises, np.ones(12, int), "valid").max() <= 3


@pytest.mark.parametrize("board_name", ["quay", "mole"])
@pytest.mark.parametrize("run", ["group flashing", "beat by beat"])
def test_the_runs_keep_to_that(board_name: str, run: str) -> None:
    """No second of the datasheet's own runs has more than three flashes."""
    board, sheet = load_board(board_name), load(DESIGN)
    golden = predict(board, sheet, run_procedure(board, sheet, run), power_ups=3)
    light = golden.outputs & golden.settled & LAMP == LAMP
    rises_s = golden.ticks[1:][light[1:] & ~light[:-1]] / board.oscillator_hz
    assert len(rises_s) >= 4
    assert ((rises_s >= rises_s[:, None]) & (rises_s < rises_s[:, None] + 1)).sum(axis=1).max() <= 3


@CODES
@pytest.mark.parametrize("before", range(8))
def test_a_change_of_character_is_followed(drive: Drive, before: int, code: int) -> None:
    """The mark comes within one period of the new character, also where that is over already."""
    design = drive("lighthouse")
    design.switch(before | BYPASS)
    design.restart()
    design.steps(59)
    design.switch(code | BYPASS)
    outputs = design.steps(5 * 60)
    start = int(np.flatnonzero(outputs >> 7)[0])  # the point marks the first beat
    period = appearances(lamp(outputs[start:]), BEAT_S)
    assert character(period) == NAMES[code]
    assert start * BEAT_S < sum(light + dark for light, dark in period)


def test_restart_is_active_low(drive: Drive) -> None:
    """Held low, i6 keeps the first beat, however many steps go by; let go, the period begins."""
    design = drive("lighthouse")
    design.switch(4 | BYPASS)
    design.restart()
    design.steps(2)
    assert not lamp(design.now()).any()
    design.set(i6=0)
    assert lamp(design.steps(50)).all()
    design.set(i6=1)
    assert "".join(".#"[light] for light in lamp(design.steps(8)).tolist()) == "...#...#"
