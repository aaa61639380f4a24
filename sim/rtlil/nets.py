"""The bits of a design under construction: what drives each, and words made of them.

Wires and values share one range of numbers. `drive[bit]` is the bit that drives it: itself for a constant and
for a bit of a value, `NOTHING` for a wire that nobody drives yet, else an alias to follow.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterable, Sequence

from ..errors import NetlistError
from ..netlist import FIGHT, Const, Part, Slice, Word
from .records import FIRST, FLOATING, ONE, Bits, Module, Wire, public

NOTHING = -1
_VISITING = -2


#: A name that Yosys has given a cell, behind its kind.
_MADE_UP = re.compile(r"(?<=\S) \$\S*\$\S*$")


class Nets:
    """Which bit drives which; after `settle`, what each bit is."""

    def __init__(self) -> None:
        self.drive: list[int] = list(range(FIRST))
        self.bases: list[int] = []  # of value n, ascending
        self.widths: list[int] = []
        self.labels: list[tuple[str, str]] = []  # what drives value n: its name, its src
        self.doubles: list[tuple[int, int, int]] = []  # a bit that has a driver, that driver, and another one
        self.floating: set[int] = set()  # wire bits that are read and that nothing drives
        self._blocks: list[tuple[int, Module, str]] = []  # first bit, module, path of the instance
        self._wires: dict[int, list[Wire]] = {}  # by the identity of a module: its wires that have bits
        self._words: dict[Bits, Word] = {(): Word()}
        self._loose: dict[Bits, set[int]] = {}  # of those words that have some: the bits that nothing drives

    def add_wires(self, module: Module, path: str) -> int:
        """Make room for an instance's wires; returns what to add to the module's bit numbers."""
        start = len(self.drive)
        self.drive.extend([NOTHING] * (module.end - module.first))
        self._blocks.append((start, module, path))
        return start - module.first

    def value(self, width: int, name: str, src: str) -> tuple[int, Bits]:
        """A new value: its number and its bits."""
        base = len(self.drive)
        bits = tuple(range(base, base + width))
        self.drive.extend(bits)
        self.bases.append(base)
        self.widths.append(width)
        self.labels.append((name, src))
        return len(self.bases) - 1, bits

    def connect(self, targets: Bits, sources: Bits) -> None:
        """Let each source bit drive its target bit."""
        drive = self.drive
        for target, source in zip(targets, sources, strict=True):
            if source in (FLOATING, target):
                continue  # z drives nothing
            if target < FIRST:
                raise NetlistError(
                    f"{self._driver(source)} drives a constant",
                    place=self._source(source),
                    remedy="connect it to a wire",
                )
            if drive[target] != NOTHING:
                self.doubles.append((target, drive[target], source))
            else:
                drive[target] = source

    def fight(self, target: int, first: int, second: int) -> tuple[str, str]:
        """What is to be said of a net with two drivers, and its place in the source."""
        wire, name, _ = self._wire(target)
        fighting = f"{self._driver(first)} and {self._driver(second)}"
        return f"net {_at(name, wire.src)} {FIGHT}: {fighting}", wire.src

    def _driver(self, bit: int) -> str:
        if bit < FIRST:
            return f"the constant {'01xz'[bit]}"
        number = bisect_right(self.bases, bit) - 1
        if number >= 0 and bit < self.bases[number] + self.widths[number]:
            name, src = self.labels[number]
            return _at(_MADE_UP.sub("", name) if src else name, src)
        wire, name, _ = self._wire(bit)
        return _at(f"net {name}", wire.src)

    def _source(self, bit: int) -> str:
        number = bisect_right(self.bases, bit) - 1
        return self.labels[number][1] if number >= 0 else ""

    def _wire(self, bit: int) -> tuple[Wire, str, int]:
        """The wire that holds a bit, the wire's full name, and the bit's place in it."""
        start, module, path = self._blocks[bisect_right(self._blocks, bit, key=lambda block: block[0]) - 1]
        at = bit - start + module.first
        wires = self._wires.get(id(module))
        if wires is None:
            wires = self._wires[id(module)] = [w for w in module.wires.values() if w.width]
        wire = wires[bisect_right(wires, at, key=lambda w: w.base) - 1]
        return wire, path + public(wire.name), at - wire.base

    def public_name(self, bits: Bits) -> str:
        """The name of the public wire that is exactly `bits`; empty if there is none."""
        if not bits:
            return ""
        wire, name, first = self._wire(bits[0])
        whole = wire.width == len(bits) and first == 0 and bits == tuple(range(bits[0], bits[0] + len(bits)))
        return name if whole and wire.name[0] == "\\" else ""

    def settle(self) -> None:
        """Follow all aliases to their ends: a value's bit, a constant, or `~bit` where nothing drives it.

        A circle of aliases is driven by nothing.
        """
        drive = self.drive
        for start in range(FIRST, len(drive)):
            bit = start
            trail = []
            while True:
                following = drive[bit]
                if following == bit:
                    end = bit
                    break
                if following in (NOTHING, _VISITING):
                    trail.append(bit)
                    end = ~bit
                    break
                if following < 0:
                    end = following
                    break
                drive[bit] = _VISITING
                trail.append(bit)
                bit = following
            for passed in trail:
                drive[passed] = end

    def word(self, bits: Bits, reads: bool = True) -> Word:
        """The settled word of some bits; undriven ones are undefined, and noted if this `reads` them."""
        found = self._words.get(bits)
        if found is None:
            ends = [self.drive[bit] for bit in bits]
            found = self._words[bits] = self._word(ends)
            if min(ends) < 0:
                self._loose[bits] = {~end for end in ends if end < 0}
        if reads and bits in self._loose:
            self.floating |= self._loose[bits]
        return found

    def _word(self, ends: Sequence[int]) -> Word:
        count = len(ends)
        parts: list[Part] = []
        at = 0
        while at < count:
            bit = ends[at]
            start = at
            if bit >= FIRST:
                number = bisect_right(self.bases, bit) - 1
                low = bit - self.bases[number]
                last = min(count, at + self.widths[number] - low)
                while at < last and ends[at] == bit + at - start:
                    at += 1
                parts.append(Slice(number, low, at - start))
            else:
                ones = undefined = 0
                while at < count and ends[at] < FIRST:
                    if ends[at] == ONE:
                        ones |= 1 << (at - start)
                    elif ends[at] != 0:
                        undefined |= 1 << (at - start)
                    at += 1
                parts.append(Const(ones, at - start, undefined))
        return Word(tuple(parts))

    def value_bit(self, bit: int) -> tuple[int, int] | None:
        """The value and the index in it that a settled bit is, if it is one."""
        end = self.drive[bit]
        if end < FIRST:
            return None
        number = bisect_right(self.bases, end) - 1
        return number, end - self.bases[number]

    def warnings(self) -> Iterable[str]:
        """A line for each wire with bits that are read and that nothing drives."""
        found: dict[tuple[str, str, int], list[int]] = {}
        for _, (wire, name, place) in sorted(self._names_of_floating().items()):
            found.setdefault((name, wire.src, wire.width), []).append(place)
        for (name, src, width), places in found.items():
            shown = name if len(places) == width else f"{name}[{','.join(_runs(sorted(places)))}]"
            yield f"{_at(shown, src)} is read but nothing drives it: what hangs on it is unsettled"

    def _names_of_floating(self) -> dict[int, tuple[Wire, str, int]]:
        """For each bit that nothing drives its wire, by the name that the source gives it before it meets a port."""
        found = {bit: self._wire(bit) for bit in self.floating}
        if not found:
            return found
        for start, module, path in self._blocks:
            for wire in module.wires.values():
                if wire.direction or wire.name[0] != "\\" or "$" in wire.name:
                    continue
                first = start + wire.base - module.first
                for place in range(wire.width):
                    bit = ~self.drive[first + place]
                    if bit in found and found[bit][0].direction:
                        found[bit] = wire, path + public(wire.name), place
        return found


def _at(name: str, src: str) -> str:
    return f"{name} ({src})" if src else name


def _runs(indices: list[int]) -> list[str]:
    """Ascending indices as `high:low` runs, highest first."""
    runs: list[list[int]] = []
    for index in indices:
        if runs and runs[-1][1] == index - 1:
            runs[-1][1] = index
        else:
            runs.append([index, index])
    return [str(low) if low == high else f"{high}:{low}" for low, high in reversed(runs)]
