"""What a shell completes, and errors for scripts."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import pytest

MAIN = "from forelight.harness.cli import main; main()"


def completed(words: str, shell: str = "bash") -> list[str]:
    settings = {
        "COMP_WORDS": f"forelight {words}",
        "COMP_CWORD": str(len(words.split())),
        "_FORELIGHT_COMPLETE": f"{shell}_complete",
    }
    done = subprocess.run(
        [sys.executable, "-c", MAIN],
        env={**os.environ, **settings},
        capture_output=True,
        text=True,
        check=False,
    )
    return [line.rpartition(",")[2] for line in done.stdout.splitlines()]


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ("show tide_g", ["tide_gauge"]),
        ("check tide_g", ["tide_gauge"]),
        ("show 10", ["101", "105", "108"]),
        ("show --board mo", ["mole"]),
        ("show tide_gauge --set i3=", ["i3=0", "i3=1"]),
        ("show tide_gauge --run o", ["one tide"]),
        ("show tide_gauge --why o", [f"o{bit}" for bit in range(8)]),
        ("listen ferry_whistle --line o", [f"o{bit}" for bit in range(8)]),
        ("check tide_gauge --map o3", ["o3="]),
        ("survey ne", ["next", "ne"]),
        ("survey report --na", ["--names"]),
        ("survey next --board mo", ["mole"]),
    ],
)
def test_the_shell_completes(words: str, found: list[str]) -> None:
    assert completed(words) == found


@pytest.mark.parametrize(
    "order", [["show", "tide_gaug", "--json"], ["strap", "--json"], ["show", "tide_gauge", "--nn", "--json"]]
)
def test_an_error_is_json_where_json_was_asked_for(order: list[str]) -> None:
    done = subprocess.run([sys.executable, "-c", MAIN, *order], capture_output=True, text=True, check=False)
    error = json.loads(done.stdout)["error"]
    assert (
        done.returncode == error["exit_code"] == 2
        and error["what"]
        and set(error) == {"what", "place", "remedy", "exit_code"}
    )
