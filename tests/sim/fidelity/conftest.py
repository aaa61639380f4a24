"""A printed seed for each test, and the table of what was compared at the end of the run."""

from __future__ import annotations

import os
import zlib
from collections.abc import Callable

import pytest
from _pytest.terminal import TerminalReporter

from .comparison import Tally

KNOWN_SHARE = 0.9
#: Of the output lines, unless a test knows better: a circuit that stands still shows nothing.
MOVED_SHARE = 0.6


@pytest.fixture
def seed(request: pytest.FixtureRequest) -> int:
    """One of its own for each test, the same in every run unless FORELIGHT_SEED adds another."""
    name = request.node.nodeid.split("tests/")[-1] + os.environ.get("FORELIGHT_SEED", "")
    number = zlib.crc32(name.encode())
    print(f"seed {number}")
    return number


@pytest.fixture
def tallied(record_property: Callable[[str, object], None]) -> Callable[..., None]:
    """Takes a comparison into the table, and insists that its bits were known and its lines moved."""

    def take(tally: Tally, least_moved: float = MOVED_SHARE) -> None:
        print(tally)
        record_property("compared", str(tally))
        assert tally.compared >= KNOWN_SHARE * tally.bits, f"too little was known: {tally}"
        assert tally.moved >= least_moved * tally.lines, f"too little has moved: {tally}"

    return take


def pytest_terminal_summary(terminalreporter: TerminalReporter) -> None:
    lines = [
        value
        for report in terminalreporter.getreports("passed")
        for name, value in report.user_properties
        if name == "compared"
    ]
    if lines:
        terminalreporter.section("bits compared with other simulators")
        for line in lines:
            terminalreporter.write_line(str(line))
