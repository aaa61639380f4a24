"""The netlist as it looks at several places of one event, for a netlist in rounds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from .gate_arithmetic import Bits
from .gate_builder import ZERO, Bit
from .unknown_elements import Element
from .unknown_lines import Lines
from .unknown_reach import BitOf
from .unknown_views import Source, View


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
        resting = look in ("rest", "second")
        sources = dict(self._constants)
        for value in self._netlist.inputs.values():
            bits = [(value, place) for place in range(self._netlist.widths[value])]
            if resting:
                sources[value] = [self._lines.rest(bit) for bit in bits]
            else:
                sources[value] = [self._lines.wide(bit) for bit in bits]
            if look == "data":
                sources[value] = [
                    self._data(bit, wide, self._lines.now(bit), own, alone)
                    for bit, wide in zip(bits, sources[value], strict=True)
                ]
        memories = list(self._tables)
        for element in self._elements:
            found = self._seen(element, look)
            if look == "data":
                found = [
                    self._data((element.key, place), bit, now, own, alone)
                    for place, (bit, now) in enumerate(zip(found, element.now, strict=True))
                ]
            if element.key < 0:
                memories[-1 - element.key] = found
            else:
                sources[element.key] = found
        sources |= given or {}
        return View(self._source, sources, memories)

    def _seen(self, element: Element, look: str) -> Bits:
        if look == "rest" or (look == "second" and not element.settles):
            return element.now
        if look == "first" and element.waits:
            return self._to.choose_all(self._to.level(self._lines.storm), element.before, element.wide)
        if look == "data" or not element.settles:
            pairs = zip(element.wide, element.now, strict=True)
            return [self._to.picked(self._at_once, wide, now) for wide, now in pairs]
        return element.wide

    def _data(self, bit: BitOf, wide: Bit, now: Bit, own: frozenset[BitOf], alone: Bit) -> Bit:
        still = self._to.still(wide)
        return self._to.choose(self._to.level(alone), still, self._to.still(now)) if bit in own else still
