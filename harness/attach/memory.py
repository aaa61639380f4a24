"""A serial memory that is read: SPI mode 0, instruction 03h, two or three address bytes, then bytes without end.

As the data sheets of such memories have it (Microchip 25LC256, DS21822, section 2, and Winbond W25Q80, Read Data; both
from memory): `cs` falls; `si` is taken at each rise of `sck`, highest bit first; after instruction and address `so`
changes at each fall of `sck`; the address counts up by itself and goes on at 0 after the last; `cs` high ends it and
lets `so` go.
"""

from __future__ import annotations

from amaranth.hdl import Cat, ClockDomain, Module, Signal
from amaranth.lib import wiring
from amaranth.lib.memory import Memory
from amaranth.lib.wiring import In, Out

from .image import ERASED, READ


class SerialMemory(wiring.Component):
    """Answers on `so` while `driving`; what is not in `data` up to the next power of two reads as erased."""

    def __init__(self, data: bytes, address_bytes: int = 3) -> None:
        self.address_bits = max(len(data) - 1, 1).bit_length()
        self.data = data.ljust(1 << self.address_bits, bytes([ERASED]))
        self.header = 8 + 8 * address_bytes
        super().__init__({"cs": In(1), "sck": In(1), "si": In(1), "so": Out(1), "driving": Out(1)})

    def elaborate(self, platform: object) -> Module:
        m = Module()
        for name, edge in (("rise", "pos"), ("fall", "neg")):
            domain = ClockDomain(name, clk_edge=edge, async_reset=True, local=True)
            m.domains += domain
            m.d.comb += [domain.clk.eq(self.sck), domain.rst.eq(self.cs)]

        taken = Signal(range(self.header + 1))  # bits of instruction and address
        shifted = Signal(self.header - 8)
        reading = Signal()
        with m.If(taken < self.header):
            m.d.rise += [taken.eq(taken + 1), shifted.eq(Cat(self.si, shifted[:-1]))]
            with m.If(taken == 7):
                m.d.rise += reading.eq(Cat(self.si, shifted[:7]) == READ)

        m.submodules.array = array = Memory(shape=8, depth=len(self.data), init=self.data)
        port = array.read_port(domain="comb")
        place = Signal(3)  # bits of this byte that have been given
        passed = Signal(self.address_bits)  # bytes that have been given
        m.d.comb += port.addr.eq(shifted + passed)
        with m.If(reading & (taken == self.header)):
            m.d.fall += [self.driving.eq(1), self.so.eq(port.data.bit_select(~place, 1)), place.eq(place + 1)]
            with m.If(place == 7):
                m.d.fall += passed.eq(passed + 1)
        return m
