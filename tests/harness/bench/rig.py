"""Board, hand and whole chip: what the tests need that compare the chip, tick by tick, with the bench."""

# Amaranth has no py.typed; `inputs: In(8)` fails a strict check.
# mypy: disable-error-code="valid-type, misc"

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from amaranth.back import rtlil
from amaranth.hdl import Cat, ClockDomain, Elaboratable, Module, Signal, Value
from amaranth.sim import Simulator
from forelight.designs.datasheet import Datasheet
from forelight.harness.bench.bench import Shown
from forelight.harness.bench.course import Seat
from forelight.harness.boards.profile import Board
from forelight.harness.chip.chip import Chip
from forelight.harness.chip.conditioning import Conditioning
from forelight.harness.chip.direct import DirectChip
from forelight.harness.chip.netlist import wrapper_netlist
from forelight.harness.chip.routing import routing, step_input
from forelight.harness.chip.wrapper import Wrapper
from forelight.harness.hand.timeline import Timeline
from forelight.sim import Simulation
from forelight.sim.rtlil.reader import parse
from numpy.typing import NDArray

Array = NDArray[Any]
#: The clock of a wrapped design passes so many assignments, more than any data path of the designs under test.
STAGES = 12


@dataclass(frozen=True)
class Setup:
    """A board and who sits in its slots: slot -> datasheet and, for a design without a file, what makes it."""

    board: Board
    sheets: Mapping[int, Datasheet]
    makers: Mapping[int, Callable[[], Elaboratable]]

    def wrapper(self, slot: int, stages: int = 0) -> Wrapper:
        make = self.makers.get(slot)
        return Wrapper(self.sheets[slot], make() if make else None, clock_stages=stages)

    @cached_property
    def seats(self) -> Mapping[int, Seat]:
        made = {slot: make() for slot, make in self.makers.items()}
        return {n: Seat(sheet, wrapper_netlist(sheet, made.get(n))) for n, sheet in self.sheets.items()}


class Rig(Elaboratable):
    """The chip with everything at its pins in one port `drive`, and everything to compare in one port `seen`.

    `drive` holds, lowest first, the clock of the oscillator and the clock of hand and latches, then what the hand
    moves (`fields`). On a chain the hand acts between two ticks. On a direct link it acts at a tick, on the same edge
    as the divider: there the chip's pins are registers. `seen` holds the output pins, then each slot's lines.
    """

    def __init__(self, setup: Setup, contacts: int, stages: int = 0) -> None:
        self.setup = setup
        self.contacts = contacts
        self.stages = stages
        self.board = setup.board
        codes = (self.board.codes - 1).bit_length()
        self.fields = {"contacts": 8, "switches": 10, "buttons": 8, "driven": 8, "outside": 8, "slot": 8}
        self.fields |= {"enable": 1, "code": codes}
        self.drive = Signal(2 + sum(self.fields.values()))
        self.slots = sorted(setup.sheets)
        self.lines_width = 8 if self.board.link == "chain" else 10
        self.seen = Signal(8 + self.lines_width * len(self.slots))
        self.wrappers: list[Wrapper] = []

    def elaborate(self, platform: object) -> Module:
        m = Module()
        for name, clock in (("oscillator", self.drive[0]), ("latch", self.drive[1])):
            domain = ClockDomain(name, reset_less=True)
            m.domains += domain
            m.d.comb += domain.clk.eq(clock)
        self.wrappers = [self.setup.wrapper(slot, self.stages) for slot in self.slots]
        placed = dict(zip(self.slots, self.wrappers, strict=True))
        m.submodules.conditioning = conditioning = Conditioning(self.board)
        chip: Any = Chip(self.board, placed) if self.board.link == "chain" else DirectChip(self.board, placed)
        m.submodules.chip = chip
        m.d.comb += chip.pins.eq(conditioning.pins)
        m.d.comb += self.seen.eq(Cat(chip.outputs, *(chip.lines[slot] for slot in self.slots)))

        moved = dict(zip(self.fields, self._moved(), strict=True))
        targets: list[tuple[Any, Value]] = [
            (conditioning.contacts, moved["contacts"]),
            (conditioning.switches, moved["switches"][:8]),
            (conditioning.buttons, moved["buttons"]),
            (conditioning.driven, moved["driven"]),
            (conditioning.outside, moved["outside"]),
            (chip.selection, moved["slot"]),
            (chip.enable, moved["enable"]),
        ]
        if self.board.link == "direct":
            targets += [(chip.step, moved["switches"][8]), (chip.restart, moved["switches"][9])]
            targets += [(chip.code, moved["code"])]
        hand = m.d.comb if self.board.link == "chain" else m.d.latch
        for target, level in targets:
            hand += target.eq(level)
        return m

    def _moved(self) -> Iterator[Value]:
        at = 2
        for width in self.fields.values():
            yield self.drive[at : at + width]
            at += width

    def ticks(self, plan: Timeline) -> Array:
        """What `drive` takes, a row for each frame: two values a tick, the second with the clocks high."""
        moves = expand(plan) | {"contacts": np.full(plan.end, self.contacts, np.int64)}
        row = np.zeros(plan.end, np.uint64)
        at = 2
        for name, width in self.fields.items():
            row |= moves[name].astype(np.uint64) << np.uint64(at)
            at += width
        if self.board.link == "chain":
            clocks = np.tile(np.array([0, 3], np.uint64), self.board.frame_ticks)
            grid: Array = row[:, None] | clocks[None, :]
            return grid
        # The edge at which a tick begins ends the tick before: it is there if the oscillator ran in that one.
        ran = np.concatenate(([False], moves["running"][:-1])).astype(np.uint64)
        return np.stack((row, row | np.uint64(2) | ran), axis=1)


