"""`forelight strap` against worked rates of the two boards."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner
from forelight.harness.cli import cli
from forelight.harness.terminal.answers import VERSION

NOTE = """\
Set the switches with the step clock off, then switch it on: the divider keeps
the code that they hold at that instant, and they are free again.
"""


def ask(*arguments: str, code: int = 0) -> str:
    result = CliRunner(env={"COLUMNS": "80"}).invoke(cli, ["strap", *arguments])
    assert result.exit_code == code, result.output
    return result.output


def test_switches_for_a_rate() -> None:
    assert ask("--hz", "50") == (
        "Code 29 on quay: 50 Hz.\n"
        "  i7     i6     i5     i4     i3     i2     i1     i0\n"
        "  A7     A6     A5     A4     A3     A2     A1     A0\n"
        "  0      0      0      1      1      1      0      1\n"
        "  open   open   open   closed closed closed open   closed\n"
        "Code 46 on quay: 50 Hz.\n"
        "  i7     i6     i5     i4     i3     i2     i1     i0\n"
        "  A7     A6     A5     A4     A3     A2     A1     A0\n"
        "  0      0      1      0      1      1      1      0\n"
        "  open   open   closed open   closed closed closed open\n" + NOTE
    )


# The two-stage law at 3000 frames a second: half = (m + 1) * 2**e frames, m the low five bits, e the high three.
@pytest.mark.parametrize(
    ("code", "rate"),
    [
        (0, "1500 Hz"),
        (29, "50 Hz"),
        (56, "30 Hz"),
        (120, "7.5 Hz"),
        (255, "0.3662 Hz (a step lasts 2.731 s)"),
    ],
)
def test_rates_of_codes(code: int, rate: str) -> None:
    assert ask("--code", str(code)).splitlines()[0] == f"Code {code} on quay: {rate}."


def test_every_code_that_gives_the_rate_is_listed() -> None:
    found = json.loads(ask("--hz", "750", "--json"))["codes"]
    # half = 2: m = 1, e = 0 and m = 0, e = 1
    assert [(item["strap_code"], item["hz"], item["error_percent"]) for item in found] == [
        (1, 750, 0),
        (32, 750, 0),
    ]
    assert found[1]["switches"] == {f"i{bit}": int(bit == 5) for bit in range(8)}


def test_the_nearest_rate_says_how_near_it_is() -> None:
    assert ask("--hz", "61").startswith("Code 24 on quay: 60 Hz, 1.639 % below 61 Hz.\n")


def test_out_of_reach_says_what_can_be_reached() -> None:
    assert "The divider of quay reaches from 0.3662 Hz (a step lasts 2.731 s) to 1500 Hz.\n" in ask(
        "--hz", "5000"
    )


def test_a_direct_link_has_no_strap_switches() -> None:
    assert ask("--hz", "100000", "--board", "mole") == (
        "Code 249 on mole: 100 kHz.\n"
        "The code is a setting of the step source; the input switches have no part in it.\n"
    )
    assert json.loads(ask("--hz", "25e6", "--board", "mole", "--json")) == {
        "schema": VERSION,
        "board": "mole",
        "wanted_hz": 25e6,
        "codes": [{"strap_code": 0, "hz": 25e6, "error_percent": 0, "switches": None}],
    }


def test_a_code_that_is_not_there() -> None:
    assert ask("--code", "256", code=2) == "forelight: quay has no strap code 256; the codes are 0 to 255\n"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([], "Error: give either --hz or --code"),
        (["--hz", "1", "--code", "1"], "Error: give either --hz or --code"),
        (["--hz", "0"], "Error: Invalid value for '--hz': 0.0 is not in the range x>0."),
        (["--hz", "inf"], "Error: Invalid value for '--hz': inf is not a finite number."),
        (["--hz", "nan"], "Error: Invalid value for '--hz': nan is not a finite number."),
        (["--code", "-1"], "Error: Invalid value for '--code': -1 is not in the range x>=0."),
        (["--hz", "fast"], "Error: Invalid value for '--hz': 'fast' is not a valid float range."),
    ],
)
def test_wrong_use(arguments: list[str], said: str) -> None:
    assert ask(*arguments, code=2).splitlines()[-1] == said
