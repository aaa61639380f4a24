"""Rewrites any netlist to one that finds by rounds what is known after each update, glitches and loops included.

`../rewrite.py` is quicker and serves where every clock and control is a line of its own (`../plain.py`).
Here every update is a series of events: lines move, or registers do after an edge. An event takes ticks of a
clock that the result makes itself, so one update of the result comes to rest by itself, in machine code.

**An event** has two phases, each to rest (Eichelberger 1965): *wide*, in which everything that settles without
a clock (latches, asynchronous controls, loops of gates, memories written without a clock) joins to what it
holds what it may take while the moving bits are between old and new; *narrow*, in which the moving bits have
their new values and it keeps only what it can still be. Loops remember between events. Then clocks are
judged, and what they move is the next event.

**A clock** makes one edge for certain if it goes from one known level to the other and cannot go back
meanwhile (`waves.py`), and none if it is known and cannot move that way. Anything else is an edge that
may or may not have happened, and joins old and new state. Latches answer after the lines or registers that
move them have come through the gates: so a gated clock whose enable stands in a latch makes clean edges.

**Data at an edge** is old or new where it moves in the same event, but for the one line or register that made
the edge, which has its new level (DEVELOPERS.md, Time 4).

**Lines together.** While the one line that reaches clocks does its work to the end, the others may be old or new
(they reach no clock, so they cause nothing more). If several reach clocks, all of them are between old and new
until nothing grows any more, and every edge may or may not have happened.

So whatever order the lines have, each state on the way is covered: joins are closed under further moves, and
everything else is monotone. A train of edges without end becomes unknown after `PATIENCE` events.
"""

from __future__ import annotations

from ...gates.arithmetic import Bits
from ...gates.builder import ONE, ZERO, Bit
from ...netlist import Netlist, Word
from ...schedule import schedule
from ..rails import shown
from ..roms import Roms
from .elements import Element, elements
from .lines import Lines, Phase, counted
from .looks import Looks
from .reach import BitOf, Clock, Reach, clocks
from .ticks import Ticks
from .views import Source, View
from .waves import TooManyCells, WaveBuilder

#: The input port of the result that lets it run; it is low for the first settling after power-up.
RUN = "run."
#: The input port that, while it is 1, lets everything that moves in one event do so at one instant, without a glitch.
AT_ONCE = "once."
#: Events of one update, a power of two, after which no edge is certain and nothing is narrowed: so joins come to rest.
PATIENCE = 512
#: The output that is 1 after an update that left unknown what was known.
LOST = "lost."


def in_rounds(netlist: Netlist, *, known_start: bool = False, most_cells: int | None = None) -> Netlist:
    """The netlist with known-ness; run it with `power_up="init"`, settle once, then put port `RUN` to 1.

    Ports and names are those of `../rewrite.py`, but inputs are always known, and there is `AT_ONCE`. The output
    `LOST` is 1 if the last update left a bit of a register, memory or loop unknown that was known before it;
    it stands above the mask in `p.both` as well. State called `name` has its rails in the registers
    `name.may1` and `name.may0`, one after the other. Raises TooManyCells beyond `most_cells`.
    """
    return _Rounds(netlist, known_start, most_cells).netlist()


__all__ = ["AT_ONCE", "LOST", "RUN", "TooManyCells", "in_rounds"]