def expand(plan: Timeline) -> dict[str, Array]:
    """What the hand holds, frame by frame."""
    names = ("switches", "buttons", "driven", "outside", "slot", "enable", "code", "running")
    columns: dict[str, list[Array]] = {name: [] for name in names}
    for stretch in plan.stretches:
        for name in names:
            columns[name].append(np.full(stretch.length, int(getattr(stretch, name)), np.int64))
        up = np.arange(stretch.length) // stretch.beat % 2 == 0
        columns["switches"][-1][up] ^= stretch.pulsing
    return {name: np.concatenate(parts) for name, parts in columns.items()}


def in_engine(rig: Rig) -> Simulation:
    """The whole chip in Forelight's engine."""
    text = rtlil.convert(rig, name="rig", ports={"drive": (rig.drive, None), "seen": (rig.seen, None)})
    modules = dict.fromkeys(module for wrapper in rig.wrappers for module in wrapper.modules)
    return Simulation(parse(text, modules=tuple(modules)))


def seen_of(simulation: Simulation, rig: Rig, plan: Timeline) -> Array:
    """What is `seen` after each value of `drive`, a row for each frame, from the state on that the chip is in."""
    drive = rig.ticks(plan)
    seen = simulation.run_samples("drive", drive.ravel(), "seen").astype(np.uint64)
    return seen.reshape(drive.shape)


def chip_on_engine(rig: Rig) -> Callable[[Timeline], Array]:
    """Runs timelines on the chip in Forelight's engine: what is `seen` after each value of `drive`."""
    simulation = in_engine(rig)

    def run(plan: Timeline) -> Array:
        simulation.power_cycle("init")
        simulation.settle()
        return seen_of(simulation, rig, plan)

    return run


class WokenChip:
    """The whole chip in Forelight's engine, whose designs wake up in any state."""

    def __init__(self, setup: Setup) -> None:
        self.setup, self.rig = setup, Rig(setup, 0xFF)
        self.simulation = in_engine(self.rig)

    def pins_and_lines(
        self, plan: Timeline, slot: int, rng: random.Random
    ) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
        """The output pins and the eight lines of a slot after each frame, from a power-up by chance on."""
        self._power_up(rng)
        last = seen_of(self.simulation, self.rig, plan)[:, -1]
        place = np.uint64(8 + self.rig.slots.index(slot) * self.rig.lines_width)
        return (last & np.uint64(0xFF)).astype(np.uint8), (last >> place & np.uint64(0xFF)).astype(np.uint8)

    def _power_up(self, rng: random.Random) -> None:
        """The designs wake up at random, and the chip's own registers are reset."""
        self.simulation.power_cycle(rng)
        woken = self.simulation.snapshot()
        self.simulation.power_cycle("init")
        state = bytearray(self.simulation.snapshot())
        places = self.simulation.compiled.layout.registers
        for register, place in zip(self.simulation.netlist.registers, places, strict=True):
            if register.name.startswith("chip.slot_"):
                bytes_of = slice(place.offset, place.offset + place.size)
                state[bytes_of] = woken[bytes_of]
        self.simulation.restore(bytes(state))
        self.simulation.settle()


