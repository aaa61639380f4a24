"""What stands between a person's fingers and the input pins."""

from __future__ import annotations

from typing import Any

from amaranth.sim import Simulator
from forelight.harness.boards.profile import Board
from forelight.harness.chip.conditioning import Conditioning


def simulate(board: Board, bench: Any) -> None:
    conditioning = Conditioning(board)

    async def run(ctx: Any) -> None:
        await bench(ctx, conditioning)

    simulator = Simulator(conditioning)
    simulator.add_clock(1e-6, domain="oscillator", if_exists=True)  # without debounce it is all wire
    simulator.add_testbench(run)
    simulator.run()


def small(**other: Any) -> Board:
    return Board("small", "", 1000, "chain", {}, 1, **other)


def test_switches_pulls_and_buttons() -> None:
    async def bench(ctx: Any, board: Conditioning) -> None:
        ctx.set(board.switches, 0b1100_1010)
        assert ctx.get(board.pins) == 0b1100_1010  # all switches make contact at first
        ctx.set(board.contacts, 0b1111_0000)
        assert ctx.get(board.pins) == 0b1100_0011  # the pulls decide on the low four
        ctx.set(board.buttons, 0b0100_0001)
        assert ctx.get(board.pins) == 0b1000_0010  # a held button turns its line over, pulled or switched
        ctx.set(board.outside, 0b0000_1111)
        ctx.set(board.driven, 0b1000_0001)
        assert ctx.get(board.pins) == 0b0000_0011  # another source has the line

    simulate(small(pulls={"i0": 1, "i1": 1, "i2": 0}, buttons={"i0": "PUSH", "i6": "RESTART"}), bench)


def test_a_debounced_button_counts_once_it_has_held() -> None:
    held = [0, 1, 1, 0, 1, 1, 1, 1, 1, 0, 1, 0, 0, 0, 0]
    taken: list[int] = []

    async def bench(ctx: Any, board: Conditioning) -> None:
        for level in held:
            ctx.set(board.buttons, level)
            await ctx.tick("oscillator")
            taken.append(ctx.get(board.pins))

    simulate(small(debounce={"i0": 3}, buttons={"i0": "PUSH"}), bench)
    # Taken at the third tick in a row that finds it changed, both ways; bounces of two ticks and of one are not.
    assert taken == [0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 1, 1, 1, 0, 0]
