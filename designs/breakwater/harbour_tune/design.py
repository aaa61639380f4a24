"""Harbour tune: a call in equal temperament, from A4 = 440 Hz."""

from amaranth.hdl import Array, Module, Mux, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

STEPS_PER_SECOND = 50_000
BEAT = 17_500  # steps: 0.35 s
PHASE_BITS = 18  # of the tone's phase: a pitch is right to 0.1 Hz

SEMITONES = {"C4": -9, "G4": -2, "A4": 0, "B4": 2, "C5": 3, "D5": 5, "E5": 7}  # from A4
#: A word a beat; a note written again is held, and - is a rest.
TUNE = "G4 C5 D5 E5 E5 C5 A4 A4 C5 B4 G4 G4 C5 C5 C5 - - C4"


def pace(note: str) -> int:
    """By how much the phase advances at each step."""
    hertz = 0 if note == "-" else 440 * 2 ** (SEMITONES[note] / 12)
    return round(hertz * (1 << PHASE_BITS) / STEPS_PER_SECOND)


class HarbourTune(wiring.Component):
    """Tone on o4; the point marks the first beat; i0 mutes; with i1 it sounds A4 like a tuning fork."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        mute = self.inputs[0]
        fork = self.inputs[1]

        notes = TUNE.split()

        steps = Signal(range(BEAT))
        beat = Signal(range(len(notes)))
        m.d.sync += steps.eq(steps + 1)
        with m.If(steps == BEAT - 1):
            m.d.sync += steps.eq(0)
            m.d.sync += beat.eq(Mux(beat == len(notes) - 1, 0, beat + 1))

        advance = Signal(range(max(map(pace, notes)) + 1))
        m.d.comb += advance.eq(Mux(fork, pace("A4"), Array(map(pace, notes))[beat]))

        # The phase goes round once a period, and its highest bit is the tone: an edge is late by less than a step.
        phase = Signal(PHASE_BITS)
        m.d.sync += phase.eq(phase + advance)

        m.d.comb += self.outputs[4].eq(phase[-1] & ~mute & (advance != 0))
        m.d.comb += self.outputs[7].eq(beat == 0)
        return m
