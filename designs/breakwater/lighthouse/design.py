"""Lighthouse: eight characters of lights, chosen by three pins; the whole digit is the lamp."""

from itertools import cycle

from amaranth.hdl import Const, Module, Mux, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

STEPS_PER_BEAT = 75  # at 300 steps a second a beat is a quarter of a second

#: How long it is light, dark, light, dark ... in beats; the place in the list is the number on the pins.
CHARACTERS = [
    [2, 18],  # Fl 5s: flashing
    [2, 6, 2, 30],  # Fl(2) 10s: group flashing
    [8, 8],  # Iso 4s: isophase
    [18, 6],  # Oc 6s: occulting
    [1, 3],  # Q: quick
    [2, 2, 6, 22],  # Mo(A) 8s: the Morse letter A
    [8, 32],  # LFl 10s: long flashing
    [1, 3] * 6 + [8, 28],  # Q(6)+LFl 15s: six quick flashes and a long one
]


def lamp(durations: list[int]) -> Const:
    """The lamp for one period: bit n is 1 if it is light in beat n."""
    beats = "".join(level * duration for level, duration in zip(cycle("10"), durations, strict=False))
    return Const(int(beats[::-1], 2), len(beats))


class Lighthouse(wiring.Component):
    """Pins i0 to i2 choose the character; with i3 a step is a beat; o7 marks the first beat of a period."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        character = self.inputs[0:3]
        bypass = self.inputs[3]

        # The prescaler: of every 75 steps only the last one ends a beat.
        steps = Signal(range(STEPS_PER_BEAT))
        beat_ends = Signal()
        m.d.comb += beat_ends.eq((steps == STEPS_PER_BEAT - 1) | bypass)
        m.d.sync += steps.eq(Mux(beat_ends, 0, steps + 1))

        light = Signal()
        beat = Signal(6)
        last = Signal(6)
        with m.Switch(character):
            for code, durations in enumerate(CHARACTERS):
                with m.Case(code):
                    m.d.comb += light.eq(lamp(durations).bit_select(beat, 1))
                    m.d.comb += last.eq(sum(durations) - 1)
        with m.If(beat_ends):
            # Not ==: the character may have changed to one with a shorter period.
            m.d.sync += beat.eq(Mux(beat >= last, 0, beat + 1))

        m.d.comb += self.outputs[0:7].eq(light.replicate(7))
        m.d.comb += self.outputs[7].eq(beat == 0)
        return m
