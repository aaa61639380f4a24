"""The whole chip behind the chain, tick by tick (DEVELOPERS.md, Time 1 to 3).

A tick is a rising edge of the domain `oscillator`. All registers of the chip itself are reset at power-up:
the slots' input lines and the output pins are low and the divider rests until the first frame has run, which
begins at the first tick.
"""

from __future__ import annotations

from collections.abc import Mapping

from amaranth.hdl import Cat, Const, Module, Mux, Signal, Value
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

from ..boards.profile import Board
from .chain import Chain
from .divider import Divider
from .frame import FrameCounter
from .routing import divided_line
from .selector import Selector
from .terminal import Terminal
from .wrapper import Wrapper


class Chip(wiring.Component):
    """Pins in, pins out, and slot n at position n of the chain.

    `pins` are the eight input pins, `selection` the number on the selector, `enable` the switch of the step clock; all
    three are sampled in the first tick of each frame. `lines[n]` is what slot n's eight inputs hold.
    """

    def __init__(self, board: Board, slots: Mapping[int, Wrapper]) -> None:
        self.board = board
        self.slots = dict(slots)
        self.lines: dict[int, Signal] = {n: Signal(8, name=f"lines_{n}") for n in self.slots}
        selection = range(max(board.positions, 2))
        super().__init__(
            {"pins": In(8), "selection": In(selection), "enable": In(1), "outputs": Out(8)},
        )

    def elaborate(self, platform: object) -> Module:
        m = Module()
        m.submodules.frame = frame = FrameCounter(self.board.positions, self.board.ticks_per_bit)
        m.submodules.selector = selector = Selector(self.board.positions)
        m.submodules.divider = divider = Divider(self.board.law)
        m.submodules.terminal = terminal = Terminal()
        m.submodules.chain = chain = Chain(self.board.positions)

        pins = self._sampled(m, frame.first, self.pins)
        slot = self._sampled(m, frame.first, self.selection)
        enable = self._sampled(m, frame.first, self.enable)
        divided = divided_line(self.board)
        m.d.comb += [
            selector.slot.eq(slot),
            divider.enable.eq(enable),
            divider.code.eq(pins),
            divider.advance.eq(frame.last),
            terminal.lines.eq(
                Cat(*(Mux(enable, divider.level, pins[n]) if n == divided else pins[n] for n in range(8)))
            ),
            terminal.window.eq(frame.position == slot),
            terminal.shift.eq(frame.shift),
            terminal.last.eq(frame.last),
            terminal.bit.eq(frame.bit),
            chain.serial_in.eq(terminal.serial_out),
            terminal.serial_in.eq(chain.serial_out),
            chain.capture.eq(frame.first),
            chain.shift.eq(frame.shift),
            chain.update.eq(frame.last),
            chain.chosen.eq(selector.chosen),
            self.outputs.eq(terminal.outputs),
        ]
        for position in range(self.board.positions):
            m.d.comb += chain.outputs[position].eq(self._slot(m, position, chain.inputs[position]))
        return m

    def _sampled(self, m: Module, first: Value, pin: Signal) -> Signal:
        """The pin as it was in the frame's first tick, already in that tick."""
        kept = Signal.like(pin)
        value = Signal.like(pin)
        m.d.comb += value.eq(Mux(first, pin, kept))
        m.d.oscillator += kept.eq(value)
        return value

    def _slot(self, m: Module, position: int, inputs: Value) -> Value:
        """Wire up the slot at this position; its outputs."""
        if position not in self.slots:
            return Const(self.board.empty_outputs, 8)
        m.submodules[f"slot_{position}"] = wrapper = self.slots[position]
        m.d.comb += self.lines[position].eq(inputs)
        m.d.comb += wrapper.route(self.board, inputs)
        return wrapper.outputs
