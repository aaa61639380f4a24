"""Word-level netlist to one-bit gates."""

from __future__ import annotations

from dataclasses import replace

from ..netlist import Cell, Netlist, Override, Register, Slice, Word
from ..schedule import Graph, schedule
from ..state import is_wiring
from .arithmetic import Bits
from .builder import Bit, Builder
from .cells import GateMaker, draw
from .memories import Cells, kept, register_bit, rewired

#: The kinds of a netlist of gates; those of many inputs stand only where gates are as drawn.
KINDS = ("$buf", "$not", "$and", "$or", "$xor", "$mux", "$reduce_and", "$reduce_or", "$reduce_xor")


def gates(netlist: Netlist, *, as_drawn: bool = False) -> Netlist:
    """The same netlist with cells and registers of one bit.

    Ports, their widths and all names stay. Registers stand in the order of their bits: all of the first
    register, bit 0 first, then the next, then row by row the memories that became registers. A memory of at
    most 4096 bits that one clock writes becomes registers with decoders, one that nobody writes becomes
    constants; the others stay, and `memories` of the result are those.

    Like gates are made once, and what constants decide is folded. With `as_drawn`, for counting faults, only the
    latter is done: each cell is the plain circuit of its kind, and a reduction of many bits is one gate of as many
    inputs.

    Raises UnsupportedError for a kind of cell that is not in `kinds.PORTS`.
    """
    return _Drawing(netlist, as_drawn).netlist()


def are_gates(netlist: Netlist) -> bool:
    """Whether every cell is a gate of `KINDS` with inputs and output of the right width, and registers are bits."""
    plain = all(
        cell.kind in KINDS
        and netlist.widths[cell.output] == 1
        and (cell.kind.startswith("$reduce") or all(word.width == 1 for word in cell.operands))
        for cell in netlist.cells
        if cell.kind != "read"
    )
    return plain and all(register.width == 1 for register in netlist.registers)


class _Drawing:
    """One netlist on its way to gates."""

    def __init__(self, netlist: Netlist, as_drawn: bool) -> None:
        self.old = netlist
        self.to = Builder(as_drawn)
        self.nets: dict[int, Bits] = {}
        self.inputs = {port: self._whole(value) for port, value in netlist.inputs.items()}
        self.states = [[self.to.value(1) for _ in range(r.width)] for r in netlist.registers]
        for register, values in zip(netlist.registers, self.states, strict=True):
            self.nets[register.output] = [self.to.bits(value)[0] for value in values]
        self.kept = kept(netlist)
        self.memories = {
            number: Cells.of(memory, self.to)
            for number, memory in enumerate(netlist.memories)
            if number not in self.kept
        }

    def netlist(self) -> Netlist:
        old, to = self.old, self.to
        self._cells()
        registers = [bit for index in range(len(old.registers)) for bit in self._register(index)]
        for cells in self.memories.values():
            registers += cells.registers(to, self._bits)
        memories = tuple(rewired(old.memories[number], self._word) for number in self.kept)
        drawn = Netlist(
            old.name,
            tuple(to.widths),
            self.inputs,
            {port: self._word(word) for port, word in old.outputs.items()},
            tuple(to.cells),
            tuple(registers),
            memories,
            {name: self._word(word) for name, word in old.names.items()},
            old.warnings,
        )
        return drawn if to.as_drawn else _pruned(drawn)

    def _whole(self, value: int) -> int:
        """A value that keeps its width."""
        number = self.to.value(self.old.widths[value])
        self.nets[value] = self.to.bits(number)
        return number

    def _cells(self) -> None:
        """Draw the cells in an order in which each knows its operands; what closes a loop is made before."""
        plan = schedule(self.old)
        drawn = {cell.output for cell in self.old.cells}
        closing = {
            value: [self.to.value(1) for _ in range(self.old.widths[value])]
            for value in plan.cuts
            if value in drawn
        }
        for value, numbers in closing.items():
            self.nets[value] = [self.to.bits(number)[0] for number in numbers]
        for node in plan.order:
            if node >= len(self.old.cells):
                continue
            cell = self.old.cells[node]
            self.to.src = cell.src
            found = self._cell(cell)
            if cell.output in closing:
                for number, bit in zip(closing[cell.output], found, strict=True):
                    self.to.gate("$buf", (bit,), output=number)
            else:
                self.nets[cell.output] = found

    def _cell(self, cell: Cell) -> Bits:
        operands = [self._bits(word) for word in cell.operands]
        if cell.kind != "read":
            return draw(GateMaker(cell, operands, self.to, self.old.widths[cell.output]))
        number = cell.int_param("memory")
        if number in self.memories:
            return self.memories[number].read(self.to, operands[0])
        output = self.to.value(self.old.widths[cell.output])
        params = {**cell.params, "memory": self.kept.index(number)}
        self.to.cells.append(Cell("read", output, (self.to.word(operands[0]),), params, cell.src))
        return self.to.bits(output)

    def _register(self, index: int) -> list[Register]:
        register, to = self.old.registers[index], self.to
        to.src = register.src
        clock = None if register.clock is None else self._word(register.clock)
        data, now = self._bits(register.data), self.nets[register.output]
        forced = [(self._bits(o.mask), self._bits(o.value)) for o in register.overrides]
        inits = [to.word([bit]) for bit in to.constant(register.init)]
        found = []
        for place, value in enumerate(self.states[index]):
            name = f"{register.name}[{place}]" if register.width > 1 else register.name
            overrides = tuple(Override(to.word([m[place]]), to.word([v[place]])) for m, v in forced)
            if is_wiring(register):
                init = inits[place].as_const()
                assert init is not None
                own = to.word([now[place]])
                found.append(Register(value, 1, clock, register.rising, own, (), init, name, register.src))
                continue
            taken = now[place] if clock is None else data[place]
            found.append(
                register_bit(
                    to,
                    value,
                    clock,
                    register.rising,
                    now[place],
                    taken,
                    overrides,
                    inits[place],
                    name,
                    register.src,
                )
            )
        return found

    def _bits(self, word: Word) -> list[Bit]:
        found: list[Bit] = []
        for part in word.parts:
            if isinstance(part, Slice):
                found += self.nets[part.value][part.low : part.low + part.width]
            else:
                found += self.to.constant(part)
        return found

    def _word(self, word: Word) -> Word:
        return self.to.word(self._bits(word))


def _pruned(netlist: Netlist) -> Netlist:
    """Without the cells that nothing reads; the values keep their numbers."""
    graph = Graph(netlist)
    wanted = [*netlist.outputs.values(), *netlist.names.values()]
    for register in netlist.registers:
        wanted += register.words
    for memory in netlist.memories:
        for port in memory.writes:
            wanted += port.words
    needed = graph.cone(wanted)
    cells = tuple(cell for number, cell in enumerate(netlist.cells) if number in needed)
    return replace(netlist, cells=cells)
