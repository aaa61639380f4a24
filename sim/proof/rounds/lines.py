"""The input lines of a netlist in rounds: which of them move, and which stay between old and new for a while."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from ...frozen import frozen
from ...gates.builder import ZERO, Bit, Builder
from ...netlist import Netlist
from .reach import BitOf
from .ticks import Ticks
from .waves import WaveBuilder


@frozen
class Phase:
    """Ordinary bits that say how far an update has come.

    `fresh` at the first one after power-up; `rolling` while registers have just moved; `calm` when a storm is over;
    `at_once` where nothing races.
    """

    fresh: Bit
    rolling: Bit
    calm: Bit
    at_once: Bit


class Lines:
    """Every input line by its value and place, with what an update has taken up of it.

    `storm` is 1 while several lines that reach clocks move: then these stay between old and new. `moved` says of each
    line whether it moves.
    """

    def __init__(
        self,
        netlist: Netlist,
        inputs: Mapping[str, int],
        clocking: frozenset[BitOf],
        phase: Phase,
        to: WaveBuilder,
        ticks: Ticks,
    ) -> None:
        self._to, self._rails, self._ticks = to, to.rails, ticks
        self._at_once, self._clocking, rails = phase.at_once, clocking, to.rails
        self._taken: dict[BitOf, Bit] = {}
        self._levels: dict[BitOf, tuple[Bit, Bit]] = {}
        for port, value in netlist.inputs.items():
            for place, now in enumerate(rails.bits(inputs[port])):
                taken = self._taken[value, place] = ticks.flag(0)
                self._levels[value, place] = rails.choose(phase.fresh, taken, now), now
        self.moved = {bit: rails.differ(*levels) for bit, levels in self._levels.items()}
        some, several = counted(rails, [self.moved[bit] for bit in sorted(clocking)])
        raced = rails.inverter(rails.either(phase.calm, phase.at_once))
        self.storm = rails.both(several, raced)
        # A line that reaches no clock stays between old and new until the clocks have done their work.
        self._waiting = rails.both(rails.either(some, phase.rolling), raced)

    def now(self, bit: BitOf) -> Bit:
        """The line at its new level."""
        return self._to.level(self._levels[bit][1])

    def wide(self, bit: BitOf) -> Bit:
        """The line on its way."""
        before, now = self._levels[bit]
        before = self._rails.choose(self._at_once, before, now)
        pairs = (self._to.pair(self._to.level(level)) for level in (before, now))
        return self._to.between(*pairs)

    def rest(self, bit: BitOf) -> Bit:
        """The line at the end of the event: at its new level, unless it is kept between old and new."""
        before, now = self._levels[bit]
        return self._to.picked(
            self._kept(bit), self.now(bit), self._to.joined(self._to.level(before), self._to.level(now))
        )

    def accept(self, done: Bit) -> None:
        """At the end of the event, lines that are not kept have done their work."""
        rails = self._rails
        for bit, taken in self._taken.items():
            over = rails.both(done, rails.inverter(self._kept(bit)))
            self._ticks.then([taken], [rails.choose(over, taken, self._levels[bit][1])])

    def _kept(self, bit: BitOf) -> Bit:
        return self.storm if bit in self._clocking else self._waiting


def counted(rails: Builder, bits: Sequence[Bit]) -> tuple[Bit, Bit]:
    """Whether some, and whether several, of the bits are 1."""
    some = several = ZERO
    for bit in bits:
        several = rails.either(several, rails.both(some, bit))
        some = rails.either(some, bit)
    return some, several
