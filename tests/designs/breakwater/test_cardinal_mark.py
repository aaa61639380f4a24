"""The cardinal marks' lights against the IALA Maritime Buoyage System, R1001, at the wanted rate."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive

LAMP = 0b0111_1111
#: IALA R1001: number on the pins -> quick flashes in a period, long flashes after them, period in seconds.
MARKS = {0: (1, 0, 1), 1: (3, 0, 10), 2: (6, 1, 15), 3: (9, 0, 15)}


@pytest.mark.parametrize("code", MARKS)
def test_rhythm(drive: Drive, code: int) -> None:
    design = drive("cardinal_mark")
    assert design.datasheet.step is not None
    rate = design.datasheet.step.wanted_hz
    assert rate is not None
    quick, long, period_s = MARKS[code]
    period = round(period_s * rate)
    design.switch(code)
    design.restart()
    outputs = [design.outputs, *design.steps(3 * period - 1).tolist()]
    assert outputs == outputs[:period] * 3
    assert {output & LAMP for output in outputs} == {0, LAMP}
    runs = [(level, len(list(run)) / rate) for level, run in groupby(out & LAMP for out in outputs[:period])]
    lights = [duration for level, duration in runs if level]
    darks = [duration for level, duration in runs if not level]
    assert len(lights) == len(darks) == quick + long
    assert all(duration >= 2 for duration in lights[quick:])  # a long flash lasts 2 s or more (IHO S-32)
    # Quick: 50 to 79 flashes a minute (IHO S-32), from the beginning of a flash to that of the next.
    for light, dark in zip(lights[: quick - 1], darks[: quick - 1], strict=True):
        assert 50 <= 60 / (light + dark) < 80
    if code == 0:
        assert 50 <= 60 / (lights[0] + darks[0]) < 80
