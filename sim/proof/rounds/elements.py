"""What holds state in a netlist that runs by rounds: registers, memories and the nets that close loops, with rails."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property

from ...frozen import frozen
from ...gates.arithmetic import Bits
from ...gates.builder import ZERO, Bit
from ...gates.memories import image, is_small
from ...netlist import Cell, Const, Memory, Netlist, Register, Slice, Word, WritePort
from ...schedule import Schedule
from ...state import is_wiring
from .reach import Clock
from .ticks import Ticks
from .views import View
from .waves import WaveBuilder


@frozen
class Held:
    """Rails of state: may be 1, may be 0."""

    may1: Bits
    may0: Bits

    @staticmethod
    def of(ticks: Ticks, width: int, start: Const | None, name: str = "") -> Held:
        ones = (1 << width) - 1
        one = ones if start is None else (start.bits | start.undefined) & ones
        zero = ones if start is None else (~start.bits | start.undefined) & ones
        names = (f"{name}.may1", f"{name}.may0") if name else ("", "")
        return Held(ticks.bits(width, one, names[0]), ticks.bits(width, zero, names[1]))

    def bits(self, to: WaveBuilder) -> Bits:
        return [to.of(*pair) for pair in zip(self.may0, self.may1, strict=True)]

    def then(self, ticks: Ticks, to: WaveBuilder, following: Sequence[Bit]) -> None:
        ticks.then(self.may1, [to.pair(bit)[1] for bit in following])
        ticks.then(self.may0, [to.pair(bit)[0] for bit in following])


class Element:
    """State with the rails that it has now, had before the event, and may have at any time of it.

    `settles` says that it also moves without a clock, `waits` that it moves only so. `key` is its value, or -1
    minus the number of a memory.
    """

    settles = waits = False

    def __init__(
        self, key: int, width: int, start: Const | None, name: str, to: WaveBuilder, ticks: Ticks
    ) -> None:
        self.key, self.width, self.to, self._ticks = key, width, to, ticks
        self._now, self._before = Held.of(ticks, width, start, name), Held.of(ticks, width, start)
        self.now, self.before = self._now.bits(to), self._before.bits(to)
        self._start = start

    @cached_property
    def wide(self) -> Bits:
        """What it may be meanwhile, on the move."""
        if not self.settles:
            pairs = zip(self.before, self.now, strict=True)
            return [self.to.between(self.to.pair(a), self.to.pair(b)) for a, b in pairs]
        self._wide = Held.of(self._ticks, self.width, self._start)
        self._moves = self._ticks.bits(self.width, 0), self._ticks.bits(self.width, 0)
        levels = (self._wide.may0, self._wide.may1, *self._moves)
        return [self.to.wave(*each) for each in zip(*levels, strict=True)]

    def then(self, now: Bits, before: Bits, wide: Bits) -> None:
        """What follows at the next tick."""
        self._now.then(self._ticks, self.to, now)
        self._before.then(self._ticks, self.to, before)
        if self.settles:
            self._wide.then(self._ticks, self.to, wide)
            for place, state in enumerate(self._moves):
                self._ticks.then(state, [self.to.moves(bit)[place] for bit in wide])

    def clocks(self) -> Sequence[Clock]:
        return ()

    def follows(self) -> Sequence[Word]:
        """What it follows without a clock, where it is a single bit."""
        return ()

    def forced(self, view: View, held: Bits) -> Bits:
        """What it becomes without a clock."""
        return held

    def clocked(self, views: Mapping[Clock, View], edges: Mapping[Clock, Bit]) -> Bits:
        """What it becomes by the edges, of which each may be unknown."""
        return self.now


class RegisterElement(Element):
    """A flip-flop or a latch."""

    def __init__(
        self, number: int, register: Register, known_start: bool, to: WaveBuilder, ticks: Ticks
    ) -> None:
        self._register = register
        self.settles = bool(register.overrides)
        self.waits = register.clock is None
        name = register.name or f"register {number}"
        start = register.init if known_start else None
        super().__init__(register.output, register.width, start, name, to, ticks)

    def clocks(self) -> Sequence[Clock]:
        register = self._register
        return () if register.clock is None else ((register.clock, register.rising),)

    def follows(self) -> Sequence[Word]:
        return self._register.forcing

    def forced(self, view: View, held: Bits) -> Bits:
        for override in self._register.overrides:
            mask, value = view.bits(override.mask), view.bits(override.value)
            held = [self.to.choose(*each) for each in zip(mask, held, value, strict=True)]
        return held

    def clocked(self, views: Mapping[Clock, View], edges: Mapping[Clock, Bit]) -> Bits:
        for clock in self.clocks():
            view = views[clock]
            taken = self.forced(view, view.bits(self._register.data))
            return self.to.choose_all(edges[clock], self.now, taken)
        return self.now


class MemoryElement(Element):
    """A small memory, row after row."""

    def __init__(self, number: int, memory: Memory, known_start: bool, to: WaveBuilder, ticks: Ticks) -> None:
        self._memory = memory
        self.settles = any(port.clock is None for port in memory.writes)
        self.waits = not self.clocks()
        width = memory.size * memory.width
        start = image(memory) if known_start else None
        super().__init__(-1 - number, width, start, memory.name or f"memory {number}", to, ticks)

    def clocks(self) -> Sequence[Clock]:
        return [(port.clock, port.rising) for port in self._memory.writes if port.clock is not None]

    def forced(self, view: View, held: Bits) -> Bits:
        for port in self._memory.writes:
            if port.clock is None:
                held = self._written(view, port, held, None)
        return held

    def clocked(self, views: Mapping[Clock, View], edges: Mapping[Clock, Bit]) -> Bits:
        """Ports in their order; one without a clock counts where there is an edge of another."""
        clocks = self.clocks()
        if not clocks:
            return self.now
        held, some = self.now, ZERO
        for port in self._memory.writes:
            if port.clock is not None:
                clock = port.clock, port.rising
                held, some = (
                    self._written(views[clock], port, held, edges[clock]),
                    self.to.either(some, edges[clock]),
                )
            else:
                held = self._written(views[clocks[0]], port, held, None)
        return self.to.choose_all(some, self.now, held)

    def _written(self, view: View, port: WritePort, held: Bits, edge: Bit | None) -> Bits:
        memory, to = self._memory, self.to
        address, enable = view.bits(port.address), view.bits(port.enable)
        if edge is not None:
            enable = [to.both(edge, bit) for bit in enable]
        places = range(memory.offset, memory.offset + memory.size)
        lines = to.decode(address, places)
        hits = [to.both(lines.get(place, ZERO), bit) for place in places for bit in enable]
        words = view.bits(port.data) * memory.size
        return [to.choose(*each) for each in zip(hits, held, words, strict=True)]


class LoopElement(Element):
    """The output of a cell that closes a loop: the loop's memory."""

    settles = waits = True

    def __init__(self, cell: Cell, width: int, name: str, to: WaveBuilder, ticks: Ticks) -> None:
        self._cell = cell
        super().__init__(cell.output, width, None, name, to, ticks)

    def follows(self) -> Sequence[Word]:
        return self._cell.operands

    def forced(self, view: View, held: Bits) -> Bits:
        return view.cell(self.key)


