"""The whole chip behind a direct link: lines wired through, no frame (DEVELOPERS.md, Time 6).

A tick is a rising edge of the domain `oscillator`, which the step clock is divided from. What an unselected
design sees is the board profile's to say: its lines `hold` what they last were, or it `run`s on with the
lines of the selected one, and only the outputs are switched. Lines are held by transparent latches, which
Amaranth has not: registers of the domain `latch` stand in for them, whose clock goes with the ticks but does
not stop with the oscillator.
"""

from __future__ import annotations

from collections.abc import Mapping

from amaranth.hdl import Cat, Module, Mux, Signal, Value
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

from ..boards.profile import Board
from .divider import Divider
from .routing import LINE_COUNT, divided_line
from .wrapper import Wrapper


class DirectChip(wiring.Component):
    """Pins in, pins out, and the selected slot between them.

    `pins` are the eight input pins, `step` and `restart` the switches of the board's own two lines, `selection` the
    number on the selector, `enable` the switch of the step clock and `code` the setting of its divider. `lines[n]`
    is what reaches slot n.

    Each slot's lines come from registers through one expression, so that a simulator which passes values on in small
    steps shows no glitch on them that the rules of time do not know.
    """

    def __init__(self, board: Board, slots: Mapping[int, Wrapper]) -> None:
        self.board = board
        self.slots = dict(slots)
        self.lines: dict[int, Signal] = {n: Signal(LINE_COUNT, name=f"lines_{n}") for n in self.slots}
        self._divider = Divider(board.law, board.codes)
        super().__init__(
            {
                "pins": In(8),
                "step": In(1),
                "restart": In(1),
                "selection": In(range(max(board.slot_count, 2))),
                "enable": In(1),
                "code": In(len(self._divider.code)),
                "outputs": Out(8),
            }
        )

    def elaborate(self, platform: object) -> Module:
        m = Module()
        m.submodules.divider = divider = self._divider
        m.d.comb += [divider.enable.eq(self.enable), divider.code.eq(self.code), divider.advance.eq(1)]

        divided = divided_line(self.board)
        switches = Cat(self.pins, self.step, self.restart)
        lines = Cat(
            *(Mux(self.enable, divider.level, bit) if n == divided else bit for n, bit in enumerate(switches))
        )
        for number in self.slots:
            self._slot(m, number, lines)
        with m.Switch(self.selection):
            for number, wrapper in self.slots.items():
                with m.Case(number):
                    m.d.comb += self.outputs.eq(wrapper.outputs)
            with m.Default():
                m.d.comb += self.outputs.eq(self.board.empty_outputs)
        return m

    def _slot(self, m: Module, number: int, lines: Value) -> None:
        """Wire up one slot."""
        m.submodules[f"slot_{number}"] = wrapper = self.slots[number]
        here = self.lines[number]
        m.d.comb += wrapper.route(self.board, here)
        if self.board.unselected == "run":
            m.d.comb += here.eq(lines)
            return
        held = Signal(LINE_COUNT, name=f"held_{number}")
        m.d.comb += here.eq(Mux(self.selection == number, lines, held))
        m.d.latch += held.eq(here)
