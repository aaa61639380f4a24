"""Weather report: sends a line of text again and again over a serial line, a bit a step."""

from amaranth.hdl import Array, Cat, Const, Module, Mux, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

REPORT = "BREAKWATER: WIND SW #, RAIN LATER\r\n"  # the force of the wind goes where the # is
PAUSE = 3  # characters for which the line rests after the report

START, STOP = Const(0, 1), Const(1, 1)
REST = Const(0b1111111111, 10)


class WeatherReport(wiring.Component):
    """Serial line on o0: a start bit, eight data bits lowest first, a stop bit; i0 to i2 are the force."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        force = Cat(self.inputs[0:3], Const(0b00110, 5))  # the digits are 0x30 to 0x39 in ASCII
        characters = [force if character == "#" else Const(ord(character), 8) for character in REPORT]
        frames = Array([Cat(START, character, STOP) for character in characters] + [REST] * PAUSE)

        place = Signal(range(len(frames)))  # of the frame that is sent next
        bit = Signal(range(10))  # of the bit that is on the line now
        sending = Signal(10, init=REST.value)  # what is left of this frame, the bit on the line lowest
        with m.If(bit == 9):
            m.d.sync += bit.eq(0)
            m.d.sync += sending.eq(frames[place])
            m.d.sync += place.eq(Mux(place == len(frames) - 1, 0, place + 1))
        with m.Else():
            m.d.sync += bit.eq(bit + 1)
            m.d.sync += sending.eq(sending >> 1)

        m.d.comb += self.outputs[0].eq(sending[0])
        return m