def elements(
    netlist: Netlist, plan: Schedule, to: WaveBuilder, ticks: Ticks, known_start: bool
) -> tuple[list[Element], dict[int, Bits], list[Bits | None]]:
    """All state; beside it registers that are wiring, by value, and memories that nobody writes, by number."""
    found: list[Element] = []
    constants: dict[int, Bits] = {}
    for number, register in enumerate(netlist.registers):
        if is_wiring(register):
            constants[register.output] = to.constant(register.init)
        else:
            found.append(RegisterElement(number, register, known_start, to, ticks))
    tables: list[Bits | None] = []
    for number, memory in enumerate(netlist.memories):
        small = is_small(memory)
        tables.append(to.constant(image(memory)) if small and not memory.writes else None)
        if small and memory.writes:
            found.append(MemoryElement(number, memory, known_start, to, ticks))
    for cell, name in closing(netlist, plan):
        found.append(LoopElement(cell, netlist.widths[cell.output], name, to, ticks))
    return found, constants, tables


def closing(netlist: Netlist, plan: Schedule) -> list[tuple[Cell, str]]:
    """The cells that close loops, with the names of what they drive."""
    registers = {register.output for register in netlist.registers}
    whole = ((name, word.parts[0]) for name, word in netlist.names.items() if len(word.parts) == 1)
    named = {part.value: name for name, part in whole if isinstance(part, Slice)}
    makers = {cell.output: cell for cell in netlist.cells}
    return [
        (makers[value], named.get(value, f"value {value}")) for value in plan.cuts if value not in registers
    ]
