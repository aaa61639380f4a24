"""Fog bell: the fog signal of a vessel at anchor or aground."""

from amaranth.hdl import Module, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

STROKE = 256  # steps from stroke to stroke: about three strokes a second at 750 steps a second
RAPID = 15  # strokes of the rapid ringing, about 5 s
APART = 3  # times as long, from stroke to stroke, for the three separate and distinct ones
STROKES = 128  # from signal to signal, about 44 s: not more than a minute

# When the rapid ringing begins and ends, and the three strokes after it, in strokes' times since the signal began.
BEFORE = 3 * APART
AFTER = BEFORE + RAPID
END = AFTER + 3 * APART


class FogBell(wiring.Component):
    """Bell on o4; the point is lit while the signal lasts; with i0 the vessel is aground."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        aground = self.inputs[0]

        step = Signal(range(STROKE))
        place = Signal(range(STROKES))  # in strokes' times, since the signal began
        m.d.sync += step.eq(step + 1)  # 256 steps: it goes round by itself
        with m.If(step == STROKE - 1):
            m.d.sync += place.eq(place + 1)  # 128 of them, likewise

        rapid = Signal()
        separate = Signal()
        signal = Signal()
        m.d.comb += rapid.eq((place >= BEFORE) & (place < AFTER))
        m.d.comb += separate.eq(aground & (place < END) & (place % APART == 1))
        m.d.comb += signal.eq(rapid | (aground & (place < END)))

        # A stroke is a tone of half the step rate, 375 Hz, for half of the time to the next one.
        ringing = (rapid | separate) & (step < STROKE // 2)
        m.d.comb += self.outputs[4].eq(ringing & step[0])
        m.d.comb += self.outputs[7].eq(signal)
        return m
