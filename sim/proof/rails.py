"""Builds gates on bits that may be unknown: each bit is a pair of rails, may be 0 and may be 1."""

from __future__ import annotations

from collections.abc import Sequence

from ..gates.builder import ONE, ZERO, Bit, Builder
from ..netlist import Word

Rails = tuple[Bit, Bit]


class TernaryBuilder(Builder):
    """A builder whose bits are three-valued; the gates behind them stand in `rails`, an ordinary builder.

    `pair(bit)` gives (may be 0, may be 1), two bits of `rails`; both are 1 where the bit is unknown and never
    are both 0. Every operation is the exact three-valued one (Kleene 1952), so whatever circuit is built of
    them is sound, and monotone: more known inputs never make an output less known. `ZERO`, `ONE` and
    `UNDEFINED` keep their places, so the recipes of `gates/cells.py` serve as they are.
    """

    def __init__(self) -> None:
        super().__init__(as_drawn=False)
        self.rails = Builder(as_drawn=False)
        self._pairs: list[Rails] = [(ONE, ZERO), (ZERO, ONE), (ONE, ONE)]
        self._found: dict[Rails, Bit] = {pair: bit for bit, pair in enumerate(self._pairs)}

    def pair(self, bit: Bit) -> Rails:
        return self._pairs[bit]

    def of(self, may0: Bit, may1: Bit) -> Bit:
        """The bit of two rails."""
        pair = may0, may1
        found = self._found.get(pair)
        if found is None:
            found = self._found[pair] = self.another(pair)
        return found

    def another(self, pair: Rails) -> Bit:
        """A bit of its own, though there may be one with these rails."""
        self._pairs.append(pair)
        return len(self._pairs) - 1

    def gate(self, kind: str, *operands: Sequence[Bit], output: int | None = None) -> Bit:
        raise NotImplementedError(f"{kind} has no rails")

    def buffer(self, a: Bit) -> Bit:
        return a

    def inverter(self, a: Bit) -> Bit:
        may0, may1 = self.pair(a)
        return self.of(may1, may0)

    def both(self, a: Bit, b: Bit) -> Bit:
        (a0, a1), (b0, b1) = self.pair(a), self.pair(b)
        return self.of(self.rails.either(a0, b0), self.rails.both(a1, b1))

    def either(self, a: Bit, b: Bit) -> Bit:
        (a0, a1), (b0, b1) = self.pair(a), self.pair(b)
        return self.of(self.rails.both(a0, b0), self.rails.either(a1, b1))

    def differ(self, a: Bit, b: Bit) -> Bit:
        a0, a1 = self.pair(a)
        b0, b1 = self.pair(b)
        both, either = self.rails.both, self.rails.either
        return self.of(either(both(a0, b0), both(a1, b1)), either(both(a0, b1), both(a1, b0)))

    def choose(self, select: Bit, low: Bit, high: Bit) -> Bit:
        """Known where the selector is unknown but both choices are equal and known."""
        s0, s1 = self.pair(select)
        both, either = self.rails.both, self.rails.either
        may0, may1 = (
            either(both(s1, of_high), both(s0, of_low))
            for of_high, of_low in zip(self.pair(high), self.pair(low), strict=True)
        )
        return self.of(may0, may1)


def shown(to: TernaryBuilder, port: str, bits: Sequence[Bit]) -> dict[str, Word]:
    """An output, its mask of unknown bits, and both in one word where that has at most 64 bits."""
    rails = to.rails
    pairs = [to.pair(bit) for bit in bits]
    value = rails.word(rails.both(may1, rails.inverter(may0)) for may0, may1 in pairs)
    unknown = rails.word(rails.both(may1, may0) for may0, may1 in pairs)
    found = {port: value, f"{port}.unknown": unknown}
    if 2 * len(bits) <= 64:
        found[f"{port}.both"] = value + unknown
    return found
