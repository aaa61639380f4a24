"""Every example runs, and prints what it should."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

FOLDER = Path(__file__).resolve().parent.parent / "examples"
EXPECTED = {
    "01_sweep.py": [
        "switches at which the miles are not knots times hours: 0",
        "six knots for seven hours: 42",
    ],
    "02_golden_as_arrays.py": [
        "steps by lines: (37, 8) unsettled bits: 0",
        "it rises for 18 of 36 steps",
        "the first ten: 0. 1. 2. 3. 4. 5. 6. 7. 8. 9",
    ],
    "03_recording_judged.py": ["as foretold: agrees", "with a 1 in place of a 7: differs"],
    "04_two_versions.py": [
        "old and wrong equal? False",
        "after the counterexample old.v shows 9",
        "after the counterexample wrong.v shows 0",
    ],
    "05_own_board.py": [
        "frames a second: 3000.0 and 6000.0",
        "the tide at 4 Hz: 5.",
        "read again it is the same: True",
        "refused: allowed: 1 to 96, the positions of the chain",
    ],
    "06_coverage.py": ["hold never tried: True", "in the author's second run it is tried: True"],
    "07_any_circuit.py": [
        "ports: {'clk': 1, 'restart': 1, 'hoist': 1, 'lower': 1} {'height': 5, 'top': 1, 'bottom': 1}",
        "height after the restart: 0",
        "hoisting: 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17 18 19 20 21 22 23 24 24 24 24 24 24 24",
        "of a million cycles more, the crane is at the top in 1000000",
    ],
}


def test_every_example_is_tried() -> None:
    assert {path.name for path in FOLDER.glob("*.py")} == set(EXPECTED)


@pytest.mark.parametrize("name", EXPECTED)
def test_an_example_prints_what_it_should(name: str, tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, str(FOLDER / name)], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    for line in EXPECTED[name]:
        assert line in done.stdout.splitlines()


def test_the_readme_leads_to_every_example() -> None:
    text = (FOLDER.parent / "README.md").read_text("utf-8")
    assert [name for name in EXPECTED if f"(examples/{name})" not in text] == []
