"""Boards and their slots for the tests that compare the chip with the bench: all kinds of links, small enough."""

# Amaranth has no py.typed; `inputs: In(8)` fails a strict check.
# mypy: disable-error-code="valid-type, misc"

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from amaranth.hdl import ClockDomain, Elaboratable, Module, Signal
from amaranth.lib import memory, wiring
from amaranth.lib.wiring import In, Out
from forelight.designs.catalogue import load_design
from forelight.designs.datasheet import Datasheet, RestartLine, StepLine
from forelight.harness.boards.profile import Board
from forelight.harness.boards.reader import load_board

from .rig import Setup

BUTTONS = {"i0": "PUSH", "i6": "RESTART", "i7": "STEP"}


class Tally(wiring.Component):
    """Counts steps by the low inputs, and shows the level of the last ones beside the count."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        count = Signal(8, init=0x35)
        past = Signal(8)
        m.d.sync += count.eq(count + self.inputs[:3] + 1)
        m.d.sync += past.eq(self.inputs)
        m.d.comb += self.outputs.eq(count ^ (past << 1))
        return m


class Notes(wiring.Component):
    """Writes its inputs into a small memory and reads them back, some steps later."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        m.submodules.memory = store = memory.Memory(shape=8, depth=8, init=range(40, 48))
        write, read = store.write_port(), store.read_port(domain="comb")
        at = Signal(3)
        m.d.sync += at.eq(at + 1)
        m.d.comb += [write.addr.eq(at), write.data.eq(self.inputs), write.en.eq(self.inputs[0])]
        m.d.comb += [read.addr.eq(at + self.inputs[1:3]), self.outputs.eq(read.data)]
        return m


class Ripple(wiring.Component):
    """A counter whose every bit clocks the next, on falling edges, with an asynchronous reset on i1."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        clock = self.inputs[7]
        for bit in range(8):
            domain = ClockDomain(f"bit_{bit}", clk_edge="neg", async_reset=True, local=True)
            m.domains += domain
            m.d.comb += [domain.clk.eq(clock), domain.rst.eq(self.inputs[1])]
            m.d[domain.name] += self.outputs[bit].eq(~self.outputs[bit])
            clock = self.outputs[bit]
        return m


def sheet(name: str, step: str | None, restart: str | None = None, active: str = "high") -> Datasheet:
    """A datasheet of one of the components above."""
    return Datasheet(
        name=name,
        folder=Path(),
        title=name,
        sources=(),
        top=None,
        format="amaranth",
        step=StepLine(step) if step else None,
        restart=RestartLine(restart, active) if restart else None,
    )


MAKERS: Mapping[str, Callable[[], Elaboratable]] = {"tally": Tally, "notes": Notes, "ripple": Ripple}


def setup(board: Board, **slots: str | Datasheet) -> Setup:
    """`slot_3="dice"` puts that design of the catalogue into slot 3; a datasheet names a component above."""
    sheets, makers = {}, {}
    for key, found in slots.items():
        slot = int(key.removeprefix("slot_"))
        sheets[slot] = load_design(found) if isinstance(found, str) else found
        if not isinstance(found, str):
            makers[slot] = MAKERS[found.name]
    return Setup(board, sheets, makers)


def chain(positions: int, ticks_per_bit: int, law: str = "counter", **other: Any) -> Board:
    """A small board with a chain."""
    settings: dict[str, Any] = {"step_line": "i7", "restart_line": "i6", "buttons": BUTTONS} | other
    hz = 1000 * 8 * positions * ticks_per_bit
    return Board("small", "Small", hz, "chain", {}, positions, positions, ticks_per_bit, law=law, **settings)


def direct(codes: int, **other: Any) -> Board:
    """A small board with a direct link."""
    settings: dict[str, Any] = {"step_line": "own", "restart_line": "own", "buttons": BUTTONS} | other
    return Board("straight", "Straight", 1000, "direct", {}, 6, codes=codes, **settings)


def quay(*slots: int) -> Setup:
    """The board of the demo with some of its roster."""
    board = load_board("quay")
    return Setup(board, {slot: load_design(board.slots[slot]) for slot in slots}, {})


#: By name, every kind of link, law and line; with Amaranth alone in the slots where the name begins with `amaranth`.
SETUPS: Mapping[str, Callable[[], Setup]] = {
    "amaranth, shortest chain": lambda: setup(chain(1, 1), slot_0=sheet("ripple", "i7")),
    "amaranth, debounced and pulled": lambda: setup(
        chain(3, 1, debounce={"i0": 30, "i6": 100}, pulls={f"i{n}": n & 1 for n in range(8)}),
        slot_0=sheet("tally", "i7", "i6"),
        slot_2="lighthouse",
    ),
    "amaranth, step clock on i3": lambda: setup(
        chain(6, 3, step_line="i3", empty_outputs=0xA5, buttons={"i3": "STEP", "i1": "PUSH"}),
        slot_0=sheet("notes", "i3"),
        slot_1=sheet("tally", "i3", "i5", "low"),
        slot_3="word_roller",
        slot_5=sheet("ripple", "i7"),
    ),
    "amaranth, two-stage": lambda: setup(
        chain(4, 2, "two-stage"),
        slot_1="tide_gauge",
        slot_2="weather_report",
        slot_3=sheet("tally", "i7", "i6"),
    ),
    "two-stage, Verilog": lambda: setup(
        chain(5, 2, "two-stage", empty_outputs=0x0F),
        slot_1="ferry_whistle",
        slot_2="dice",
        slot_3="lamp_dimmer",
        slot_4=sheet("tally", "i7", "i6", "low"),
    ),
    "counter, Verilog": lambda: setup(
        chain(8, 4), slot_0="watch_vote", slot_3="dice", slot_6="lighthouse", slot_7=sheet("notes", "i7")
    ),
    "amaranth, direct, lines of its own": lambda: setup(
        direct(16),
        slot_0=sheet("tally", "own", "own"),
        slot_2="lighthouse",
        slot_3=sheet("ripple", "i7"),
        slot_5=sheet("notes", "own"),
    ),
    "direct, unselected designs run": lambda: setup(
        direct(16, unselected="run", debounce={"i0": 5}, empty_outputs=0x81),
        slot_1="dice",
        slot_2=sheet("tally", "i7", "own", "low"),
        slot_4="lamp_dimmer",
    ),
    "direct, step clock on i7": lambda: setup(
        direct(9, step_line="i7", restart_line=None, pulls={"i2": 1}),
        slot_0="tide_gauge",
        slot_1="watch_vote",
        slot_2=sheet("tally", "i7", "i6"),
    ),
    "amaranth, direct, two-stage": lambda: setup(
        direct(256, law="two-stage"), slot_0="word_roller", slot_1=sheet("tally", "own", "i6")
    ),
}
