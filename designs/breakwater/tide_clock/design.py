"""Tide clock: one hand that goes round from high water to high water in 12 hours and 25 minutes."""

from amaranth.hdl import Array, Module, Mux, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

STEPS_PER_SECOND = 15
TIDE = (12 * 60 + 25) * 60 * STEPS_PER_SECOND  # from high water to high water, in steps

#: Where the hand points, clockwise from the top: at a segment of the ring, or between two.
HAND = ["a", "ab", "b", "bc", "c", "cd", "d", "de", "e", "ef", "f", "fa"]
LOW_WATER = HAND.index("d")


class TideClock(wiring.Component):
    """The hand on segments a to f; the point is lit while the tide rises; with i0 the hand moves at each step."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        quick = self.inputs[0]

        # The prescaler: the hand moves a twelfth of the round at a time.
        steps = Signal(range(TIDE // len(HAND)))
        move = Signal()
        m.d.comb += move.eq((steps == TIDE // len(HAND) - 1) | quick)
        m.d.sync += steps.eq(Mux(move, 0, steps + 1))

        hand = Signal(range(len(HAND)))
        with m.If(move):
            m.d.sync += hand.eq(Mux(hand == len(HAND) - 1, 0, hand + 1))

        shapes = Array(sum(1 << "abcdef".index(segment) for segment in segments) for segments in HAND)
        m.d.comb += self.outputs[0:6].eq(shapes[hand])
        m.d.comb += self.outputs[7].eq(hand >= LOW_WATER)
        return m
