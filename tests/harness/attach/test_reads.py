"""The log of a serial memory: what a host asked and got, and each limit of its clock from both sides."""

from __future__ import annotations

import pytest
from forelight.harness.attach.reads import Log, log
from forelight.sim.traces.trace import Trace

from .lines import trace
from .spi import ModelMemory, host

HZ = 1e9  # times are nanoseconds
DATA = bytes(range(1, 17))


def drawn(rows: list[tuple[int, int, int]], address_bytes: int = 3, row_ns: int = 100) -> Trace:
    """Pins and answers as a trace, a row of the host every `row_ns`."""
    model = ModelMemory(DATA, address_bytes)
    signals: dict[str, list[tuple[int, int]]] = {"cs": [], "sck": [], "si": [], "so": []}
    for place, row in enumerate(rows):
        for name, level in zip(signals, (*row, model.levels(*row) or 0), strict=True):
            signals[name].append((place * row_ns, level))
    return trace(signals, len(rows) * row_ns)


def follow(rows: list[tuple[int, int, int]], address_bytes: int = 3, row_ns: int = 100) -> Log:
    return log(drawn(rows, address_bytes, row_ns), HZ, address_bytes)


@pytest.mark.parametrize("address_bytes", [2, 3])
def test_what_was_asked_and_what_came(address_bytes: int) -> None:
    rows = [*host(3, address_bytes, 4), *host(0x0E, address_bytes, 3)]
    found = follow(rows, address_bytes)
    assert [(one.address(), one.data()) for one in found.transfers] == [
        (3, DATA[3:7]),
        (14, DATA[14:] + DATA[:1]),
    ]
    assert found.faults == ()


def test_a_transfer_without_a_whole_header_is_none() -> None:
    assert follow([*host(0, 3, 0)[:40], (0, 0, 0), (1, 0, 0)]).transfers == ()


@pytest.mark.parametrize(("row_ns", "good"), [(100, True), (99, False)])
def test_the_clock_must_be_slow_enough(row_ns: int, good: bool) -> None:
    faults = {what for _, what in follow(host(0, 3, 1), row_ns=row_ns).faults}
    assert faults == (set() if good else {"sck was low for only 99 ns", "sck was high for only 99 ns"})


def test_data_that_move_with_the_clock() -> None:
    faults = [what for _, what in follow([(1, 0, 0), (0, 0, 0), (0, 1, 1), (0, 0, 1), (0, 1, 1)]).faults]
    assert faults == ["si or cs moves in the instant in which sck rises"]


def test_other_instructions_and_the_other_modes() -> None:
    assert [what for _, what in follow(host(0, 3, 1, 0x9F)).faults] == [
        "instruction 9Fh: this memory knows only 03h, read"
    ]
    assert [what for _, what in follow([(1, 1, 0), (0, 1, 0), (1, 1, 0)]).faults] == [
        "sck is high as cs falls: that is not SPI mode 0"
    ]
