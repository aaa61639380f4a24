"""State that moves at ticks of a clock which a netlist makes for itself, until it wants no more of them."""

from __future__ import annotations

from collections.abc import Sequence

from ...gates.arithmetic import Bits
from ...gates.builder import Bit, Builder
from ...netlist import Const, Register


class Ticks:
    """Registers that all move at one tick, as many ticks in one update as it takes to come to rest.

    The clock is high while another tick is wanted and two toggles are alike; one toggles when it rises and the
    other when it falls, so it rises once in every second round of the update (DEVELOPERS.md, Time 4).
    """

    def __init__(self, rails: Builder) -> None:
        self._rails = rails
        self._next: dict[int, Bits] = {}
        self._start: dict[int, tuple[int, str]] = {}
        self._value: dict[Bit, int] = {}
        self._toggles = [rails.value(1) for _ in range(2)]

    def bits(self, width: int, start: int, name: str = "") -> Bits:
        """New state, which is `start` at power-up; give what follows with `then`."""
        value = self._rails.value(width)
        found = self._rails.bits(value)
        self._start[value] = start, name
        self._value |= dict.fromkeys(found[:1], value)
        return found

    def flag(self, start: int) -> Bit:
        return self.bits(1, start)[0]

    def then(self, state: Sequence[Bit], following: Sequence[Bit]) -> None:
        """What the state becomes at each tick."""
        if state:
            self._next[self._value[state[0]]] = list(following)

    def registers(self, wanted: Bit) -> list[Register]:
        """All state, ticking while `wanted` is 1."""
        rails = self._rails
        up, down = (rails.bits(value)[0] for value in self._toggles)
        pulse = rails.word([rails.both(wanted, rails.inverter(rails.differ(up, down)))])
        found = []
        for value, (start, name) in self._start.items():
            width, data = rails.widths[value], rails.word(self._next.get(value, rails.bits(value)))
            found.append(Register(value, width, pulse, True, data, (), Const(start, width), name))
        for value, rising in zip(self._toggles, (True, False), strict=True):
            data = rails.word([rails.inverter(rails.bits(value)[0])])
            found.append(Register(value, 1, pulse, rising, data, (), Const(0, 1)))
        return found
