"""The bench for tests, and the pytest plug-in around it."""

from __future__ import annotations

import subprocess
import sys
from importlib.metadata import entry_points
from pathlib import Path

import numpy as np
import pytest
from forelight.harness.scripting.trial import TrialBench
from forelight.sim.errors import ForelightError, UsageError


def test_after_forty_steps_the_tide_stands_at_four_and_rises() -> None:
    bench = TrialBench(power_ups=4)
    bench.select("tide_gauge")
    bench.steps(40)
    # Up to 9 and down to 0 takes 18 steps: 40 are two rounds and 4.
    assert bench.display == "4." and bench.step == 40 and bench.levels == "11100110"


def test_the_hand_does_what_it_is_told() -> None:
    bench = TrialBench(power_ups=4).select("tide_gauge", hz=np.float64(2), i0=0)
    assert bench.steps(np.int64(3)).set(i0=np.uint8(1)).steps(5).display == "3."
    assert bench.set(i0=0).pulse(2).display == "5."
    assert bench.restart().display == "0."
    locked = TrialBench(power_ups=4).select("sluice_code")
    assert locked.press("i0").wait(0.5).release("i0").display == "_."


def test_it_says_what_cannot_be_done() -> None:
    with pytest.raises(UsageError, match="no slot is selected"):
        TrialBench().steps(1)
    with pytest.raises(ForelightError, match="no button"):
        TrialBench(power_ups=4).select("tide_gauge").press("i3")


def test_the_strip_holds_actions_and_pictures() -> None:
    told = TrialBench(power_ups=4).select("tide_gauge").steps(4).strip
    assert "strap 182; restart; steps 4" in told and "step 4" in told and "11100110" in told


@pytest.mark.slow
def test_the_fixture_needs_no_import_and_shows_the_strip_where_a_test_fails(tmp_path: Path) -> None:
    (tmp_path / "test_mine.py").write_text(
        "def test_rises(bench):\n"
        "    bench.select('tide_gauge'); bench.steps(40)\n    assert bench.display == '4.'\n"
        "def test_wrong(bench):\n"
        "    bench.select('tide_gauge'); bench.steps(3)\n    assert bench.display == '4.'\n"
    )
    plugin = "forelight.harness.scripting.pytest_plugin"
    installed = any(point.value == plugin for point in entry_points(group="pytest11"))
    order = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider"]
    order += [] if installed else ["-p", plugin]  # as its entry point loads it where Forelight is installed
    done = subprocess.run([*order, "test_mine.py"], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert "1 failed, 1 passed" in done.stdout
    assert "- bench -" in done.stdout and "Tide gauge: set" in done.stdout and "step 3" in done.stdout
