"""Ferry whistle: the fog signal of a power-driven vessel making way, as a tone and a lamp."""

from amaranth.hdl import Module, Mux, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

STEPS_PER_SECOND = 750
BLAST = 5 * STEPS_PER_SECOND  # a prolonged blast is one of 4 to 6 s
INTERVAL = 90 * STEPS_PER_SECOND  # from blast to blast, not more than 120 s


class FerryWhistle(wiring.Component):
    """Whistle on o4, silent while i2 is 1; o7 is lit during a blast, muted or not."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        mute = self.inputs[2]

        time = Signal(range(INTERVAL))  # in steps, since the blast began
        m.d.sync += time.eq(Mux(time == INTERVAL - 1, 0, time + 1))

        blast = Signal()
        m.d.comb += blast.eq(time < BLAST)
        # The lowest bit changes at every step: a tone of half the step rate, 375 Hz.
        m.d.comb += self.outputs[4].eq(time[0] & blast & ~mute)
        m.d.comb += self.outputs[7].eq(blast)
        return m
