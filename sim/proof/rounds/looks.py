"""The netlist as it looks at several places of one event, for a netlist in rounds."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from ...gates.arithmetic import Bits
from ...gates.builder import ZERO, Bit
from .elements import Element
from .lines import Lines
from .reach import BitOf
from .views import Source, View


class Looks:
    """Makes views of one netlist, over what its lines and its state are at a place of an event."""

    def __init__(
        self,
        source: Source,
        constants: Mapping[int, Bits],
        tables: Sequence[Bits | None],
        lines: Lines,
        elements: Sequence[Element],
        at_once: Bit,
    ) -> None:
        self._source, self._netlist, self._to = source, source.netlist, source.to
        self._constants, self._tables = constants, tables
        self._lines, self._elements, self._at_once = lines, elements, at_once
        self._ports = {
            value: [(value, place) for place in range(self._netlist.widths[value])]
            for value in self._netlist.inputs.values()
        }
        self._ends = {value: list(map(lines.now, bits)) for value, bits in self._ports.items()}
        self._ends |= {element.key: element.now for element in elements}
        self._found: dict[str, tuple[dict[int, Bits], list[Bits | None]]] = {}

    def view(
        self,
        look: str,
        given: Mapping[int, Bits] | None = None,
        own: frozenset[BitOf] = frozenset(),
        alone: Bit = ZERO,
    ) -> View:
        """The netlist as it is somewhere in an event, but with the bits that are `given` for some values.

        `rest` is its end. `first` is while lines and registers move and latches do not answer yet, and `second`
        while these do. `wide` is the whole event, and `data` as well, but not on the move; where `alone` is 1, the
        bits in `own` are there at their ends.
        """
        if look not in self._found:
            self._found[look] = self._sources(look)
        sources, memories = self._found[look]
        there = {value for value, _ in own} & self._ends.keys() if alone != ZERO else ()
        arrived = {value: self._arrived(value, sources[value], own, alone) for value in sorted(there)}
        return View(self._source, {**sources, **arrived, **(given or {})}, memories)

    def _sources(self, look: str) -> tuple[dict[int, Bits], list[Bits | None]]:
        """What lines and state are at a look, by value; and memories by number."""
        sources, memories = dict(self._constants), list(self._tables)
        for value, bits in self._ports.items():
            seen = self._lines.rest if look in ("rest", "second") else self._lines.wide
            sources[value] = self._at(look, map(seen, bits))
        for element in self._elements:
            found = self._at(look, self._seen(element, look))
            if element.key < 0:
                memories[-1 - element.key] = found
            else:
                sources[element.key] = found
        return sources, memories

    def _at(self, look: str, bits: Iterable[Bit]) -> Bits:
        return [self._to.still(bit) for bit in bits] if look == "data" else list(bits)

    def _arrived(self, value: int, bits: Bits, own: frozenset[BitOf], alone: Bit) -> Bits:
        """The bits of a value of which those in `own` are at their ends where `alone` is 1."""
        to, select = self._to, self._to.level(alone)
        return [
            to.choose(select, bit, to.still(end)) if (value, place) in own else bit
            for place, (bit, end) in enumerate(zip(bits, self._ends[value], strict=True))
        ]

    def _seen(self, element: Element, look: str) -> Bits:
        if look == "rest" or (look == "second" and not element.settles):
            return element.now
        if look == "first" and element.waits:
            return self._to.choose_all(self._to.level(self._lines.storm), element.before, element.wide)
        if look == "data" or not element.settles:
            pairs = zip(element.wide, element.now, strict=True)
            return [self._to.picked(self._at_once, wide, now) for wide, now in pairs]
        return element.wide
