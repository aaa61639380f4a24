"""Functions for netlists with much state: it stays in memory, and only what moves is touched.

`settle`, `rows` and `clock` do what those of `loop.py` and `clock.py` do. Inside them `group_k(from, state)`
commits one clock group, region by region (see `regions.py`), reading from one block of state and writing to
another, which may be the same; it returns whether a clock or an override may have moved. `check(state,
quiet)` looks for edges and overrides until there are none. Groups that have their edges at once read from a
copy of the state made before any of them wrote. Where there are many groups, `many_clocks.py` writes these functions.
"""

from __future__ import annotations

from collections.abc import Sequence

from ..netlist import Slice, Word
from . import many_clocks, memories, regions
from .clock import Toggle
from .in_memory import Resident, Stored, put, put_place
from .layout import FRESH, RESTLESS, element_bits
from .program import Program
from .regions import Splitter
from .text import Text
from .update import edge_of, rounds, waiting_writes


class ResidentWriter:
    """Writes the module of one netlist: the functions inside, and one function to call."""

    def __init__(self, program: Program) -> None:
        self.program = program
        self.divider = Splitter(program.netlist, program.plan)
        self.stored = Stored(program)

    def _here(self, text: Text, base: str = "%state") -> Resident:
        return Resident(self.program, text, self.stored.sure, base)

    def settle(self) -> str:
        """LLVM text of `settle`."""
        text = Text()
        text.block("entry")
        here = self._here(text)
        fresh = here.scope.load(FRESH, 8, 8)
        text.do(f"call void @check(ptr %state, i1 {text.op(f'icmp ne i8 {fresh}, 0')})")
        put(text, FRESH, 8, "0")
        outputs = self.program.netlist.outputs
        here = self._here(text)
        for name, shown in zip(outputs, here.words(outputs.values()), strict=True):
            put_place(here.scope, self.program.layout.outputs[name], shown)
        return self._module("settle(ptr %state)", text)

    def rows(self, ports: Sequence[str], observe: Word) -> str:
        """LLVM text of `rows`."""
        text = Text()
        index = self._open(text)
        for number, port in enumerate(ports):
            place = self.program.layout.inputs[port]
            bits = element_bits(place.width)
            at = text.op(f"mul i64 {index}, {bits // 8}")
            pointer = text.op(f"getelementptr i8, ptr %in{number}, i64 {at}")
            put(text, place.offset, bits, text.op(f"load i{bits}, ptr {pointer}, align {bits // 8}"))
        text.do("call void @check(ptr %state, i1 0)")
        self._close(text, index, observe)
        arrays = "".join(f"ptr noalias %in{number}, " for number in range(len(ports)))
        return self._module(f"rows(ptr noalias %state, {arrays}ptr noalias %out, i64 %n)", text)

    def clock(self, toggle: Toggle) -> str:
        """LLVM text of `clock`."""
        text = Text()
        index = self._open(text)
        place = self.program.layout.inputs[toggle.port]
        whole = self._here(text).scope.load(place.offset, place.bits, place.bits)
        mask = 1 << toggle.bit
        levels = {
            1: text.op(f"or i{place.bits} {whole}, {mask}"),
            0: text.op(f"and i{place.bits} {whole}, {(1 << place.bits) - 1 - mask}"),
        }
        alone = self._alone(toggle)
        for level, port in levels.items():
            put(text, place.offset, place.bits, port)
            if alone is None:
                text.do("call void @check(ptr %state, i1 0)")
            elif self.program.plan.groups[alone].rising == bool(level):
                self._edge_alone(text, alone, level)
        self._close(text, index, toggle.observe)
        return self._module("clock(ptr noalias %state, ptr noalias %out, i64 %n)", text, alone)

    def _alone(self, toggle: Toggle) -> int | None:
        """The group whose clock is the toggled bit, if no other clock and no override is reached by that bit."""
        netlist, plan = self.program.netlist, self.program.plan
        port = netlist.inputs[toggle.port]
        line = Word.of([Slice(port, toggle.bit, 1)])
        found = None
        for number, group in enumerate(plan.groups):
            if group.clock == line and found is None:
                found = number
            elif self._reached([group.clock], port, toggle.bit):
                return None
        forced = [word for register in netlist.registers for word in register.forcing]
        return None if self._reached(forced, port, toggle.bit) else found

    def _reached(self, words: Sequence[Word], value: int, bit: int) -> bool:
        graph = self.program.plan.graph
        read = [*words, *(word for node in graph.cone(words) for word in graph.words(node))]
        return any(
            isinstance(part, Slice) and part.value == value and part.low <= bit < part.low + part.width
            for word in read
            for part in word.parts
        )

    def _edge_alone(self, text: Text, group: int, level: int) -> None:
        """Commit the one group that has an edge, and look further only if that woke anything."""
        wakes = text.op(f"call i1 @group_{group}(ptr %state, ptr %state)")
        awake, on = text.name("awake"), text.name("on")
        text.do(f"br i1 {wakes}, label %{awake}, label %{on}")
        text.block(awake)
        clock = self.program.layout.clocks[group]
        put(text, clock.offset, clock.bits, str(level))
        text.do("call void @check(ptr %state, i1 0)")
        put(text, clock.offset, clock.bits, "0")
        text.do(f"br label %{on}")
        text.block(on)

    def _open(self, text: Text) -> str:
        text.block("entry")
        text.do("br label %head")
        text.block("head")
        return text.phi("i64", "0", "entry")

    def _close(self, text: Text, index: str, observe: Word) -> None:
        """Record, and go on to the next round of the loop."""
        here = self._here(text)
        here.words([observe])
        bits = element_bits(observe.width)
        pointer = text.op(f"getelementptr i8, ptr %out, i64 {text.op(f'mul i64 {index}, {bits // 8}')}")
        text.do(
            f"store i{bits} {here.scope.extended(observe, bits, False)}, ptr {pointer}, align {bits // 8}"
        )
        following = text.op(f"add nuw i64 {index}, 1")
        text.arm(index, following, text.here)
        text.do(f"br i1 {text.op(f'icmp eq i64 {following}, %n')}, label %exit, label %head")
        text.block("exit")

    def _module(self, signature: str, text: Text, alone: int | None = None) -> str:
        """The whole text; `alone` is a clock group that is called by itself."""
        text.do("ret void")
        clocks = range(len(self.program.plan.groups))
        if len(clocks) > many_clocks.MANY:
            groups = "" if alone is None else self._group(alone)
            check = many_clocks.check(self.stored, self.divider, self._commit)
        else:
            groups, check = "".join(map(self._group, clocks)), self._check()
        return f"{groups}{check}define void @{signature} {{\n{text.render()}\n}}\n"

    def _check(self) -> str:
        """LLVM text of `check`."""
        program, text = self.program, Text()
        groups, size = program.plan.groups, program.layout.size
        text.block("entry")
        text.do(f"%before = alloca [{size} x i8], align 64")
        text.do("br label %top")
        text.block("top")
        count = text.phi("i32", "0", "entry")
        here = self._here(text)
        for index, register in enumerate(program.netlist.registers):
            if register.overrides:
                (shown,) = here.words([Word.value(register.output, register.width)])
                put_place(here.scope, program.layout.registers[index], shown)
        mask = self._edges(here)
        kind = f"i{max(len(groups), 1)}"
        cases = " ".join(f"{kind} {1 << number}, label %one{number}" for number in range(len(groups)))
        text.do(f"switch {kind} {mask}, label %many [{kind} 0, label %rest {cases}]")
        for number in range(len(groups)):
            text.block(f"one{number}")
            wakes = text.op(f"call i1 @group_{number}(ptr %state, ptr %state)")
            text.do(f"br i1 {wakes}, label %again{number}, label %rest")
            text.block(f"again{number}")
            self._again(text, count)
        text.block("many")
        text.do(
            f"call void @llvm.memcpy.p0.p0.i64(ptr align 64 %before, ptr align 8 %state, i64 {size}, i1 0)"
        )
        for number in range(len(groups)):
            moved = text.op(f"lshr {kind} {mask}, {number}")
            bit = here.scope.resize(moved, max(len(groups), 1), 1)
            text.do(f"br i1 {bit}, label %take{number}, label %skip{number}")
            text.block(f"take{number}")
            text.op(f"call i1 @group_{number}(ptr %before, ptr %state)")
            text.do(f"br label %skip{number}")
            text.block(f"skip{number}")
        self._again(text, count)
        text.block("giveup")
        put(text, RESTLESS, 8, "1")
        text.do("br label %rest")
        text.block("rest")
        text.do("ret void")
        return f"define internal void @check(ptr %state, i1 %quiet) {{\n{text.render()}\n}}\n"

    def _again(self, text: Text, count: str) -> None:
        following = text.op(f"add i32 {count}, 1")
        text.arm(count, following, text.here)
        over = text.op(f"icmp ugt i32 {following}, {rounds(self.program.plan)}")
        text.do(f"br i1 {over}, label %giveup, label %top")

    def _edges(self, here: Resident) -> str:
        """One bit a group: whether its clock has its edge. The levels seen are stored for the next time."""
        text, groups = here.text, self.program.plan.groups
        if not groups:
            return "0"
        levels = here.words(group.clock for group in groups)
        kind = f"i{len(groups)}"
        mask = "0"
        for number, (group, level) in enumerate(zip(groups, levels, strict=True)):
            place = self.program.layout.clocks[number]
            before = here.scope.load(place.offset, place.bits, place.width)
            edge = edge_of(text, group, before, level, "%quiet")
            put_place(here.scope, place, level)
            moved = text.op(f"shl {kind} {here.scope.resize(edge, 1, len(groups))}, {number}")
            mask = text.op(f"or {kind} {mask}, {moved}")
        return mask

    def _group(self, number: int) -> str:
        """LLVM text of `group_k`."""
        text = Text()
        text.block("entry")
        text.do(f"ret i1 {self._commit(text, number)}")
        return f"define internal i1 @group_{number}(ptr %from, ptr %state) {{\n{text.render()}\n}}\n"

    def _commit(self, text: Text, number: int) -> str:
        """Commit a clock group here; an i1 that says whether a clock or an override may have moved."""
        program = self.program
        group = program.plan.groups[number]
        here = self._here(text, "%from")
        ports = [program.netlist.memories[m].writes[p] for m, p in group.writes]
        here.words(word for port in ports for word in port.operands)
        writes = waiting_writes(program, here.scope, group)
        wakes = regions.commit(here, here.scope, self.divider, self.divider.divide(group))
        for (memory, _), write in sorted(writes.items()):
            memories.store(here.scope, program.layout.memories[memory], write)
        if any(memory in self.divider.waking_memories for memory, _ in group.writes):
            wakes = "1"
        return wakes
