"""A wrapped design together with the attachments that answer it, for one run in machine code.

On a direct link they are wired to each other. On a chain what the design puts out reaches the pins one frame later,
and what is at the pins reaches the design another frame later (DEVELOPERS.md, Time 1): registers stand for that. Two
lines that the bench adds to `inputs` move them, one row after another in each frame (`PHASES` in `wired_memory.py`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from amaranth.hdl import Cat, ClockDomain, Const, Module, Mux, Signal, Value
from forelight.designs.datasheet import OUTPUT_LINES

from ..chip.wired_design import WiredDesign
from ..chip.wrapper import Wrapper
from .memory import SerialMemory
from .wired_memory import WiredMemory


def answering(found: Sequence[WiredMemory], chained: bool) -> Callable[[Wrapper], WiredDesign]:
    """Makes the bench of a design with these memories; `chained` is whether a chain lies between."""
    return lambda wrapper: _Answering(wrapper, found, chained)


class _Answering(WiredDesign):
    """`seen` holds the eight inputs as they reach the design, and above them which of them are driven."""

    def __init__(self, wrapper: Wrapper, found: Sequence[WiredMemory], chained: bool) -> None:
        super().__init__(wrapper)
        self.found = found
        self.chained = chained
        self.seen = Signal(16)
        width = len(self.inputs)
        self.inputs = Signal(width + 2 * chained)
        self.lines, self.phases = self.inputs[:width], self.inputs[width:]

    def ports(self) -> dict[str, Signal]:
        return {**super().ports(), "seen": self.seen}

    def elaborate(self, platform: object) -> Module:
        m = Module()
        m.submodules.wrapper = self.wrapper
        m.d.comb += self.outputs.eq(self.wrapper.outputs)
        pins = Signal(8)
        answers = Signal(2 * len(self.found))
        for number, memory in enumerate(self.found):
            m.submodules[f"memory_{number}"] = part = _part(memory)
            for terminal in ("cs", "sck", "si"):
                m.d.comb += getattr(part, terminal).eq(_pin(pins, memory.attachment.lines[terminal]))
            m.d.comb += answers[2 * number : 2 * number + 2].eq(Cat(part.so, part.driving))
        if self.chained:
            answers = self._through_the_chain(m, pins, answers)
        else:
            m.d.comb += pins.eq(self.wrapper.outputs)
        reaching: list[Value] = list(self.lines)
        driven: list[Value] = [Const(0)] * 8
        for number, memory in enumerate(self.found):
            level, driving = answers[2 * number], answers[2 * number + 1]
            reaching[memory.bit] = Mux(driving, level, self.lines[memory.bit])
            driven[memory.bit] = driving
        m.d.comb += [
            self.wrapper.all_inputs().eq(Cat(*reaching)),
            self.seen.eq(Cat(*reaching[:8], *driven)),
        ]
        return m

    def _through_the_chain(self, m: Module, pins: Any, answers: Any) -> Signal:
        """The answers as they reach the design, and the design's outputs as they reach the pins."""
        edges = (("capture", 0, "pos"), ("early", 1, "pos"), ("late", 0, "neg"), ("turn", 1, "neg"))
        for name, bit, edge in edges:
            domain = ClockDomain(name, clk_edge=edge, reset_less=True, local=True)
            m.domains += domain
            m.d.comb += domain.clk.eq(self.phases[bit])
        captured, early, late, before = (
            Signal.like(answers, name=name) for name in ("captured", "early", "late", "before")
        )
        m.d.capture += [pins.eq(self.wrapper.outputs), captured.eq(answers)]
        m.d.early += early.eq(captured)
        m.d.late += late.eq(captured)
        m.d.turn += before.eq(captured)
        # Which way a race falls is chance: a power-up at 0 always gives the answer first, the others take turns. A
        # shift register with feedback (x^2 + x + 1) holds 0 for ever and goes round through the rest.
        chance = Signal(2)
        with m.If(captured != before):
            m.d.turn += chance.eq(Cat(chance[1] ^ chance[0], chance[0]))
        return Mux(chance[0], late, early)


def _part(memory: WiredMemory) -> SerialMemory:
    return SerialMemory(memory.data, int(memory.attachment.options.get("address_bytes", 3)))


def _pin(pins: Value, line: str) -> Value:
    return pins[OUTPUT_LINES.index(line)] if line in OUTPUT_LINES else Const(int(line == "high"), 1)
