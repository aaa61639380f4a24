"""The strap-latched clock divider: toggles the step clock every `half` frames, by either law.

It holds to DEVELOPERS.md, Time 2 and 3.
"""

from __future__ import annotations

from amaranth.hdl import Module, Mux, Signal, Value
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out


class Divider(wiring.Component):
    """Holds the level of the step clock for the frame that runs.

    `advance` is high in the last tick of each frame; `enable` and `code` are what the frame sampled. In the
    first frame that sampled the enable, `level` is low and the code is kept; the first rise comes `half`
    frames later. Without the enable, `level` rests at low.

    `law` is `counter` (half = code + 1) or `two-stage` (a prescaler of 2**e frames, e the code's high three
    bits, then a counter of m + 1, m its low five); `codes` is how many codes there are.
    """

    def __init__(self, law: str, codes: int = 256) -> None:
        if law == "two-stage" and codes > 256:
            raise ValueError(f"the two-stage law has 256 codes, found {codes}")
        self.law = law
        width = max(codes - 1, 1).bit_length()
        super().__init__({"enable": In(1), "code": In(width), "advance": In(1), "level": Out(1)})

    def elaborate(self, platform: object) -> Module:
        m = Module()
        enabled = Signal()
        kept = Signal.like(self.code)
        code = Signal.like(self.code)  # the kept code, or the one that this frame is about to keep
        m.d.comb += code.eq(Mux(enabled, kept, self.code))

        two_stage = self.law == "two-stage"
        last = self._prescale(m, code[5:]) if two_stage else Value.cast(1)
        limit = code[:5] if two_stage else code
        count = Signal.like(limit)
        with m.If(self.advance):
            m.d.oscillator += enabled.eq(self.enable)
            m.d.oscillator += kept.eq(code)
            with m.If(~self.enable):
                m.d.oscillator += count.eq(0)
                m.d.oscillator += self.level.eq(0)
            with m.Elif(last):
                m.d.oscillator += count.eq(Mux(count == limit, 0, count + 1))
                m.d.oscillator += self.level.eq(self.level ^ (count == limit))
        return m

    def _prescale(self, m: Module, exponent: Value) -> Value:
        """The first stage: high in one of 2**exponent frames, the first time at the end of the first 2**exponent."""
        frames = Signal(7)
        with m.If(self.advance):
            m.d.oscillator += frames.eq(Mux(self.enable, frames + 1, 0))
        mask = Signal(7)
        m.d.comb += mask.eq((1 << exponent) - 1)
        return (frames & mask) == mask
