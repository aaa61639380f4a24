"""Every example runs, and prints what it should."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

FOLDER = Path(__file__).resolve().parent.parent / "examples"
EXPECTED = {
    "any_circuit.py": [
        "ports: {'clk': 1, 'restart': 1, 'hoist': 1, 'lower': 1} {'height': 5, 'top': 1, 'bottom': 1}",
        "height after the restart: 0",
        "hoisting: 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17 18 19 20 21 22 23 24 24 24 24 24 24 24",
        "of a million cycles more, the crane is at the top in 1000000",
    ],
    "golden_in_python.py": [
        "with i0 left closed it only shows 10111111",
        "frames a second: 3000.0 and 6000.0",
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
