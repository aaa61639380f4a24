"""Position report: a sentence of NMEA 0183, version 2.3, with its checksum over a serial line, a bit a step."""

from amaranth.hdl import Array, Cat, Const, Module, Mux, Signal, Value
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

#: Where the breakwater's head lies; the hundredths of a minute of latitude go where the # is. The time is left empty,
#: as there is no clock; then come the status, V for "do not use", and the mode, S for a simulation (version 2.3).
BODY = "IIGLL,4530.0#,N,02345.68,W,,V,S"
PAUSE = 3  # characters for which the line rests after the sentence

START, STOP = Const(0, 1), Const(1, 1)
REST = Const(0b1111111111, 10)


def hexadecimal(number: Value) -> Value:
    """The character of a figure from 0 to 9 and A to F."""
    return Mux(number < 10, ord("0") + number, ord("A") - 10 + number)[0:8]


class PositionReport(wiring.Component):
    """Serial line on o0: a start bit, eight data bits lowest first, a stop bit; i0 to i2 are the last figure."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        figure = Cat(self.inputs[0:3], Const(0b00110, 5))  # the digits are 0x30 to 0x39 in ASCII

        check = Signal(8)  # the exclusive or of what has been sent of the body
        body = [figure if character == "#" else ord(character) for character in BODY]
        ends = [ord("*"), hexadecimal(check[4:8]), hexadecimal(check[0:4]), ord("\r"), ord("\n")]
        sentence = Array([ord("$"), *body, *ends])

        place = Signal(range(len(sentence) + PAUSE))  # of the frame that is sent next
        character = Signal(8)
        m.d.comb += character.eq(sentence[place])

        bit = Signal(range(10))  # of the bit that is on the line now
        sending = Signal(10, init=REST.value)  # what is left of this frame, the bit on the line lowest
        m.d.sync += bit.eq(bit + 1)
        m.d.sync += sending.eq(sending >> 1)
        with m.If(bit == 9):
            m.d.sync += bit.eq(0)
            m.d.sync += place.eq(Mux(place == len(sentence) + PAUSE - 1, 0, place + 1))
            m.d.sync += sending.eq(Mux(place < len(sentence), Cat(START, character, STOP), REST))
            with m.If(place == 0):
                m.d.sync += check.eq(0)
            with m.Elif(place <= len(BODY)):
                m.d.sync += check.eq(check ^ character)

        m.d.comb += self.outputs[0].eq(sending[0])
        return m
