"""The shape of the benchmark's circuits, how one sits on eight pins, and its RTLIL."""

from amaranth.back.rtlil import convert
from amaranth.hdl import ClockDomain, ClockSignal, Module, ResetSignal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

CLOCK_BIT = 7
RESET_BIT = 6


class Design(wiring.Component):  # type: ignore[misc]  # Amaranth has no types
    """Eight lines in, eight lines out, in the domain `sync`."""

    inputs: In(8)  # type: ignore[valid-type]
    outputs: Out(8)  # type: ignore[valid-type]


class OnPins(Design):
    """A design in a slot: its clock is input 7 and its reset, active high, input 6."""

    def __init__(self, design: Design) -> None:
        super().__init__()
        self._design = design

    def elaborate(self, platform: object) -> Module:
        m = Module()
        m.domains.sync = ClockDomain(local=True)
        m.submodules.design = self._design
        m.d.comb += [
            ClockSignal().eq(self.inputs[CLOCK_BIT]),
            ResetSignal().eq(self.inputs[RESET_BIT]),
            self._design.inputs.eq(self.inputs),
            self.outputs.eq(self._design.outputs),
        ]
        return m


def rtlil(design: Design, name: str = "top") -> str:
    """The RTLIL text of a design whose top module is called `name`, without source places."""
    return str(convert(design, name=name, emit_src=False))
