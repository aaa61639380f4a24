"""A netlist that is being written as LLVM text, and a place in that text: what is live there and what is known."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from ..frozen import frozen
from ..netlist import Cell, Netlist, Word
from ..schedule import Group, Schedule
from . import cells, memories
from .layout import Layout
from .text import Text
from .words import Scope

#: Values of which something is known: each with the word of constants and unknown bits that it is.
Known = Mapping[int, Word]


@frozen
class Live:
    """LLVM names of everything that an update carries on: inputs by port, the rest in the netlist's order."""

    inputs: dict[str, str]
    registers: tuple[str, ...]
    cuts: tuple[str, ...]
    clocks: tuple[str, ...]


class Program:
    """A netlist with all that is needed to write its text."""

    def __init__(self, netlist: Netlist, plan: Schedule, places: Layout) -> None:
        self.netlist, self.plan, self.layout = netlist, plan, places
        self.position = {node: at for at, node in enumerate(plan.order)}
        self.closing = frozenset(plan.cuts)
        self._closers = frozenset(plan.graph.makers[value] for value in plan.cuts)
        self.inner = {ring[0]: ring for ring in plan.inner}
        self.kept = {value: at for at, value in enumerate(plan.kept)}
        self.states = {register.output: at for at, register in enumerate(netlist.registers)}
        self._driven = {node: value for value, node in plan.graph.makers.items()}

    def drives(self, node: int) -> int:
        """The value that a node drives; a negative number of its own for a memory."""
        return self._driven.get(node, -1 - node)

    def needs(self, targets: Iterable[Word]) -> set[int]:
        return self.plan.graph.cone(targets, self._closers)

    def group_words(self, group: Group) -> list[Word]:
        """What a clock's edge reads."""
        words = [self.netlist.registers[index].data for index in group.registers]
        for number, position in group.writes:
            words += self.netlist.memories[number].writes[position].operands
        return words

    def unclocked(self) -> set[int]:
        """The nodes that write memories without a clock, with all that they need."""
        writers = self.plan.graph.unclocked
        return {*writers, *self.needs(word for node in writers for word in self.plan.graph.words(node))}


class Here:
    """A place in the text: what is live there and what has been computed from it."""

    def __init__(self, program: Program, text: Text, live: Live, known: Known | None = None) -> None:
        self.program, self.text, self.live = program, text, live
        self.scope = Scope(text, program.netlist.widths)
        for port, value in program.netlist.inputs.items():
            self.enter(value, live.inputs[port])
        for register, name in zip(program.netlist.registers, live.registers, strict=True):
            if not register.overrides:
                self.enter(register.output, name)
        for value, name in zip(program.plan.kept, live.cuts, strict=True):
            self.enter(value, name)
        for value, word in (known or {}).items():
            self.scope.bind(value, word)

    def enter(self, value: int, name: str, scope: Scope | None = None) -> None:
        """A value is known by its LLVM name, which may be a number."""
        scope = scope or self.scope
        if name.isdigit() and value >= 0:
            scope.bind(value, Word.const(int(name), self.program.netlist.widths[value]))
        else:
            scope.put(value, name)

    def emit(self, needed: Iterable[int], scope: Scope | None = None) -> None:
        """Write the nodes that are not known yet, in order."""
        scope = scope or self.scope
        for node in sorted(needed, key=self.program.position.__getitem__):
            value = self.program.drives(node)
            if scope.knows(value):
                continue
            if node < len(self.program.netlist.cells):
                scope.compute(self.program.netlist.cells[node], self._cell)
            else:
                self.enter(value, self.result(node, scope), scope)

    def words(self, words: Iterable[Word], scope: Scope | None = None) -> list[str]:
        """The LLVM names of words, with all that they need."""
        found = list(words)
        scope = scope or self.scope
        self.emit(self.program.needs(found), scope)
        return [scope.word(word) for word in found]

    def result(self, node: int, scope: Scope) -> str:
        """Write one node's text; the name of what it drives."""
        netlist, graph = self.program.netlist, self.program.plan.graph
        register, memory = graph.register(node), graph.memory(node)
        if register is not None:
            return self.forced(register, self.held(register, scope), scope)
        if memory is not None:
            rows = self.program.layout.memories[memory]
            for port in netlist.memories[memory].writes:
                if port.clock is None:
                    memories.store(scope, rows, memories.write(scope, netlist.memories[memory], rows, port))
            return "0"
        cell = netlist.cells[node]
        return self._cell(scope, cell, [scope.resolve(word) for word in cell.operands])

    def held(self, index: int, scope: Scope) -> str:
        """What a register with overrides holds, these aside."""
        return self.live.registers[index]

    def _cell(self, scope: Scope, cell: Cell, operands: Sequence[Word]) -> str:
        if cell.kind != "read":
            return cells.emit(scope, cell, operands)
        number = cell.int_param("memory")
        memory, rows = self.program.netlist.memories[number], self.program.layout.memories[number]
        return memories.read(scope, memory, rows, operands[0])

    def forced(self, index: int, name: str, scope: Scope) -> str:
        """A register's value under its overrides, the last of them strongest."""
        text, register = self.text, self.program.netlist.registers[index]
        kind = f"i{register.width}"
        for override in register.overrides:
            value = scope.word(override.value)
            bits = set(scope.resolve(override.mask).bits())
            if len(bits) == 1:
                chosen = scope.word(bits.pop())
                if chosen.isdigit():
                    name = value if chosen == "1" else name
                else:
                    name = text.op(f"select i1 {chosen}, {kind} {value}, {kind} {name}")
                continue
            mask = scope.word(override.mask)
            kept = text.op(f"and {kind} {name}, {text.op(f'xor {kind} {mask}, -1')}")
            name = text.op(f"or {kind} {kept}, {text.op(f'and {kind} {value}, {mask}')}")
        return name

    def shown(self) -> Live:
        """What is live here with every register at the value that it shows under its overrides."""
        outputs = (Word.value(r.output, r.width) for r in self.program.netlist.registers)
        return replace(self.live, registers=tuple(self.words(outputs)))
