"""The search for clock edges in a netlist of hundreds of clocks: some at a time, in functions of their own.

`check(state, quiet)` does what that of `resident.py` does, where its one function and one mask of all edges would
take LLVM a time that grows with the square of the clocks. Here registers with overrides, and clocks, are looked after
in parts of `_PART`. In the first round of an update all are; in a later one those that read a register or a memory of
a part which had an edge in the round before. So a carry that runs through a long chain costs its length.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from ..netlist import Word
from .in_memory import Resident, Stored, put, put_place
from .layout import MANY_CLOCKS, RESTLESS
from .regions import Splitter
from .text import Text
from .update import edge_of, rounds

#: Clocks above which this way is taken.
MANY = MANY_CLOCKS
#: Clocks, or registers with overrides, of one function.
_PART = 128

#: Writes what commits the clock group of this number.
Commit = Callable[[Text, int], object]
Part = Sequence[int]


def check(stored: Stored, divider: Splitter, commit: Commit) -> str:
    """LLVM text of `check` and of the functions that it calls."""
    return _Parts(stored, divider, commit).text()


class _Parts:
    """One netlist, part by part."""

    def __init__(self, stored: Stored, divider: Splitter, commit: Commit) -> None:
        self.stored, self.divider, self.commit = stored, divider, commit
        self.program = stored.program
        self.registers, self.groups = self.program.netlist.registers, self.program.plan.groups
        forced = [index for index, register in enumerate(self.registers) if register.overrides]
        self.forced, self.clocks = _parts(forced), _parts(range(len(self.groups)))
        self.of_register: dict[int, int] = {}
        self.of_memory: dict[int, set[int]] = {}
        for number, part in enumerate(self.clocks):
            for group in (self.groups[clock] for clock in part):
                self.of_register |= dict.fromkeys(group.registers, number)
                for memory, _ in group.writes:
                    self.of_memory.setdefault(memory, set()).add(number)

    def text(self) -> str:
        functions = [self._show(number, part) for number, part in enumerate(self.forced)]
        functions += [self._look(number, part) for number, part in enumerate(self.clocks)]
        functions += [self._take(number, part) for number, part in enumerate(self.clocks)]
        return "".join([*functions, self._rounds()])

    def _rounds(self) -> str:
        """LLVM text of `check`: rounds until no clock has an edge."""
        text, size, parts = Text(), self.program.layout.size, len(self.clocks)
        text.block("entry")
        text.do(f"%before = alloca [{size} x i8], align 64")
        text.do(f"%edges = alloca [{len(self.groups)} x i8]")
        text.do(f"%last = alloca [{parts} x i8]")
        text.do(f"%now = alloca [{parts} x i8]")
        text.do(f"call void @llvm.memset.p0.i64(ptr %last, i8 1, i64 {parts}, i1 0)")
        text.do("br label %top")
        text.block("top")
        count = text.phi("i32", "0", "entry")
        for number in range(len(self.forced)):
            text.do(f"call void @show_{number}(ptr %state, ptr %last)")
        event = "0"
        for number in range(parts):
            found = text.op(f"call i1 @look_{number}(ptr %state, ptr %edges, ptr %last, i1 %quiet)")
            _put_flag(text, "%now", number, found)
            event = text.op(f"or i1 {event}, {found}")
        text.do(f"br i1 {event}, label %commit, label %rest")
        text.block("commit")
        text.do(f"call void @llvm.memcpy.p0.p0.i64(ptr %before, ptr %state, i64 {size}, i1 0)")
        for number in range(parts):
            text.do(f"call void @take_{number}(ptr %before, ptr %state, ptr %edges, ptr %now)")
        text.do(f"call void @llvm.memcpy.p0.p0.i64(ptr %last, ptr %now, i64 {parts}, i1 0)")
        following = text.op(f"add i32 {count}, 1")
        text.arm(count, following, text.here)
        over = text.op(f"icmp ugt i32 {following}, {rounds(self.program.plan)}")
        text.do(f"br i1 {over}, label %giveup, label %top")
        text.block("giveup")
        put(text, RESTLESS, 8, "1")
        text.do("br label %rest")
        text.block("rest")
        text.do("ret void")
        return _function("void @check(ptr %state, i1 %quiet)", text)

    def _show(self, number: int, part: Part) -> str:
        """LLVM text of `show_k`, which puts registers to what they show under their overrides."""
        text = self._if_stirred((word for index in part for word in self.registers[index].forcing), "void")
        here = Resident(self.program, text, self.stored.sure)
        for index in part:
            register = self.registers[index]
            (shown,) = here.words([Word.value(register.output, register.width)])
            put_place(here.scope, self.program.layout.registers[index], shown)
        text.do("ret void")
        return _function(f"void @show_{number}(ptr %state, ptr %last)", text)

    def _look(self, number: int, part: Part) -> str:
        """LLVM text of `look_k`, which notes the edges of clocks and returns whether there is one."""
        groups = [self.groups[clock] for clock in part]
        text = self._if_stirred((group.clock for group in groups), "i1 0")
        here = Resident(self.program, text, self.stored.shown)
        levels = here.words(group.clock for group in groups)
        event = "0"
        for clock, group, level in zip(part, groups, levels, strict=True):
            place = self.program.layout.clocks[clock]
            before = here.scope.load(place.offset, place.bits, place.width)
            edge = edge_of(text, group, before, level, "%quiet")
            put_place(here.scope, place, level)
            _put_flag(text, "%edges", clock, edge)
            event = text.op(f"or i1 {event}, {edge}")
        text.do(f"ret i1 {event}")
        return _function(f"i1 @look_{number}(ptr %state, ptr %edges, ptr %last, i1 %quiet)", text)

    def _take(self, number: int, part: Part) -> str:
        """LLVM text of `take_k`, which commits the clocks that have had their edge."""
        text = Text()
        text.block("entry")
        _if(text, _flag(text, "%now", number), "void")
        for clock in part:
            edge, taken, after = _flag(text, "%edges", clock), text.name("edge"), text.name("after")
            text.do(f"br i1 {edge}, label %{taken}, label %{after}")
            text.block(taken)
            self.commit(text, clock)
            text.do(f"br label %{after}")
            text.block(after)
        text.do("ret void")
        return _function(f"void @take_{number}(ptr %from, ptr %state, ptr %edges, ptr %now)", text)

    def _if_stirred(self, words: Iterable[Word], otherwise: str) -> Text:
        """The text of a function that returns at once unless state which the words read was stirred in the last round.

        State that no clock moves, and inputs, are new in the first round alone, for which all parts are marked.
        """
        registers, memories = self.divider.state_of(words)
        parts = {self.of_register[index] for index in registers if index in self.of_register}
        parts = parts.union(*(self.of_memory.get(memory, ()) for memory in memories)) or {0}
        text = Text()
        text.block("entry")
        stirred = "0"
        for part in sorted(parts):
            stirred = text.op(f"or i1 {stirred}, {_flag(text, '%last', part)}")
        _if(text, stirred, otherwise)
        return text


def _parts(numbers: Part) -> list[Part]:
    return [numbers[at : at + _PART] for at in range(0, len(numbers), _PART)]


def _flag(text: Text, array: str, number: int) -> str:
    """A byte of an array as an i1."""
    pointer = text.op(f"getelementptr i8, ptr {array}, i64 {number}")
    return text.op(f"trunc i8 {text.op(f'load i8, ptr {pointer}')} to i1")


def _put_flag(text: Text, array: str, number: int, name: str) -> None:
    pointer = text.op(f"getelementptr i8, ptr {array}, i64 {number}")
    text.do(f"store i8 {text.op(f'zext i1 {name} to i8')}, ptr {pointer}")


def _if(text: Text, bit: str, otherwise: str) -> None:
    """Go on here if a bit is 1, else return."""
    text.do(f"br i1 {bit}, label %go, label %no")
    text.block("no")
    text.do(f"ret {otherwise}")
    text.block("go")


def _function(signature: str, text: Text) -> str:
    return f"define internal {signature} noinline {{\n{text.render()}\n}}\n"
