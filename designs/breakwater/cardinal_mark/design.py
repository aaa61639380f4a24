"""Cardinal mark: the rhythms of the four marks that say on which side the safe water is."""

from itertools import cycle

from amaranth.hdl import Const, Module, Mux, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

STEPS_PER_BEAT = 75  # at 300 steps a second a beat is a quarter of a second

#: Light, dark, light, dark ... in beats: as many quick flashes as the hour on a clock face where the mark lies.
MARKS = [
    [1, 3],  # north: Q
    [1, 3] * 2 + [1, 31],  # east: Q(3) 10s
    [1, 3] * 6 + [8, 28],  # south: Q(6)+LFl 15s
    [1, 3] * 8 + [1, 27],  # west: Q(9) 15s
]


def lamp(durations: list[int]) -> Const:
    """The lamp for one period: bit n is 1 if it is light in beat n."""
    beats = "".join(level * duration for level, duration in zip(cycle("10"), durations, strict=False))
    return Const(int(beats[::-1], 2), len(beats))


class CardinalMark(wiring.Component):
    """Pins i0 and i1 choose north, east, south or west; the whole digit is the lamp; o7 marks the first beat."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        mark = self.inputs[0:2]

        # The prescaler: of every 75 steps only the last one ends a beat.
        steps = Signal(range(STEPS_PER_BEAT))
        beat_ends = Signal()
        m.d.comb += beat_ends.eq(steps == STEPS_PER_BEAT - 1)
        m.d.sync += steps.eq(Mux(beat_ends, 0, steps + 1))

        light = Signal()
        beat = Signal(6)
        last = Signal(6)
        with m.Switch(mark):
            for code, durations in enumerate(MARKS):
                with m.Case(code):
                    m.d.comb += light.eq(lamp(durations).bit_select(beat, 1))
                    m.d.comb += last.eq(sum(durations) - 1)
        with m.If(beat_ends):
            # Not ==: the mark may have changed to one with a shorter period.
            m.d.sync += beat.eq(Mux(beat >= last, 0, beat + 1))

        m.d.comb += self.outputs[0:7].eq(light.replicate(7))
        m.d.comb += self.outputs[7].eq(beat == 0)
        return m
