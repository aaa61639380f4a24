"""What `show` says of attachments, on the designs of the catalogue whose datasheets name some."""

from __future__ import annotations

import json
from typing import Any

from click.testing import CliRunner
from forelight.designs.sheets.attachments import KINDS
from forelight.harness.attach.report import REPORTERS
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
    assert (found["baud"], found["mistakes"], found["terminals"]) == (300, [], {"receive": "o0"})


def test_the_text_stands_below_the_levels() -> None:
    assert (
        "\nSerial terminal on o0, 300 baud, 8N1: 70 characters, no bad frames\n"
        "  BREAKWATER: WIND SW 4, RAIN LATER\n  BREAKWATER: WIND SW 7, RAIN LATER\n\n"
    ) in shown("weather_report", "--run", "the wind gets up")


def test_at_another_rate_the_terminal_reads_rubbish_as_the_real_one_would() -> None:
    (found,) = attachments("weather_report", "--run", "two reports", "--hz", "150")
    assert "BREAKWATER" not in found["text"]
    assert found["mistakes"]


def test_the_dimmer_is_measured_and_seen() -> None:
    # Level 5 of 15 at 1500 steps a second: a period of 15 steps is 10 ms.
    meter, lamp = attachments("lamp_dimmer", "--set", "i0=1", "--seconds", "2")
    assert meter["range_hz"] == {"least": 100.0, "mean": 100.0, "most": 100.0}
    assert round(meter["duty"]["mean"], 12) == round(5 / 15, 12)
    assert [look["lit"] for look in lamp["looks"]] == [0.3333]
    found = shown("lamp_dimmer", "--set", "i0=1", "--seconds", "2")
    assert "Pulse-width meter on o0: 100 Hz, high for 33.33%, over 198 whole periods" in found
    assert "\nLamp on o0\n  0.000 s: seems lit at 33% of its light\n\n" in found


def test_the_lighthouse_flashes() -> None:
    # Fl(2) 10 s: two flashes, then a longer eclipse (IHO INT 1, section P 10; the lengths are the design's own).
    assert (
        "\nLamp on o0\n  0.000 s: lit\n  0.500 s: dark\n  2.000 s: lit\n  2.500 s: dark\n  10.000 s: lit\n"
        "  then again as from 0.500 s, every 10.000 s\n\n"
    ) in shown("lighthouse", "--set", "i0=1", "--seconds", "41")


def test_a_speaker_says_what_there_is_to_hear() -> None:
    (found,) = attachments("ferry_whistle", "--seconds", "1")
    assert (found["kind"], found["range_hz"]["most"], found["range_hz"]["least"]) == ("speaker", 375.0, 375.0)
    assert "\nSpeaker on o4: up to 375 Hz\n" in shown("ferry_whistle", "--seconds", "1")
    assert "\nSpeaker on o4: no tone\n" in shown("ferry_whistle", "--seconds", "1", "--set", "i2=1")


def test_the_berth_board_writes_on_a_display_and_breaks_no_limit() -> None:
    (found,) = attachments("berth_board", "--run", "berth 0, then berth 3 is taken")
    texts = [[line.rstrip() for line in screen["texts"]] for screen in found["screens"]]
    assert texts == [["BERTH 0", "FREE"], ["BERTH 3", "TAKEN"]]
    assert found["mistakes"] == []
    assert "|BERTH 3         |\n  |TAKEN           |\n" in shown(
        "berth_board", "--run", "berth 0, then berth 3 is taken"
    )


def test_the_berth_board_on_the_other_board_comes_to_the_same() -> None:
    # At 25 MHz a frame is 40 ns: here the edges lie as close together as a step lets them.
    (found,) = attachments("berth_board", "--board", "mole", "--seconds", "1")
    assert [line.rstrip() for line in found["screens"][-1]["texts"]] == ["BERTH 0", "FREE"]
    assert found["mistakes"] == []


def test_a_berth_board_that_is_driven_too_fast_breaks_the_limits() -> None:
    (found,) = attachments("berth_board", "--board", "mole", "--hz", "100000", "--seconds", "0.02")
    assert found["mistakes"][0]["fault"].startswith("lost: it comes ")


def test_the_chart_reader_reads_its_memory() -> None:
    (found,) = attachments("chart_reader", "--run", "post 5, both digits")
    assert [(one["address"], one["data"]) for one in found["reads"]] == [(5, "07")]
    assert found["mistakes"] == []
    assert "\nSerial memory with soundings.hex: read 1 time, no faults\n  0.0" in shown(
        "chart_reader", "--run", "post 5, both digits"
    )


def test_the_tape_machine_counts_down_from_its_tape() -> None:
    (found,) = attachments("tape_machine", "--run", "count down from 5")
    tape = bytes.fromhex("60 80 C5 3F A1 E0")
    for one in found["reads"]:
        data = bytes.fromhex(one["data"])
        assert data == tape[one["address"] :][: len(data)]
    assert [one["address"] for one in found["reads"]] == [0, 1, 1, 1, 1, 1, 5]


def test_every_kind_of_attachment_has_its_report() -> None:
    assert set(REPORTERS) == set(KINDS)
