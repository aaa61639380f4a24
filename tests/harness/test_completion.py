"""What a shell completes, and errors for scripts."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

BASH = shutil.which("bash")
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
        ("show tide_gauge --run o", [r"one\\ tide"]),
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


@pytest.mark.skipif(BASH is None, reason="there is no bash here")
def test_bash_puts_a_name_with_a_space_in_as_one_word(tmp_path: Path) -> None:
    program = tmp_path / "forelight"
    program.write_text(f"#!{sys.executable}\n{MAIN}\n")
    program.chmod(0o755)
    script = """\
eval "$(_FORELIGHT_COMPLETE=bash_source $1)"
COMP_WORDS=(forelight show tide_gauge --run o) COMP_CWORD=4
_forelight_completion $1
eval "set -- ${COMPREPLY[*]}"
printf '%s|' "$@"
"""
    done = subprocess.run(
        [str(BASH), "-c", script, "bash", str(program)], capture_output=True, text=True, check=True
    )
    assert done.stdout == "one tide|"


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
