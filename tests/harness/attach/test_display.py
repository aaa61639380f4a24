"""The character display against the published start-up and times of the HD44780U, each limit from both sides."""

from __future__ import annotations

from dataclasses import dataclass, field

import pytest
from forelight.harness.attach.display import Watched, watch

from .lines import trace

HZ = 1e9  # times are nanoseconds
MS, US = 1_000_000, 1000


@dataclass
class Host:
    """Draws the bus: `put` sets the lines, waits, and gives an enable pulse; then `now` is the fall of the enable."""

    wide: bool = False
    pulse: int = 500
    now: int = 0
    rows: dict[str, list[tuple[int, int]]] = field(default_factory=dict)

    def put(self, wait: int, register: int, value: int) -> None:
        """`wait` from fall to fall."""
        fall = self.now + wait
        self._set(fall - self.pulse - 100, "rs", register)
        for bit in range(0 if self.wide else 4, 8):
            self._set(fall - self.pulse - 100, f"db{bit}", value >> bit & 1)
        self._set(fall - self.pulse, "e", 1)
        self._set(fall, "e", 0)
        self.now = fall

    def byte(self, wait: int, register: int, value: int) -> None:
        self.put(wait, register, value)
        if not self.wide:
            self.put(2000, register, value << 4 & 0xF0)

    def start(self, waits: tuple[int, ...] = (15 * MS, 4100 * US, 100 * US, 37 * US)) -> None:
        """Initializing by instruction: HD44780U data sheet, figures 23 (eight bits) and 24 (four bits)."""
        for wait in waits[:3]:
            self.put(wait, 0, 0x30)
        if not self.wide:
            self.put(waits[3], 0, 0x20)
        self.byte(37 * US, 0, 0x38 if self.wide else 0x28)
        for value in (0x08, 0x01):
            self.byte(37 * US, 0, value)
        self.byte(1520 * US, 0, 0x06)
        self.byte(37 * US, 0, 0x0C)

    def text(self, text: str, wait: int = 41 * US) -> None:
        for place, char in enumerate(text):
            self.byte(37 * US if place == 0 else wait, 1, ord(char))

    def watched(self, rest: int = 1000 * MS, **options: float) -> Watched:
        return watch(trace(self.rows, self.now + rest), HZ, **options)  # type: ignore[arg-type]

    def _set(self, time: int, name: str, level: int) -> None:
        self.rows.setdefault(name, [(0, 0)]).append((time, level))


def last(found: Watched) -> tuple[str, ...]:
    return tuple(line.rstrip() for line in found.screens[-1].lines)


@pytest.mark.parametrize("wide", [True, False])
def test_the_published_start_up_and_two_lines_of_text(wide: bool) -> None:
    host = Host(wide)
    host.start()
    host.text("BERTH 3")
    host.byte(41 * US, 0, 0xC0)
    host.text("TAKEN")
    found = host.watched()
    assert found.faults == ()
    assert last(found) == ("BERTH 3", "TAKEN")


@pytest.mark.parametrize(
    ("waits", "found"),
    [
        (
            (14_999 * US, 4100 * US, 100 * US, 37 * US),
            "lost: it comes 1 us before the end of the 15 ms after power-up",
        ),
        (
            (15 * MS, 4099 * US, 100 * US, 37 * US),
            "lost: it comes 1 us before the end of the wait after function set 1",
        ),
        (
            (15 * MS, 4100 * US, 99 * US, 37 * US),
            "lost: it comes 1 us before the end of the wait after function set 2",
        ),
        ((15 * MS, 4100 * US, 100 * US, 36 * US), "lost: it comes 1 us before the end of instruction 30h"),
    ],
)
def test_each_wait_of_the_start_up(waits: tuple[int, ...], found: str) -> None:
    host = Host()
    host.start(waits)
    assert host.watched().faults[0].found == found


