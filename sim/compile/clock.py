"""The compiled function of a toggling clock, plain or with a copy of its body for each value of a control word.

`clock(state, output array, n)`: n cycles of one bit of one port, up and down, the other inputs at rest; one
value recorded after each fall. The state must be at rest with that bit low. The outputs in the state stay as
they were.

Code made only of selects is slow for a machine with states: every branch of the source is computed in every
cycle. So the body can be copied for each value that a control word (some registers) was seen to take: in a
copy the word is a constant, folding leaves what that state does, and the copy jumps to the next one, which is
often known. A value that was not seen goes through a dispatcher to a copy in which nothing is known. Which
words to split on is measured: see `tune.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import product
from math import prod

from ..frozen import frozen
from ..netlist import Const, Slice, Word
from .loop import finish, later_of, lead_back, load_all, phis_of, record, store_all
from .program import Here, Known, Live, Program
from .text import Text
from .update import update

#: Lines of a body that is so short that LLVM repeats it, and how often: what one cycle makes of bits that many cycles
#: have shifted on is then worked out side by side (16 bits of an LFSR at 2.3 times the rate on an Intel Xeon).
_SHORT, _TIMES = 48, 16
_REPEATED = f"""
!0 = distinct !{{!0, !1}}
!1 = !{{!"llvm.loop.unroll.count", i32 {_TIMES}}}
"""
#: A copy jumps straight to the next ones if these are no more; else through the dispatcher.
_TARGETS = 8


@frozen
class Toggle:
    """What a run toggles and records; `inputs` are the levels of all inputs where the code is made for them alone."""

    port: str
    bit: int
    observe: Word
    inputs: tuple[tuple[str, int], ...] | None = None


@frozen
class Split:
    """A control word: indices of its registers, and the values (one each) that get a copy of their own.

    `follows[k]` are the values that were seen after `values[k]`, by place, the most frequent first.
    """

    registers: tuple[int, ...] = ()
    values: tuple[tuple[int, ...], ...] = ()
    follows: tuple[tuple[int, ...], ...] = ()

    def __str__(self) -> str:
        return f"registers {self.registers} at {len(self.values)} values" if self.registers else "no split"


#: A body for all values.
WHOLE = Split()


@frozen
class _Head:
    """The start of one copy of the body: its label, its count of cycles and the phis of everything live."""

    label: str
    index: str
    live: Live


def clock(program: Program, toggle: Toggle, split: Split = WHOLE) -> str:
    """LLVM text of `clock`; a split needs a netlist that settles once."""
    return _Writer(program, toggle, split).write()


class _Writer:
    """Writes the function: the copies of the body, and the jumps between them."""

    def __init__(self, program: Program, toggle: Toggle, split: Split) -> None:
        self.program, self.toggle, self.split = program, toggle, split
        self.text = Text()
        self.text.block("entry")
        start = load_all(program, self.text)
        inputs = {port: str(level) for port, level in toggle.inputs or ()}
        start = replace(start, inputs={**start.inputs, **inputs})
        self.resting = self._resting_clocks(start)
        self.start = replace(start, clocks=self._rest(start.clocks))
        self.exits: list[tuple[str, Live]] = []
        self.heads: dict[tuple[int, ...], _Head] = {}

    def write(self) -> str:
        """The dispatcher, the copy in which nothing is known, one copy for each value, and the exit."""
        text = self.text
        origin = text.here
        text.do("br label %head")
        text.block("head")
        phis = phis_of(self.program, text, self.start, origin)
        self.top = _Head("head", text.phi("i64", "0", origin), phis)
        if self.split.values:
            self._dispatch()
        self._body(self.top.index, self.top.live)
        for value, head in self.heads.items():
            text.block(head.label)
            text.place(head.index, *head.live.registers, *head.live.cuts, *head.live.clocks)
            self._body(head.index, self._with(head.live, value), value)
        self._exit()
        found = finish(text, "clock(ptr noalias %state, ptr noalias %out, i64 %n)")
        return found + _REPEATED if "!llvm.loop" in found else found

    def _known(self, level: int) -> Known:
        """The toggled port with its clock bit at a level."""
        port, bit = self.toggle.port, self.toggle.bit
        value = self.program.netlist.inputs[port]
        width = self.program.netlist.widths[value]
        if self.toggle.inputs is not None:
            held = dict(self.toggle.inputs)[port]
            return {value: Word.const(held & ~(1 << bit) | level << bit, width)}
        low, high = Slice(value, 0, bit), Slice(value, bit + 1, width - bit - 1)
        return {value: Word.of([low, Const(level, 1), high])}

    def _resting_clocks(self, start: Live) -> list[str | None]:
        """After each fall a clock that only inputs reach is where it is now: a constant of the loop, not a phi."""
        here = Here(self.program, self.text, start, self._known(0))
        groups = self.program.plan.groups
        return [here.words([g.clock])[0] if _only_inputs(self.program, g.clock) else None for g in groups]

    def _rest(self, clocks: Sequence[str]) -> tuple[str, ...]:
        return tuple(rest or name for rest, name in zip(self.resting, clocks, strict=True))

    def _with(self, live: Live, value: Sequence[int]) -> Live:
        """The same with the control word at a value."""
        registers = list(live.registers)
        for index, number in zip(self.split.registers, value, strict=True):
            registers[index] = str(number)
        return replace(live, registers=tuple(registers))

    def _body(self, index: str, live: Live, value: tuple[int, ...] | None = None) -> None:
        """One cycle (rise, fall, record) and the way on from it."""
        text = self.text
        live = replace(live, clocks=self._rest(live.clocks))
        live = update(self.program, text, live, known=self._known(1)).live
        here = update(self.program, text, live, known=self._known(0))
        record(text, here, self.toggle.observe, index)
        following = text.op(f"add nuw i64 {index}, 1")
        over = text.op(f"icmp eq i64 {following}, %n")
        onward = text.name("onward")
        text.do(f"br i1 {over}, label %exit, label %{onward}")
        self.exits.append((text.here, here.live))
        text.block(onward)
        self._jump(following, here.live, value)

    def _jump(self, index: str, after: Live, value: tuple[int, ...] | None) -> None:
        """To the copies that the control word can name next, or was seen to, or to the dispatcher."""
        few = [self.text.few(after.registers[register]) for register in self.split.registers]
        if self.split.values and 0 < prod(map(len, few)) <= _TARGETS:
            targets, sure = list(product(*few)), True
        else:
            place = self.split.values.index(value) if value is not None else len(self.split.follows)
            seen = self.split.follows[place][:_TARGETS] if place < len(self.split.follows) else ()
            targets, sure = [self.split.values[number] for number in seen], False
        known = [target for target in targets if target in self.heads]
        default = self.heads[known.pop()] if sure and len(known) == len(targets) else self.top
        for head in (*(self.heads[target] for target in known), default):
            self._arm(head, index, after)
        if known:
            self._switch(after, default.label, known)
        else:
            tuned = self.toggle.inputs is not None  # for a long run, for which there is time
            short = tuned and not self.heads and self.program.plan.settles_once and self.text.length < _SHORT
            self.text.do(f"br label %{default.label}{', !llvm.loop !0' if short else ''}")

    def _arm(self, head: _Head, index: str, live: Live) -> None:
        self.text.arm(head.index, index, self.text.here)
        lead_back(self.text, head.live, live, self.text.here)

    def _switch(self, live: Live, default: str, values: Sequence[tuple[int, ...]]) -> None:
        widths = [self.program.netlist.registers[register].width for register in self.split.registers]
        total = sum(widths)
        key, at = "0", 0
        for register, width in zip(self.split.registers, widths, strict=True):
            name = live.registers[register]
            if width < total:
                name = self.text.op(f"zext i{width} {name} to i{total}")
            key = self.text.op(f"or i{total} {key}, {self.text.op(f'shl i{total} {name}, {at}')}")
            at += width
        arms = []
        for value in values:
            number = at = 0
            for part, width in zip(value, widths, strict=True):
                number |= part << at
                at += width
            arms.append(f"i{total} {number}, label %{self.heads[value].label}")
        self.text.do(f"switch i{total} {key}, label %{default} [{' '.join(arms)}]")

    def _dispatch(self) -> None:
        """From the top to the copy of the control word's value, if there is one."""
        names = (f"value{'_'.join(map(str, value))}" for value in self.split.values)
        for value, name in zip(self.split.values, names, strict=True):
            index = self.text.later("i64")
            self.heads[value] = _Head(name, index, later_of(self.program, self.text, self.start))
            self._arm(self.heads[value], self.top.index, self.top.live)
        self._switch(self.top.live, "other", list(self.heads))
        self.text.block("other")

    def _exit(self) -> None:
        (origin, first), *others = self.exits
        self.text.block("exit")
        phis = phis_of(self.program, self.text, first, origin)
        for label, live in others:
            lead_back(self.text, phis, live, label)
        store_all(self.program, self.text, phis)


def _only_inputs(program: Program, word: Word) -> bool:
    """Whether nothing but inputs reaches a word."""
    netlist, graph = program.netlist, program.plan.graph
    nodes = graph.cone([word])
    reached = {value for node in nodes for operand in graph.words(node) for value in operand.values()}
    reached.update(word.values())
    state = {register.output for register in netlist.registers}
    reads = any(node < len(netlist.cells) and netlist.cells[node].kind == "read" for node in nodes)
    return not reads and not reached & {*state, *program.plan.cuts}
