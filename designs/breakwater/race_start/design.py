"""Race start: flags and horn of a five-minute starting sequence."""

from amaranth.hdl import Module, Mux, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

SECOND = 15  # steps
MINUTE = 60 * SECOND

# Times in steps since the warning signal, which comes five minutes before the start.
PREPARATORY = 1 * MINUTE
ONE_MINUTE = 4 * MINUTE  # left to the start
START = 5 * MINUTE
SHORT, LONG = 1 * SECOND, 4 * SECOND  # how long the horn sounds


class RaceStart(wiring.Component):
    """Class flag on o0, preparatory flag on o6, horn on o7; with i0 on, each start is the next class's warning."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        another = self.inputs[0]

        time = Signal(range(START + SHORT + 1))
        with m.If((time == START) & another):
            m.d.sync += time.eq(1)  # this step is that of the next warning signal
        with m.Else():
            m.d.sync += time.eq(Mux(time == START + SHORT, time, time + 1))

        horn = Signal()
        for signal, length in (0, SHORT), (PREPARATORY, SHORT), (ONE_MINUTE, LONG), (START, SHORT):
            with m.If((time >= signal) & (time < signal + length)):
                m.d.comb += horn.eq(1)

        m.d.comb += self.outputs[0].eq((time < START) | ((time == START) & another))
        m.d.comb += self.outputs[6].eq((time >= PREPARATORY) & (time < ONE_MINUTE))
        m.d.comb += self.outputs[7].eq(horn)
        return m
