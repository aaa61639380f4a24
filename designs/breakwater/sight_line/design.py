"""Sight line: a leading light that is bright by day and dims with the hour into the night."""

from amaranth.hdl import Array, Module, Mux, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

STEPS_PER_SECOND = 1500
PULSE = 16  # steps: at 1500 steps a second 94 pulses a second, too fast for the eye
HOUR = 3600 * STEPS_PER_SECOND
QUICK = 94 * PULSE  # with the switch on, an hour lasts about a second

DUSK = [16, 8, 4, 2]  # for how many steps of each pulse it is lit, hour by hour: half as bright each time
NIGHT = 1
#: From midnight on: night up to four, dawn, day from seven, dusk from sixteen on, night from twenty.
LEVELS = [NIGHT] * 4 + DUSK[::-1] + [16] * 8 + DUSK + [NIGHT] * 4


class SightLine(wiring.Component):
    """The digit is the lamp; the point marks the hour after midnight; with i0 an hour lasts a second."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        quick = self.inputs[0]

        steps = Signal(range(HOUR))
        hour = Signal(range(24))
        m.d.sync += steps.eq(steps + 1)
        # Not ==: the switch may have made the hour shorter than it has lasted.
        with m.If(steps >= Mux(quick, QUICK, HOUR) - 1):
            m.d.sync += steps.eq(0)
            m.d.sync += hour.eq(Mux(hour == 23, 0, hour + 1))

        lamp = steps % PULSE < Array(LEVELS)[hour]
        m.d.comb += self.outputs[0:7].eq(lamp.replicate(7))
        m.d.comb += self.outputs[7].eq(hour == 0)
        return m
