"""Rewrites a netlist so that each signal carries value and known-ness, for the same compiler.

A bit becomes two rails, may be 0 and may be 1 (`rails.py`); a register becomes two registers, one a
rail. The result is an ordinary netlist without unknowns, and a run of it in machine code is a run of the
first one from all power-ups at once.

**What is claimed.** A bit that is called known has that value from every power-up and for every choice that
an unknown input leaves. The other way is not claimed: a signal that meets itself again is taken for two.

**Clocks.** An edge is certain from a known level to the other. While a clock is unknown, an edge may happen
at any time: a register joins to its state whatever its data may be, all the time, through an override. When
the clock becomes known, one more edge may have happened, at that moment. So each such clock has a latch
`unsure`: set while the clock is unknown, cleared by a known level before the edge; an edge that is unsure
joins old and new state instead of replacing it. The rounds of an update (DEVELOPERS.md, Time 4) then run in
step with those of any one power-up as long as clocks are known, and where they are not the joins cover every
order.

**Level-sensitive controls** that are unknown join as well: a rail is set where the forced value may be set,
and cleared only where the control is certain.

**Loops through controls.** A state whose override would wait for itself cannot be swept to rest soundly: an
unknown clock makes all of it unknown, whatever the data; where even that is a loop (a register that resets
itself, a latch that feeds its own enable) the state is unknown for good. So the result has no loops at all.

**Loops of cells** are unrolled from unknown (least fixed point, Kleene 1952): what any stable state must have
in common is known, a loop without a stable state is unknown, and so is what a loop of gates only remembers.
Each turn can make at least one bit known; after `TURNS` turns the rest stays unknown, which is sound.

**Memories** of at most 4096 bits with one write clock become registers. A larger one stays a memory, if its clock
is clean (`memories.py`); reads of others, and of one with several clocks, are unknown. One that nobody
writes is wiring.
"""

from __future__ import annotations

from collections.abc import Sequence

from ..gates.arithmetic import Bits
from ..gates.builder import UNDEFINED, ZERO, Bit
from ..gates.cells import GateMaker, draw
from ..gates.memories import image, is_kept, row_at
from ..netlist import Cell, Netlist, Register, Slice, Word
from ..schedule import schedule
from ..state import is_wiring
from .clocks import clock_sources
from .memories import Carrier, Written, can_carry
from .rails import shown
from .registers import FINE, NEVER, Key, States
from .roms import Roms
from .words import WordBuilder

#: Turns after which an unrolled loop of cells is left as it is.
TURNS = 16


def unknowns(netlist: Netlist, *, clean_clocks: bool = False, known_start: bool = False) -> Netlist:
    """The netlist with known-ness; run it with `power_up="init"`.

    Each input port `p` has a companion `p.unknown`, a mask; each output likewise, and `p` is 0 where it is
    unknown. Where both fit into 64 bits, `p.both` shows `p` with its mask above it. For every name there are
    `name.may0` and `name.may1`. The registers of the result stand in pairs (may be 1, may be 0) for each that is not
    wiring, then for each memory, then what large memories have lost, then the latches of uncertain clocks.

    With `clean_clocks`, an input line that is a clock has no unknown edges (its mask counts for its other
    uses alone). With `known_start`, registers and memories hold what the source states.
    """
    care: dict[Key, int] = {}
    while True:
        drawing = _Rewriting(netlist, clean_clocks, known_start, care)
        found = drawing.netlist()
        looped = drawing.looped(found)
        if not looped:
            return found
        for key in looped:
            care[key] = care.get(key, FINE) - 1


