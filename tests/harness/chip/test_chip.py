"""The chip in single ticks under `amaranth.sim`: when it samples, captures and updates (DEVELOPERS.md, Time 1 to 3)."""

# Amaranth has no py.typed.
# mypy: disable-error-code="misc"

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from amaranth.hdl import Elaboratable, Module
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out
from amaranth.sim import Simulator
from forelight.designs.datasheet import Datasheet, StepLine
from forelight.harness.boards.profile import Board
from forelight.harness.chip.chip import Chip
from forelight.harness.chip.direct import DirectChip
from forelight.harness.chip.wrapper import Wrapper


class Wires(Elaboratable):
    """Plain logic: the outputs are the inputs, turned over where `flip` has a one."""

    def __init__(self, flip: int = 0) -> None:
        ports = wiring.Signature({"inputs": In(8), "outputs": Out(8)}).create()
        self.inputs, self.outputs, self.flip = ports.inputs, ports.outputs, flip

    def elaborate(self, platform: object) -> Module:
        m = Module()
        m.d.comb += self.outputs.eq(self.inputs ^ self.flip)
        return m


def wrapped(flip: int = 0) -> Wrapper:
    sheet = Datasheet("wires", Path(), "", (), None, "amaranth", step=StepLine("i7"))
    return Wrapper(sheet, Wires(flip))


def board(positions: int, ticks_per_bit: int, **other: Any) -> Board:
    return Board("small", "", 1000, "chain", {}, positions, positions, ticks_per_bit, **other)


def simulate(chip: Any, bench: Any) -> None:
    simulator = Simulator(chip)
    simulator.add_clock(1e-6, domain="oscillator")
    if isinstance(chip, DirectChip):
        simulator.add_clock(1e-6, domain="latch")
    simulator.add_testbench(bench)
    simulator.run()


@pytest.mark.parametrize("positions", [1, 2, 3, 5])
@pytest.mark.parametrize("ticks_per_bit", [1, 2, 3, 4])
def test_pins_are_sampled_in_the_first_tick_and_move_lines_in_the_last(
    positions: int, ticks_per_bit: int
) -> None:
    slot = positions - 1
    chip = Chip(board(positions, ticks_per_bit), {slot: wrapped(0b1010_0000)})
    length = ticks_per_bit * 8 * positions
    moves: list[tuple[int, str, int]] = []

    async def bench(ctx: Any) -> None:
        before = (0, 0)
        for tick in range(4 * length):
            frame, place = divmod(tick, length)
            # Only what stands on the pins in the first tick counts: the rest of the time they show nonsense.
            ctx.set(chip.pins, [0x35, 0x0E, 0x71, 0x02][frame] if place == 0 else 0xFF & ~tick)
            ctx.set(chip.selection, slot if place == 0 else tick % positions)
            ctx.set(chip.enable, place != 0)
            await ctx.tick("oscillator")
            now = (ctx.get(chip.lines[slot]), ctx.get(chip.outputs))
            for name, old, new in zip(("lines", "outputs"), before, now, strict=True):
                if new != old:
                    moves.append((tick, name, new))
            before = now

    simulate(chip, bench)
    ends = [(frame + 1) * length - 1 for frame in range(4)]
    assert moves == [
        (ends[0], "lines", 0x35),
        (ends[0], "outputs", 0xA0),  # captured before the lines moved
        (ends[1], "lines", 0x0E),
        (ends[1], "outputs", 0x35 ^ 0xA0),
        (ends[2], "lines", 0x71),
        (ends[2], "outputs", 0x0E ^ 0xA0),
        (ends[3], "lines", 0x02),
        (ends[3], "outputs", 0x71 ^ 0xA0),
    ]


