"""What `show` says of attachments, on the designs of the catalogue whose datasheets name some."""

from __future__ import annotations

import json
from typing import Any

from click.testing import CliRunner
from forelight.harness.cli import cli


def shown(*words: str) -> str:
    found = CliRunner().invoke(cli, ["show", *words])
    assert found.exit_code == 0, found.output
    return found.output


def attachments(*words: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(shown(*words, "--json"))["attachments"]
    return found


def test_the_weather_report_is_read_off_its_line() -> None:
    (found,) = attachments("weather_report", "--run", "two reports")
    assert found["text"] == "BREAKWATER: WIND SW 4, RAIN LATER\n" * 2
    assert (found["baud"], found["faults"], found["lines"]) == (300, [], {"receive": "o0"})


def test_the_text_stands_below_the_levels() -> None:
    found = shown("weather_report", "--run", "the wind gets up")
    assert found.endswith(
        "\nSerial terminal on o0, 300 baud, 8N1: 70 characters, no bad frames\n"
        "  BREAKWATER: WIND SW 4, RAIN LATER\n  BREAKWATER: WIND SW 7, RAIN LATER\n"
    )


def test_at_another_rate_the_terminal_reads_rubbish_as_the_real_one_would() -> None:
    (found,) = attachments("weather_report", "--run", "two reports", "--hz", "150")
    assert "BREAKWATER" not in found["text"]
    assert found["faults"]
