"""Rewrites a netlist so that each signal carries value and known-ness, for the same compiler.

A bit becomes two rails, may be 0 and may be 1 (`unknown_bits.py`); a register becomes two registers, one a
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

**Loops through controls.** A state whose override would wait for itself cannot be swept to rest soundly. It is taken
coarsely: an unknown clock makes all of it unknown, whatever the data; where even that is a loop, as with a
latch that feeds its own enable, the state is unknown for good. So the result has no loops at all, and every
update comes to rest unless clocks chase each other.

**Loops of cells** are unrolled from unknown (least fixed point, Kleene 1952): what any stable state must have
in common is known, a loop without a stable state is unknown, and so is what a loop of gates only remembers.
Each turn can make at least one bit known; after `TURNS` turns the rest stays unknown, which is sound.

**Memories** of at most 4096 bits with one write clock become registers; reads of a larger one that somebody writes, or
of one with several clocks, are unknown. One that nobody writes is wiring and keeps what was declared.
"""

from __future__ import annotations

from collections.abc import Sequence

from .gate_arithmetic import Bits
from .gate_builder import UNDEFINED, ZERO, Bit
from .gate_cells import Site, draw
from .gate_memories import is_kept
from .netlist import Cell, Const, Memory, Netlist, Override, Register, Slice, Word
from .schedule import schedule
from .state import is_wiring
from .unknown_bits import TernaryBuilder

#: Turns after which an unrolled loop of cells is left as it is.
TURNS = 16

Forced = tuple[Bits, Bits]
#: What has state: a register, or a memory that is one.
Key = tuple[str, int]

#: How an unknown clock is taken: bit by bit, the state as a whole, or the state is unknown for good.
FINE, COARSE, NEVER = 2, 1, 0