class _Rounds:
    """One netlist on its way."""

    def __init__(self, netlist: Netlist, known_start: bool, most_cells: int | None) -> None:
        self.old, self.plan = netlist, schedule(netlist)
        self.to = WaveBuilder(most_cells)
        self.rails = self.to.rails
        self.ticks = Ticks(self.rails)
        self.roms = Roms(self.to)
        self.elements, constants, tables = elements(netlist, self.plan, self.to, self.ticks, known_start)
        self.inputs = {port: self.rails.value(netlist.widths[v]) for port, v in netlist.inputs.items()}
        self.inputs |= {RUN: self.rails.value(1), AT_ONCE: self.rails.value(1)}
        self.at_once = self.rails.bits(self.inputs[AT_ONCE])[0]
        self.fresh, self.rolling, self.narrow, self.calm, self.lost = (
            self.ticks.flag(start) for start in (1, 0, 0, 0, 0)
        )
        self.count = [self.ticks.flag(0) for _ in range(PATIENCE.bit_length())]
        self.weary = self.count[-1]
        self.clocks = clocks(netlist)
        self.reach = Reach(netlist, self.plan.cuts)
        self.lines = Lines(
            netlist,
            self.inputs,
            self.reach.lines(word for word, _ in self.clocks),
            Phase(self.fresh, self.rolling, self.calm, self.at_once),
            self.to,
            self.ticks,
        )
        self.looks = Looks(
            Source(netlist, self.plan, self.to, self.roms),
            constants,
            tables,
            self.lines,
            self.elements,
            self.at_once,
        )

    def netlist(self) -> Netlist:
        old, rails = self.old, self.rails
        rest = self.looks.view("rest")
        done = self._settle(rest)
        self._judge(rest, done)
        self.lines.accept(done)
        wanted = rails.any_of([self.fresh, self.rolling, self.narrow, self.calm, *self.lines.moved.values()])
        wanted = rails.both(wanted, rails.bits(self.inputs[RUN])[0])
        outputs = {LOST: rails.word([self.lost])}
        for port, word in old.outputs.items():
            outputs |= shown(self.to, port, rest.bits(word))
            if 2 * word.width < 64:
                outputs[f"{port}.both"] += outputs[LOST]
        names = {
            f"{name}.may{rail}": rails.word(self.to.pair(bit)[rail] for bit in rest.bits(word))
            for name, word in old.names.items()
            for rail in (0, 1)
        }
        registers = tuple(self.ticks.registers(wanted))
        cells, memories = tuple(rails.cells), tuple(self.roms.memories)
        widths = tuple(rails.widths)
        return Netlist(
            old.name, widths, self.inputs, outputs, cells, registers, memories, names, old.warnings
        )

    # What settles without a clock

    def _settle(self, rest: View) -> Bit:
        """Whether the event has come to its end; `following` takes what everything becomes until then."""
        rails, to = self.rails, self.to
        wide = self.looks.view("wide")
        self.following: dict[int, tuple[Bits, Bits, Bits]] = {}
        grown, shrunk = [], []
        open_elements = [element for element in self.elements if element.settles]
        for element in open_elements:
            asked = element.forced(wide, element.wide)
            wider = [to.joined(a, b) for a, b in zip(element.wide, asked, strict=True)]
            grown += [d for a, b in zip(element.wide, wider, strict=True) for d in to.differences(a, b)]
            # What it can be at the end is less: not what it held before an edge that has moved it.
            asked = [to.still(bit) for bit in element.forced(wide, element.now)]
            last = [to.joined(a, b) for a, b in zip(element.now, asked, strict=True)]
            asked = self._narrowed(element, rest)
            closer = [to.picked(self.weary, to.met(a, b), a) for a, b in zip(element.now, asked, strict=True)]
            shrunk += [d for a, b in zip(element.now, closer, strict=True) for d in to.differences(a, b)]
            now = to.choose_all(self.to.level(self.narrow), last, closer)
            self.following[element.key] = now, element.before, wider
        if not open_elements:
            return ONE
        done = rails.both(self.narrow, rails.inverter(rails.any_of(shrunk)))
        narrow = rails.choose(self.narrow, rails.inverter(rails.any_of(grown)), rails.inverter(done))
        self.ticks.then([self.narrow], [narrow])
        return done

    def _narrowed(self, element: Element, rest: View) -> Bits:
        """What an element can still be; a single bit that reads itself is tried with both values, and rests on neither
        that it would leave."""
        if element.width > 1 or not self._reads_itself(element):
            return element.forced(rest, element.now)
        may0, may1 = self.to.pair(element.now[0])
        found = [
            self.to.pair(element.forced(self.looks.view("rest", {element.key: [value]}), [value])[0])
            for value in (ZERO, ONE)
        ]
        rails = self.rails
        return [
            self.to.of(
                *(rails.either(rails.both(may0, a), rails.both(may1, b)) for a, b in zip(*found, strict=True))
            )
        ]

    def _reads_itself(self, element: Element) -> bool:
        return any((element.key, 0) in self.reach.behind(word)[0] for word in element.follows())

    # Clocks

    def _judge(self, rest: View, done: Bit) -> None:
        """What every clock has done by the end of the event, and what that makes of the state."""
        rails, to = self.rails, self.to
        first, second = self.looks.view("first"), self.looks.view("second")
        edges: dict[Clock, Bit] = {}
        views: dict[Clock, View] = {}
        levels: dict[Word, Bits] = {}
        for clock in self.clocks:
            word = clock[0]
            if word not in levels:
                levels[word] = self._level(word, rest.bits(word)[0], done)
            own, reads = self.reach.behind(word)
            by_lines = not reads and own <= self.lines.moved.keys()
            edges[clock], certain = self._edge(clock, levels[word], (first, second), by_lines)
            _, several = counted(rails, [self._moves(bit) for bit in sorted(own)])
            alone = ZERO if reads else rails.both(certain, rails.inverter(several))
            views[clock] = self.looks.view("data", own=own, alone=alone)
        moved, lost = [], []
        for element in self.elements:
            # At rest, though what it takes may be read from a memory of which nothing is known, not even that it rests.
            after = [to.still(bit) for bit in element.clocked(views, edges)]
            moved += [d for a, b in zip(element.now, after, strict=True) for d in to.differences(a, b)]
            lost += [
                rails.both(rails.both(*to.pair(new)), rails.inverter(rails.both(*to.pair(old))))
                for old, new in zip(element.before, after, strict=True)
            ]
            self._commit(element, after, done)
        first_event = rails.inverter(rails.either(self.rolling, self.calm))
        rolling = rails.any_of(moved)
        lost_now = rails.either(rails.any_of(lost), rails.both(self.lost, rails.inverter(first_event)))
        self._at_end(self.lost, lost_now, done)
        carry = rails.inverter(self.weary)
        for place, bit in enumerate(self.count):
            more, carry = rails.differ(bit, carry), rails.both(bit, carry)
            self._at_end(self.count[place], rails.both(more, rails.inverter(first_event)), done)
        self._at_end(self.rolling, rolling, done)
        self._at_end(self.calm, rails.both(self.lines.storm, rails.inverter(rolling)), done)
        self._at_end(self.fresh, ZERO, done)

    def _level(self, word: Word, after: Bit, done: Bit) -> Bits:
        """A clock before the event and at its end."""
        may0, may1 = self.ticks.flag(1), self.ticks.flag(1)
        for state, rail in zip((may0, may1), self.to.pair(after), strict=True):
            self._at_end(state, rail, done)
        return [self.to.of(may0, may1), after]

    def _edge(self, clock: Clock, levels: Bits, views: tuple[View, View], by_lines: bool) -> tuple[Bit, Bit]:
        """The edge, unknown where it may or may not happen; and whether it happens for certain.

        A clock that lines make, without any state, has no other edges than its moves, even while a storm keeps these
        lines between old and new: each of them moves once, and one way.
        """
        rails, to = self.rails, self.to
        word, rising = clock
        (low, up), (fell, high) = (to.pair(bit if rising else to.inverter(bit)) for bit in levels)
        moves = [to.moves(view.bits(word)[0]) for view in views]
        rises, falls = (rails.any_of([move[place ^ (not rising)] for move in moves]) for place in (0, 1))
        rises, falls = (rails.both(move, rails.inverter(self.at_once)) for move in (rises, falls))
        judged = rails.inverter(rails.either(self.fresh, self.calm))
        unknown = rails.either(rails.both(low, up), rails.both(fell, high))
        changed = rails.either(unknown, rails.both(low, high))
        if by_lines:
            changed = rails.both(changed, rails.inverter(self.lines.storm))
        possible = rails.both(judged, rails.either(rises, changed))
        clean = rails.both(rails.inverter(up), rails.inverter(fell))
        doubt = rails.any_of([falls, self.lines.storm, self.weary])
        certain = rails.both(rails.both(judged, clean), rails.inverter(doubt))
        return to.of(rails.inverter(certain), possible), certain

    def _moves(self, bit: BitOf) -> Bit:
        """Whether a line, or a bit of state, moves in this event."""
        if bit in self.lines.moved:
            return self.lines.moved[bit]
        for element in self.elements:
            if element.key == bit[0]:
                return self.rails.either(*self.to.moves(element.wide[bit[1]]))
        return ZERO

    # The end of an event

    def _at_end(self, state: Bit, following: Bit, done: Bit) -> None:
        self.ticks.then([state], [self.rails.choose(done, state, following)])

    def _commit(self, element: Element, after: Bits, done: Bit) -> None:
        to = self.to
        now, before, wide = self.following.get(element.key, (element.now, element.before, element.wide))
        moving = [to.between(to.pair(a), to.pair(b)) for a, b in zip(element.now, after, strict=True)]
        element.then(
            to.choose_all(self.to.level(done), now, after),
            to.choose_all(self.to.level(done), before, element.now),
            [self.to.picked(done, a, b) for a, b in zip(wide, moving, strict=True)],
        )