def test_every_position_of_a_chain_is_its_own_slot() -> None:
    chip = Chip(board(4, 1, empty_outputs=0x5A), {n: wrapped(17 * n) for n in (0, 1, 3)})
    shown: list[tuple[int, ...]] = []

    async def bench(ctx: Any) -> None:
        for slot, pins in [
            (0, 0x11),
            (1, 0x22),
            (3, 0x33),
            (2, 0x44),
            (0, 0x11),
            (1, 0x22),
            (3, 0x33),
            (2, 0),
        ]:
            ctx.set(chip.selection, slot)
            ctx.set(chip.pins, pins)
            for _ in range(32):
                await ctx.tick("oscillator")
            shown.append((ctx.get(chip.outputs), *(ctx.get(chip.lines[n]) for n in (0, 1, 3))))

    simulate(chip, bench)
    assert shown == [
        (0x00, 0x11, 0x00, 0x00),
        (0x11, 0x11, 0x22, 0x00),
        (0x33, 0x11, 0x22, 0x33),
        (0x5A, 0x11, 0x22, 0x33),  # an empty slot
        (0x11, 0x11, 0x22, 0x33),  # selected again: it stood still
        (0x22 ^ 0x11, 0x11, 0x22, 0x33),
        (0x33 ^ 0x33, 0x11, 0x22, 0x33),
        (0x5A, 0x11, 0x22, 0x33),
    ]


def test_the_strap_code_is_what_the_switches_hold_when_the_enable_rises() -> None:
    chip = Chip(board(1, 1), {0: wrapped()})
    levels: list[int] = []

    async def bench(ctx: Any) -> None:
        pins = [0x80, 0x82, 0x02, 0x00, 0x00, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80]
        enables = [0, 0, 1, 1, 1, 1, 1, 1, 1, 0, 0]
        for pin, enable in zip(pins, enables, strict=True):
            ctx.set(chip.pins, pin)
            ctx.set(chip.enable, enable)
            for _ in range(8):
                await ctx.tick("oscillator")
            levels.append(ctx.get(chip.lines[0]) >> 7)

    simulate(chip, bench)
    # The switch; then code 2: low for three frames from the enable on, high for three; then the switch again.
    assert levels == [1, 1, 0, 0, 0, 1, 1, 1, 0, 1, 1]


def test_a_direct_link_is_wire_and_holds_what_is_not_selected() -> None:
    straight = Board(
        "straight",
        "",
        1000,
        "direct",
        {},
        4,
        codes=4,
        step_line="own",
        restart_line="own",
        empty_outputs=0x81,
    )
    chip = DirectChip(straight, {0: wrapped(), 2: wrapped(0xF0)})
    shown: list[tuple[int, int, int]] = []

    async def bench(ctx: Any) -> None:
        for slot, pins in [(0, 0x11), (0, 0x12), (2, 0x43), (1, 0x04), (0, 0x05), (2, 0x06)]:
            ctx.set(chip.selection, slot)
            ctx.set(chip.pins, pins)
            # No tick between: the answer is there at once.
            shown.append((ctx.get(chip.outputs), ctx.get(chip.lines[0]), ctx.get(chip.lines[2])))
            await ctx.tick("oscillator")

    simulate(chip, bench)
    # Slot designs want their step on i7: it is the board's own step line, at rest, whatever stands on the pin.
    assert shown == [
        (0x11, 0x11, 0x00),
        (0x12, 0x12, 0x00),
        (0x43 ^ 0xF0, 0x12, 0x43),
        (0x81, 0x12, 0x43),
        (0x05, 0x05, 0x43),
        (0x06 ^ 0xF0, 0x05, 0x06),
    ]


def test_own_step_line_of_a_direct_link_counts_ticks() -> None:
    straight = Board("straight", "", 1000, "direct", {}, 1, codes=300, step_line="own")
    chip = DirectChip(straight, {0: wrapped()})
    levels: list[int] = []

    async def bench(ctx: Any) -> None:
        ctx.set(chip.code, 1)
        for enable, step in [(0, 1), (1, 1), (1, 0), (1, 0), (1, 0), (1, 0), (1, 0), (0, 0), (0, 1)]:
            ctx.set(chip.enable, enable)
            ctx.set(chip.step, step)
            levels.append(ctx.get(chip.outputs) >> 7)
            await ctx.tick("oscillator")

    simulate(chip, bench)
    assert levels == [1, 0, 0, 1, 1, 0, 0, 0, 1]