class _Rewriting:
    """One netlist on its way to rails."""

    def __init__(self, netlist: Netlist, clean_clocks: bool, known_start: bool, care: dict[Key, int]) -> None:
        self.old, self.care = netlist, care
        self.to = WordBuilder()
        self.clean = clock_sources(netlist) if clean_clocks else {}
        self.nets: dict[int, Bits] = {}
        self.inputs: dict[str, int] = {}
        self.plain: dict[int, list[Bit]] = {}
        for port, value in netlist.inputs.items():
            self._input(port, value)
        self.states: dict[int, tuple[int, int]] = {}
        for index, register in enumerate(netlist.registers):
            if is_wiring(register):
                self.nets[register.output] = self.to.constant(register.init)
            elif care.get(("register", index)) == NEVER:
                self.nets[register.output] = [UNDEFINED] * register.width
            else:
                self.states[index], self.nets[register.output] = self._new_state(register.width)
        self.rows: dict[int, tuple[int, int]] = {}
        self.contents: list[Bits | None] = [self._contents(n) for n in range(len(netlist.memories))]
        self.roms = Roms(self.to)
        self.carriers = {
            number: Carrier(self.to, memory, known_start, self.roms.memories)
            for number, memory in enumerate(netlist.memories)
            if can_carry(memory, self.clean)
        }
        self.drawn = States(self.to, known_start, care)

    def netlist(self) -> Netlist:
        old = self.old
        self._cells()
        registers: list[Register] = []
        for index in self.states:
            registers += self._register(index)
        for number in self.rows:
            registers += self._memory(number)
        for number, carrier in self.carriers.items():
            registers += self._carried(number, carrier)
        outputs: dict[str, Word] = {}
        for port, word in old.outputs.items():
            outputs |= shown(self.to, port, self._bits(word))
        names = {
            f"{name}.may{rail}": self._rail(self._bits(word), rail)
            for name, word in old.names.items()
            for rail in (0, 1)
        }
        rails = self.to.rails
        return Netlist(
            old.name,
            tuple(rails.widths),
            self.inputs,
            outputs,
            tuple(rails.cells),
            (*registers, *self.drawn.latches),
            tuple(self.roms.memories),
            names,
            old.warnings,
        )

    def looped(self, result: Netlist) -> set[Key]:
        """The states that stand in loops of the result."""
        owners: dict[int, Key] = {}
        for kind, states in (("register", self.states), ("memory", self.rows)):
            for number, values in states.items():
                owners |= dict.fromkeys(values, (kind, number))
        plan = schedule(result)
        indices = (plan.graph.register(node) for loop in plan.loops for node in loop)
        outputs = (result.registers[index].output for index in indices if index is not None)
        return {owners[value] for value in outputs}

    # Values

    def _input(self, port: str, value: int) -> None:
        rails, width = self.to.rails, self.old.widths[value]
        self.inputs[port], self.inputs[f"{port}.unknown"] = rails.value(width), rails.value(width)
        levels = self.plain[value] = rails.bits(self.inputs[port])
        masks = rails.bits(self.inputs[f"{port}.unknown"])
        self.nets[value] = [
            self.to.of(rails.either(rails.inverter(level), mask), rails.either(level, mask))
            for level, mask in zip(levels, masks, strict=True)
        ]

    def _new_state(self, width: int) -> tuple[tuple[int, int], Bits]:
        rails = self.to.rails
        may1, may0 = rails.value(width), rails.value(width)
        bits = [self.to.of(*pair) for pair in zip(rails.bits(may0), rails.bits(may1), strict=True)]
        return (may1, may0), bits

    def _contents(self, number: int) -> Bits | None:
        """The bits of a memory, row by row; None where it has too many."""
        memory = self.old.memories[number]
        if is_kept(memory):
            return None
        if not memory.writes:
            return self.to.constant(image(memory))
        if self.care.get(("memory", number)) == NEVER:
            return [UNDEFINED] * memory.size * memory.width
        self.rows[number], bits = self._new_state(memory.size * memory.width)
        return bits

    def _bits(self, word: Word) -> Bits:
        found: Bits = []
        for part in word.parts:
            if isinstance(part, Slice):
                found += self.nets[part.value][part.low : part.low + part.width]
            else:
                found += self.to.constant(part)
        return found

    def _rail(self, bits: Sequence[Bit], rail: int) -> Word:
        return self.to.rails.word(self.to.pair(bit)[rail] for bit in bits)

    # Cells

    def _cells(self) -> None:
        plan = schedule(self.old)
        loop_of = {node: loop for loop in plan.loops for node in loop}
        done: set[tuple[int, ...]] = set()
        for node in plan.order:
            loop = loop_of.get(node)
            if loop is None:
                self._draw(node)
            elif loop not in done:
                done.add(loop)
                self._loop(loop, plan.cuts)

    def _loop(self, loop: Sequence[int], cuts: Sequence[int]) -> None:
        """Turn after turn from unknown, until a turn changes nothing at the cuts."""
        driven = {self.old.cells[node].output for node in loop if node < len(self.old.cells)}
        closing = [value for value in cuts if value in driven]
        for value in closing:
            self.nets[value] = [UNDEFINED] * self.old.widths[value]
        most = sum(self.old.widths[value] for value in closing) + 1
        for _ in range(min(most, TURNS)):
            before = [self.nets[value] for value in closing]
            for node in loop:
                self._draw(node)
            if before == [self.nets[value] for value in closing]:
                break

    def _draw(self, node: int) -> None:
        if node >= len(self.old.cells):
            return
        cell = self.old.cells[node]
        self.to.rails.src = cell.src
        operands = [self._bits(word) for word in cell.operands]
        width = self.old.widths[cell.output]
        if cell.kind == "read":
            self.nets[cell.output] = self._read(cell, operands[0])
        else:
            self.nets[cell.output] = draw(GateMaker(cell, operands, self.to, width))

    def _read(self, cell: Cell, address: Bits) -> Bits:
        number = cell.int_param("memory")
        memory, contents = self.old.memories[number], self.contents[number]
        if contents is not None:
            width = memory.width
            rows = [contents[row * width : (row + 1) * width] for row in range(memory.size)]
            return row_at(self.to, memory, rows, address)
        if number in self.carriers:
            return self.carriers[number].read(address)
        if memory.writes:
            return [UNDEFINED] * memory.width
        return self.roms.read(number, memory, cell, address)

    # State

    def _register(self, index: int) -> list[Register]:
        register = self.old.registers[index]
        self.to.rails.src = register.src
        now = self.nets[register.output]
        forced = [(self._bits(o.mask), self._bits(o.value)) for o in register.overrides]
        data = now if register.clock is None else self._bits(register.data)
        clock = None if register.clock is None else self._clock(register.clock)
        return self.drawn.pair(
            self.states[index],
            now,
            clock,
            register.rising,
            data,
            forced,
            register.init,
            register,
            ("register", index),
        )

    def _memory(self, number: int) -> list[Register]:
        memory, now = self.old.memories[number], self.contents[number]
        assert now is not None
        data, forced, clock, rising = now, [], None, True
        for port in memory.writes:
            self.to.rails.src = port.src
            address, enable = self._bits(port.address), self._bits(port.enable)
            places = range(memory.offset, memory.offset + memory.size)
            lines = self.to.decode(address, places)
            hits = [self.to.both(lines.get(place, ZERO), bit) for place in places for bit in enable]
            words = self._bits(port.data) * memory.size
            if port.clock is None:
                forced.append((hits, words))
            else:
                clock, rising = self._clock(port.clock), port.rising
                data = [
                    self.to.choose(hit, old, new) for hit, old, new in zip(hits, data, words, strict=True)
                ]
        return self.drawn.pair(
            self.rows[number], now, clock, rising, data, forced, image(memory), memory, ("memory", number)
        )

    def _carried(self, number: int, carrier: Carrier) -> list[Register]:
        ports = self.old.memories[number].writes
        assert ports[0].clock is not None
        written = [Written(*map(self._bits, port.operands)) for port in ports]
        return carrier.write(written, self._clock(ports[0].clock), ports[0].rising)

    def _clock(self, word: Word) -> Bit:
        if word in self.clean:
            (value, bit), inverted = self.clean[word]
            level = self.plain[value][bit]
            found = self.to.of(self.to.rails.inverter(level), level)
            return self.to.inverter(found) if inverted else found
        return self._bits(word)[0]
