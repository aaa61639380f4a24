"""Ship's bells: one stroke more each half hour of the watch, in pairs, up to eight at its end."""

from amaranth.hdl import Module, Mux, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

STEPS_PER_BEAT = 375  # at 750 steps a second a beat is half a second
HALF_HOUR = 30 * 60 * 2  # in beats
QUICK = 30 * 2  # with the switch on, a half hour lasts 30 seconds
PAIR = 5  # beats: two strokes a second apart, and a pause


class ShipsBells(wiring.Component):
    """Bell on o4; o7 is lit at each stroke; with i0 a half hour lasts 30 seconds."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        quick = self.inputs[0]

        # The prescaler: of every 375 steps the last one ends a beat.
        steps = Signal(range(STEPS_PER_BEAT))
        beat_ends = Signal()
        m.d.comb += beat_ends.eq(steps == STEPS_PER_BEAT - 1)
        m.d.sync += steps.eq(Mux(beat_ends, 0, steps + 1))

        time = Signal(range(HALF_HOUR))  # in beats, since the half hour began
        bells = Signal(3)  # struck at the half hour before, where 0 stands for eight
        left = Signal(4)  # strokes that are still to come
        beat = Signal(range(PAIR))  # of the pair
        stroke = Signal()
        m.d.comb += stroke.eq((left != 0) & ((beat == 0) | (beat == 2)))
        with m.If(beat_ends):
            m.d.sync += time.eq(time + 1)
            m.d.sync += beat.eq(Mux(beat == PAIR - 1, 0, beat + 1))
            m.d.sync += left.eq(left - stroke)
            # Not ==: the switch may have made the half hour shorter than it has lasted.
            with m.If(time >= Mux(quick, QUICK, HALF_HOUR) - 1):
                m.d.sync += time.eq(0)
                m.d.sync += bells.eq(bells + 1)
                m.d.sync += left.eq(bells + 1)
                m.d.sync += beat.eq(0)

        # The prescaler's lowest bit changes at every step: a tone of half the step rate, 375 Hz.
        m.d.comb += self.outputs[4].eq(stroke & steps[0])
        m.d.comb += self.outputs[7].eq(stroke)
        return m