def unknowns(netlist: Netlist, *, clean_clocks: bool = False, known_start: bool = False) -> Netlist:
    """The netlist with known-ness; run it with `power_up="init"`.

    Each input port `p` has a companion `p.unknown`, a mask; each output likewise, and `p` is 0 where it is
    unknown. Where both fit into 64 bits, `p.both` shows `p` with its mask above it. For every name there are
    `name.may0` and `name.may1`. The registers of the result stand in pairs (may be 1, may be 0) for each that is not
    wiring, then for each memory, then the latches of uncertain clocks.

    With `clean_clocks`, an input line that clocks something itself has no unknown edges (its mask counts for
    its other uses alone). With `known_start`, registers and memories hold what the source states.
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


#: (value, bit) of an input.
Source = tuple[int, int]


def clock_lines(netlist: Netlist) -> frozenset[Source]:
    """Every input line that clocks something itself, or through inverters and buffers alone."""
    return frozenset(source for source, _ in clock_sources(netlist).values())


def clock_sources(netlist: Netlist) -> dict[Word, tuple[Source, bool]]:
    """For each clock that is an input line, or one behind inverters and buffers: the line, and whether inverted."""
    inputs = set(netlist.inputs.values())
    makers = {cell.output: cell for cell in netlist.cells if cell.kind in ("$not", "$buf", "$pos")}
    words = [register.clock for register in netlist.registers]
    words += [port.clock for memory in netlist.memories for port in memory.writes]
    found: dict[Word, tuple[Source, bool]] = {}
    for word in words:
        at, inverted, passed = word, False, set()
        while at is not None and isinstance(part := at.parts[0], Slice):
            maker = makers.get(part.value)
            if part.value in inputs:
                assert word is not None
                found[word] = (part.value, part.low), inverted
            if maker is None or part in passed or maker.operands[0].width <= part.low:
                break
            passed.add(part)
            inverted ^= maker.kind == "$not"
            at = maker.operands[0].bit(part.low)
    return found


class _Rewriting:
    """One netlist on its way to rails."""

    def __init__(self, netlist: Netlist, clean_clocks: bool, known_start: bool, care: dict[Key, int]) -> None:
        self.old, self.known_start, self.care = netlist, known_start, care
        self.to = TernaryBuilder()
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
        self.roms: dict[int, tuple[int, int]] = {}
        self.memories: list[Memory] = []
        self.unsure: dict[tuple[Bit, bool], Bit] = {}
        self.latches: list[Register] = []

    def netlist(self) -> Netlist:
        old = self.old
        self._cells()
        registers: list[Register] = []
        for index in self.states:
            registers += self._register(index)
        for number in self.rows:
            registers += self._memory(number)
        outputs: dict[str, Word] = {}
        for port, word in old.outputs.items():
            outputs |= self._shown(port, self._bits(word))
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
            (*registers, *self.latches),
            tuple(self.memories),
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
            return [bit for row in memory.init for bit in self.to.constant(row)]
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

    def _shown(self, port: str, bits: Bits) -> dict[str, Word]:
        rails = self.to.rails
        pairs = [self.to.pair(bit) for bit in bits]
        value = rails.word(rails.both(may1, rails.inverter(may0)) for may0, may1 in pairs)
        unknown = rails.word(rails.both(may1, may0) for may0, may1 in pairs)
        shown = {port: value, f"{port}.unknown": unknown}
        if 2 * len(bits) <= 64:
            shown[f"{port}.both"] = value + unknown
        return shown

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
            self.nets[cell.output] = draw(Site(cell, operands, self.to, width))

    def _read(self, cell: Cell, address: Bits) -> Bits:
        number = cell.int_param("memory")
        memory, contents = self.old.memories[number], self.contents[number]
        if contents is not None:
            width = memory.width
            rows = [contents[row * width : (row + 1) * width] for row in range(memory.size)]
            reached = {
                memory.offset + n: row
                for n, row in enumerate(rows)
                if not (memory.offset + n) >> len(address)
            }
            return self.to.tree(address, reached, [ZERO] * width)
        if memory.writes:
            return [UNDEFINED] * memory.width
        return self._rom(number, cell, address)

    def _rom(self, number: int, cell: Cell, address: Bits) -> Bits:
        """A large memory that nobody writes: one a rail, and unknown as a whole under an unknown address."""
        memory, rails = self.old.memories[number], self.to.rails
        if number not in self.roms:
            images = (
                tuple(
                    Const((~c.bits if rail == 0 else c.bits | c.undefined) & (1 << c.width) - 1, c.width)
                    for c in memory.init
                )
                for rail in (0, 1)
            )
            self.roms[number] = len(self.memories), len(self.memories) + 1
            for rail, image in enumerate(images):
                name = f"{memory.name}.may{rail}"
                self.memories.append(
                    Memory(name, memory.width, memory.size, memory.offset, image, (), memory.src)
                )
        unknown = rails.any_of([rails.both(*self.to.pair(bit)) for bit in address])
        read: list[list[Bit]] = []
        for twin in self.roms[number]:
            output = rails.value(memory.width)
            rails.cells.append(
                Cell("read", output, (self._rail(address, 1),), {**cell.params, "memory": twin}, cell.src)
            )
            read.append([rails.either(bit, unknown) for bit in rails.bits(output)])
        return [self.to.of(*pair) for pair in zip(*read, strict=True)]

    # State

    def _register(self, index: int) -> list[Register]:
        register = self.old.registers[index]
        self.to.rails.src = register.src
        now = self.nets[register.output]
        forced = [(self._bits(o.mask), self._bits(o.value)) for o in register.overrides]
        data = now if register.clock is None else self._bits(register.data)
        clock = None if register.clock is None else self._clock(register.clock)
        return self._pair(
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
        bits = undefined = 0
        for place, row in enumerate(memory.init):
            bits |= row.bits << place * memory.width
            undefined |= row.undefined << place * memory.width
        init = Const(bits, len(now), undefined)
        return self._pair(
            self.rows[number], now, clock, rising, data, forced, init, memory, ("memory", number)
        )

    def _clock(self, word: Word) -> Bit:
        if word in self.clean:
            (value, bit), inverted = self.clean[word]
            level = self.plain[value][bit]
            found = self.to.of(self.to.rails.inverter(level), level)
            return self.to.inverter(found) if inverted else found
        return self._bits(word)[0]

    def _pair(
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
            name = f"{of.name}.may{rail}"
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
        found = self.unsure.get((clock, rising))
        if found is None:
            rails = self.to.rails
            before, after = self.to.pair(clock) if rising else self.to.pair(clock)[::-1]
            value = rails.value(1)
            certain = rails.word([rails.both(before, rails.inverter(after))])
            maybe = rails.word([rails.both(before, after)])
            controls = (Override(certain, Word.const(0, 1)), Override(maybe, Word.const(1, 1)))
            self.latches.append(Register(value, 1, None, True, Word(), controls, Const(1, 1), "unsure"))
            found = self.unsure[clock, rising] = rails.bits(value)[0]
        return found
