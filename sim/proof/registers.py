"""Registers that carry known-ness: two rails each, joined where an edge or a control is unknown."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from ..gates.arithmetic import Bits
from ..gates.builder import ZERO, Bit
from ..netlist import Const, Memory, Override, Register, Word
from .rails import TernaryBuilder

Forced = tuple[Bits, Bits]
#: What has state: a register, or a memory that is one.
Key = tuple[str, int]

#: How an unknown clock is taken: bit by bit, the state as a whole, or the state is unknown for good.
FINE, COARSE, NEVER = 2, 1, 0


class States:
    """Draws the registers of the new netlist; `latches` are those of clocks that may be unknown."""

    def __init__(self, to: TernaryBuilder, known_start: bool, care: Mapping[Key, int]) -> None:
        self.to, self.known_start, self.care = to, known_start, care
        self.latches: list[Register] = []
        self._latch_of: dict[tuple[Bit, bool], Bit] = {}

    def pair(
        self,
        values: tuple[int, int],
        now: Bits,
        clock: Bit | None,
        rising: bool,
        data: Bits,
        forced: Sequence[Forced],
        init: Const,
        of: Register | Memory,
        key: Key,
    ) -> list[Register]:
        """The two rails of a state."""
        rails, found = self.to.rails, []
        ones = (1 << len(now)) - 1
        for value, rail in zip(values, (1, 0), strict=True):
            taken = [self.to.pair(bit)[rail] for bit in data]
            held = [self.to.pair(bit)[rail] for bit in now]
            overrides = []
            edge = None
            if clock is not None:
                before, after = self.to.pair(clock) if rising else self.to.pair(clock)[::-1]
                edge = rails.word([rails.both(after, rails.inverter(before))])
                maybe = rails.both(after, before)
                if maybe != ZERO:
                    unsure = self._unsure(clock, rising)
                    coarse = self.care.get(key) == COARSE
                    joins = rails.word(maybe if coarse else rails.both(maybe, bit) for bit in taken)
                    overrides.append(Override(joins, Word.const(ones, len(now))))
                    taken = [
                        rails.either(bit, rails.both(unsure, old))
                        for bit, old in zip(taken, held, strict=True)
                    ]
            overrides += [self._override(mask, word, rail) for mask, word in forced]
            start = ((init.bits if rail else ~init.bits) | init.undefined) & ones
            start = start if self.known_start else ones
            name = f"{of.name or ' '.join(map(str, key))}.may{rail}"
            width = len(now)
            found.append(
                Register(
                    value,
                    width,
                    edge,
                    True,
                    Word() if edge is None else rails.word(taken),
                    tuple(overrides),
                    Const(start, width),
                    name,
                    of.src,
                )
            )
        return found

    def _override(self, mask: Bits, word: Bits, rail: int) -> Override:
        """A rail is set where it may be forced so, and cleared only where the control is certain."""
        rails = self.to.rails
        forces, values = [], []
        for control, bit in zip(mask, word, strict=True):
            may0, may1 = self.to.pair(control)
            value = rails.both(may1, self.to.pair(bit)[rail])
            forces.append(rails.either(value, rails.inverter(may0)))
            values.append(value)
        return Override(rails.word(forces), rails.word(values))

    def _unsure(self, clock: Bit, rising: bool) -> Bit:
        """The latch that says that the next edge of a clock may have happened already."""
        found = self._latch_of.get((clock, rising))
        if found is None:
            rails = self.to.rails
            before, after = self.to.pair(clock) if rising else self.to.pair(clock)[::-1]
            value = rails.value(1)
            certain = rails.word([rails.both(before, rails.inverter(after))])
            maybe = rails.word([rails.both(before, after)])
            controls = (Override(certain, Word.const(0, 1)), Override(maybe, Word.const(1, 1)))
            self.latches.append(Register(value, 1, None, True, Word(), controls, Const(1, 1), "unsure"))
            found = self._latch_of[clock, rising] = rails.bits(value)[0]
        return found
