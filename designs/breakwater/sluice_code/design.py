"""Sluice code: a lock that four figures open, entered one at a time."""

from amaranth.hdl import Array, Module, Signal
from amaranth.lib import wiring
from amaranth.lib.cdc import FFSynchronizer
from amaranth.lib.wiring import In, Out

CODE = [7, 3, 1, 9]

OPEN = 0b0111111  # segments a to f: the letter O
BARS = [0b0000000, 0b0001000, 0b1001000, 0b1001001]  # as many as figures have been entered: d, g, a


class SluiceCode(wiring.Component):
    """i1 to i4 hold a figure and the button on i0 enters it; the point is lit while the lock is shut."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        figure = self.inputs[1:5]

        # A finger keeps no time with the steps: two registers let the button's level come to rest.
        button = Signal()
        m.submodules.button = FFSynchronizer(self.inputs[0], button)
        before = Signal()
        m.d.sync += before.eq(button)
        pressed = button & ~before

        place = Signal(range(len(CODE)))
        right = Signal(init=1)  # all figures so far; the lock does not tell before the last one
        is_open = Signal()
        fits = right & (figure == Array(CODE)[place])
        with m.If(pressed):
            m.d.sync += is_open.eq(0)
            m.d.sync += place.eq(place + 1)
            m.d.sync += right.eq(fits)
            with m.If(place == len(CODE) - 1):
                m.d.sync += is_open.eq(fits)
                m.d.sync += place.eq(0)
                m.d.sync += right.eq(1)

        m.d.comb += self.outputs[0:7].eq(Array(BARS)[place])
        with m.If(is_open):
            m.d.comb += self.outputs[0:7].eq(OPEN)
        m.d.comb += self.outputs[7].eq(~is_open)
        return m
