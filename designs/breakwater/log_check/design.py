"""Log check: the check byte of a line in the harbour log, CRC-8, a bit a step."""

from amaranth.hdl import Module, Mux, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

POLYNOMIAL = 0x07  # x^8 + x^2 + x + 1; the x^8 is the bit that falls out


class LogCheck(wiring.Component):
    """While i1 is 1 each step takes in the bit on i0, the highest of each character first; o0 to o7 are the check."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        bit = self.inputs[0]
        take = self.inputs[1]

        check = Signal(8)
        with m.If(take):
            m.d.sync += check.eq((check << 1) ^ Mux(check[7] ^ bit, POLYNOMIAL, 0))

        m.d.comb += self.outputs.eq(check)
        return m
