"""Watch glass: counts a watch down by the hour, and warns ten minutes before its end."""

from amaranth.hdl import Array, Module, Mux, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

STEPS_PER_MINUTE = 15 * 60  # at 15 steps a second
WATCH, DOG_WATCH = 4, 2  # hours
WARNING = 50  # the minute of the last hour from which on the point is lit

#: Segments g to a for 0 to 4 hours left.
FIGURES = [0b0111111, 0b0000110, 0b1011011, 0b1001111, 0b1100110]


class WatchGlass(wiring.Component):
    """The digit shows the hours left, begun ones included; i0 makes it a dog watch; with i1 a minute is a step."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        watch = Mux(self.inputs[0], DOG_WATCH, WATCH)
        quick = self.inputs[1]

        steps = Signal(range(STEPS_PER_MINUTE))
        minute = Signal(range(60))
        hours = Signal(range(WATCH + 1))
        over = Signal()
        m.d.comb += over.eq(hours >= watch)  # not ==: a dog watch may have been chosen late
        with m.If(~over):
            m.d.sync += steps.eq(steps + 1)
            with m.If((steps == STEPS_PER_MINUTE - 1) | quick):
                m.d.sync += steps.eq(0)
                m.d.sync += minute.eq(Mux(minute == 59, 0, minute + 1))
                with m.If(minute == 59):
                    m.d.sync += hours.eq(hours + 1)

        left = Signal(range(WATCH + 1))
        m.d.comb += left.eq(Mux(over, 0, watch - hours))
        m.d.comb += self.outputs[0:7].eq(Array(FIGURES)[left])
        m.d.comb += self.outputs[7].eq(over | ((left == 1) & (minute >= WARNING)))
        return m