def test_below_four_and_a_half_volts_it_needs_forty_milliseconds() -> None:
    host = Host()
    host.start()
    assert "the 40 ms after power-up" in host.watched(volts=3.3).faults[0].found
    host = Host(pulse=450)
    host.start((40 * MS, 4100 * US, 100 * US, 37 * US))
    assert host.watched(volts=3.3).faults == ()


@pytest.mark.parametrize(
    ("pulse", "volts", "good"), [(230, 5, True), (229, 5, False), (450, 3, True), (449, 3, False)]
)
def test_the_enable_pulse(pulse: int, volts: float, good: bool) -> None:
    host = Host(pulse=pulse)
    host.start((40 * MS, 4100 * US, 100 * US, 37 * US))
    found = {fault.found for fault in host.watched(volts=volts).faults}
    assert found == (set() if good else {f"the enable is high for only {pulse} ns"})


def test_a_start_up_that_is_missing() -> None:
    host = Host(wide=True)
    host.byte(20 * MS, 0, 0x0C)
    host.text("x")
    found = host.watched()
    assert [fault.found for fault in found.faults] == [
        "instruction 0Ch comes before the three function sets of the start-up"
    ]
    assert last(found) == ("x", "")


@pytest.mark.parametrize(("wait", "good"), [(41 * US, True), (40 * US, False)])
def test_a_character_takes_41_us(wait: int, good: bool) -> None:
    # 37 us, and 4 us more until the address has moved on (table 6, tADD).
    host = Host(wide=True)
    host.start()
    host.text("AB", wait)
    found = host.watched()
    assert (found.faults == ()) is good
    assert last(found)[0] == ("AB" if good else "A")


def test_clear_takes_1520_us() -> None:
    for wait, text in ((1520 * US, "B"), (1519 * US, "")):
        host = Host(wide=True)
        host.start()
        host.text("A")
        host.byte(41 * US, 0, 0x01)
        host.byte(wait, 1, ord("B"))
        assert last(host.watched())[0] == text


def test_lines_that_move_with_the_enable() -> None:
    host = Host(wide=True)
    host.start()
    host.byte(37 * US, 1, ord("A"))
    host._set(host.now, "db1", 1)
    found = host.watched()
    assert [fault.found for fault in found.faults] == [
        "the data move in the instant in which the enable falls"
    ]


def test_a_restart_in_the_middle_of_a_byte_finds_its_way_back() -> None:
    # The three function sets bring it to eight bits from any state: that is what they are for.
    for extra in (0, 1):
        host = Host()
        host.start()
        host.text("OLD")
        if extra:
            host.put(41 * US, 1, 0x40)
        host.start((5 * MS, 4100 * US, 4100 * US, 100 * US))
        host.text("NEW")
        assert last(host.watched())[0] == "NEW"


def test_addresses_shifts_and_codes() -> None:
    host = Host(wide=True)
    host.start()
    host.byte(37 * US, 0, 0x80 | 0x27)  # the last place of line 1: the next is the first of line 2
    host.text("XY")
    host.byte(41 * US, 0, 0x80)
    host.text("AB\\~\x01")
    host.byte(41 * US, 0, 0x18)  # all to the left
    found = host.watched()
    assert last(found) == ("B\u00a5\u2192#", "")
    host.byte(41 * US, 0, 0x1C)
    assert last(host.watched()) == ("AB\u00a5\u2192#", "Y")


def test_only_what_can_be_read_is_a_screen() -> None:
    host = Host(wide=True)
    host.start()
    host.text("BERTH 1")
    host.byte(300 * MS, 0, 0x80)
    host.text("berth 2")
    assert [screen.lines[0].rstrip() for screen in host.watched().screens] == ["BERTH 1", "berth 2"]


def test_what_is_unsettled_is_told() -> None:
    host = Host(wide=True)
    host.start()
    host.byte(37 * US, 1, ord("A"))
    host.rows["db0"][-1] = (host.rows["db0"][-1][0], 2)
    found = host.watched()
    assert [fault.found for fault in found.faults] == ["rs or the data are unsettled as the enable falls"]
    assert last(found)[0] == "?"