def chip_on_amaranth(rig: Rig) -> Callable[[Timeline], Array]:
    """The same under `amaranth.sim`, which shares nothing with Forelight's engine."""

    def run(plan: Timeline) -> Array:
        drive = rig.ticks(plan)
        seen = np.zeros(drive.size, np.uint64)

        async def bench(ctx: Any) -> None:
            for index, value in enumerate(drive.ravel().tolist()):
                ctx.set(rig.drive, value)
                seen[index] = ctx.get(rig.seen)

        simulator = Simulator(rig)
        simulator.add_testbench(bench)
        simulator.run()
        return seen.reshape(drive.shape)

    return run


def by_frame(shown: Shown, plan: Timeline) -> Array:
    """The output pins after each frame, as the bench has them."""
    row = np.searchsorted(shown.frames, np.arange(plan.end), side="right") - 1
    outputs: Array = shown.outputs[row]
    return outputs


def lines_by_frame(plan: Timeline, slot: int) -> Array:
    """The lines of a slot after each frame: they move with the link while it is selected, and else stand still."""
    frames = np.arange(plan.end)
    carried = plan.lines[np.searchsorted(plan.frames, frames, side="right") - 1]
    selected = plan.slots[np.searchsorted(plan.turns, frames, side="right") - 1] == slot
    if plan.board.link == "direct" and plan.board.unselected == "run":
        selected[:] = True
    latest = np.maximum.accumulate(np.where(selected, frames, -1))
    lines: Array = np.where(latest < 0, 0, carried[latest])
    return lines if plan.board.link == "direct" else lines & 0xFF


def compare(rig: Rig, plan: Timeline, seen: Array, shown: Shown, slot: int) -> Counter[str]:
    """Assert that the chip's pins and lines are the bench's in every frame, and change in no tick but its last.

    The steps that the bench counts must be the rises of the step line that reaches `slot`. Returns what was compared.
    """
    last = seen[:, -1]
    before = np.concatenate((seen[:1, 0], last[:-1]))
    for column in range(seen.shape[1] - 1):
        wrong = np.flatnonzero(seen[:, column] != before)
        assert not len(wrong), f"frame {wrong[0]}: something moved after {column // 2} ticks"
    pins, expected = last & np.uint64(0xFF), by_frame(shown, plan)
    wrong = np.flatnonzero(pins != expected)
    assert not len(wrong), (
        f"frame {wrong[0]}: the chip shows {pins[wrong[0]]:08b}, not {expected[wrong[0]]:08b}"
    )
    steps = np.zeros(plan.end, np.int64)
    for place, number in enumerate(rig.slots):
        low, mask = np.uint64(8 + place * rig.lines_width), np.uint64((1 << rig.lines_width) - 1)
        found = last >> low & mask
        wrong = np.flatnonzero(found != lines_by_frame(plan, number))
        assert not len(wrong), f"frame {wrong[0]}: the lines of slot {number} differ"
        step = step_input(rig.setup.sheets[number])
        if number == slot and step is not None:
            line = np.uint64(routing(rig.board, rig.setup.sheets[number])[step])
            steps = np.cumsum(np.diff((found >> line & np.uint64(1)).astype(np.int8), prepend=0) == 1)
    counted = shown.steps[np.searchsorted(shown.frames, np.arange(plan.end), side="right") - 1]
    kept = np.isin(np.arange(plan.end), shown.frames)  # steps stand in the rows of changes
    wrong = np.flatnonzero((counted != steps) & kept)
    assert not len(wrong), f"frame {wrong[0]}: {counted[wrong[0]]} steps counted, not {steps[wrong[0]]}"
    changes = int(np.count_nonzero(np.diff(pins)))
    return Counter({"frames": plan.end, "changes of the pins": changes, "steps counted": int(steps[-1])})
