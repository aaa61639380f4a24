"""The compiled functions: one update, a train of rows, a toggling clock. All state is in LLVM values for a whole run.

`settle(state)`: one update with the inputs that lie in the state; writes the outputs.
`rows(state, input arrays ..., output array, n)`: for each of n rows take the listed ports' values, update,
record.
`clock(state, output array, n)`: n cycles of one bit of one port, up and down, with the rest of the inputs at
rest.

`rows` and `clock` leave the outputs in the state as they were: `settle` brings them up to date.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from ..netlist import Const, Slice, Word
from .layout import FRESH, RESTLESS, Place
from .text import Text
from .update import Here, Known, Live, Program, update

#: Bits of one element of a recorded or played array.
ELEMENTS = (8, 16, 32, 64)


def element_bits(width: int) -> int:
    """Bits of the array element that holds `width` bits, at most 64."""
    return next(bits for bits in ELEMENTS if width <= bits)


def _pointer(text: Text, base: str, offset: int | str) -> str:
    return text.op(f"getelementptr i8, ptr {base}, i64 {offset}")


def _load(text: Text, place: Place) -> str:
    whole = text.op(
        f"load i{place.bits}, ptr {_pointer(text, '%state', place.offset)}, align {min(place.size, 8)}"
    )
    return whole if place.bits == place.width else text.op(f"trunc i{place.bits} {whole} to i{place.width}")


def _store(text: Text, place: Place, name: str) -> None:
    if place.bits != place.width:
        name = text.op(f"zext i{place.width} {name} to i{place.bits}")
    pointer = _pointer(text, "%state", place.offset)
    text.do(f"store i{place.bits} {name}, ptr {pointer}, align {min(place.size, 8)}")


def _load_all(program: Program, text: Text) -> Live:
    places = program.layout
    return Live(
        {port: _load(text, place) for port, place in places.inputs.items()},
        tuple(_load(text, place) for place in places.registers),
        tuple(_load(text, place) for place in places.cuts),
        tuple(_load(text, place) for place in places.clocks),
    )


def _store_all(program: Program, text: Text, live: Live) -> None:
    places = program.layout
    for group, names in (
        (places.registers, live.registers),
        (places.cuts, live.cuts),
        (places.clocks, live.clocks),
    ):
        for place, name in zip(group, names, strict=True):
            _store(text, place, name)


def _finish(text: Text, signature: str) -> str:
    text.do("ret void")
    text.block("giveup")
    text.do(f"store i8 1, ptr {_pointer(text, '%state', RESTLESS)}")
    text.do("ret void")
    return f"define void @{signature} {{\n{text.render()}\n}}\n"


def settle(program: Program) -> str:
    """LLVM text of `settle`."""
    text = Text()
    text.block("entry")
    live = _load_all(program, text)
    fresh = text.op(f"load i8, ptr {_pointer(text, '%state', FRESH)}")
    quiet = text.op(f"icmp ne i8 {fresh}, 0")
    here = update(program, text, live, quiet=quiet)
    text.do(f"store i8 0, ptr {_pointer(text, '%state', FRESH)}")
    _store_all(program, text, here.live)
    outputs = program.netlist.outputs
    for name, shown in zip(outputs, here.words(outputs.values()), strict=True):
        _store(text, program.layout.outputs[name], shown)
    return _finish(text, "settle(ptr noalias %state)")


@dataclass(frozen=True)
class _Loop:
    """The loop around a body: its counter and the phis of everything live."""

    index: str
    live: Live

    @staticmethod
    def open(program: Program, text: Text, start: Live) -> _Loop:
        origin = text.here
        text.do("br label %head")
        text.block("head")
        netlist = program.netlist

        def phis(kinds: Sequence[str], names: Sequence[str]) -> tuple[str, ...]:
            return tuple(text.phi(kind, name, origin) for kind, name in zip(kinds, names, strict=True))

        index = text.phi("i64", "0", origin)
        registers = phis([f"i{register.width}" for register in netlist.registers], start.registers)
        cuts = phis([f"i{netlist.widths[value]}" for value in program.plan.cuts], start.cuts)
        clocks = phis(["i1"] * len(start.clocks), start.clocks)
        return _Loop(index, Live(start.inputs, registers, cuts, clocks))

    def close(self, text: Text, after: Live) -> None:
        following = text.op(f"add nuw i64 {self.index}, 1")
        over = text.op(f"icmp eq i64 {following}, %n")
        text.arm(self.index, following, text.here)
        for phis, names in (
            (self.live.registers, after.registers),
            (self.live.cuts, after.cuts),
            (self.live.clocks, after.clocks),
        ):
            for phi, name in zip(phis, names, strict=True):
                text.arm(phi, name, text.here)
        text.do(f"br i1 {over}, label %exit, label %head")
        text.block("exit")


def _record(text: Text, here: Here, observe: Word, index: str) -> None:
    here.words([observe])
    bits = element_bits(observe.width)
    place = text.op(f"mul i64 {index}, {bits // 8}")
    value = here.scope.extended(observe, bits, False)
    text.do(f"store i{bits} {value}, ptr {_pointer(text, '%out', place)}, align {bits // 8}")


def rows(program: Program, ports: Sequence[str], observe: Word) -> str:
    """LLVM text of `rows`: `ports` take their values from arrays, `observe` (at most 64 bits) is recorded."""
    text = Text()
    text.block("entry")
    loop = _Loop.open(program, text, _load_all(program, text))
    taken = dict(loop.live.inputs)
    for number, port in enumerate(ports):
        width = program.layout.inputs[port].width
        bits = element_bits(width)
        place = _pointer(text, f"%in{number}", text.op(f"mul i64 {loop.index}, {bits // 8}"))
        whole = text.op(f"load i{bits}, ptr {place}, align {bits // 8}")
        taken[port] = whole if bits == width else text.op(f"trunc i{bits} {whole} to i{width}")
    here = update(program, text, replace(loop.live, inputs=taken))
    _record(text, here, observe, loop.index)
    loop.close(text, here.live)
    _store_all(program, text, here.live)
    for port in ports:
        _store(text, program.layout.inputs[port], taken[port])
    arrays = "".join(f"ptr noalias %in{number}, " for number in range(len(ports)))
    return _finish(text, f"rows(ptr noalias %state, {arrays}ptr noalias %out, i64 %n)")


def clock(program: Program, port: str, bit: int, observe: Word) -> str:
    """LLVM text of `clock`: bit `bit` of `port` goes up and down; the state must be at rest with that bit low."""
    text = Text()
    text.block("entry")
    start = _load_all(program, text)
    value = program.netlist.inputs[port]
    width = program.netlist.widths[value]

    def with_clock(level: int) -> Known:
        low, high = Slice(value, 0, bit), Slice(value, bit + 1, width - bit - 1)
        return {value: Word.of([low, Const(level, 1), high])}

    # A clock that only inputs reach is at its level of now after each fall: as a constant of the loop, not a phi.
    still = [_only_inputs(program, group.clock) for group in program.plan.groups]
    levels = Here(program, text, start, with_clock(0)).words(
        group.clock if constant else Word.const(0, 1)
        for group, constant in zip(program.plan.groups, still, strict=True)
    )
    resting = [
        level if constant else name for level, constant, name in zip(levels, still, start.clocks, strict=True)
    ]
    loop = _Loop.open(program, text, replace(start, clocks=tuple(resting)))
    clocks = tuple(name if s else phi for name, s, phi in zip(resting, still, loop.live.clocks, strict=True))
    live = replace(loop.live, clocks=clocks)
    live = update(program, text, live, known=with_clock(1)).live
    here = update(program, text, live, known=with_clock(0))
    _record(text, here, observe, loop.index)
    loop.close(text, here.live)
    _store_all(program, text, here.live)
    return _finish(text, "clock(ptr noalias %state, ptr noalias %out, i64 %n)")


def _only_inputs(program: Program, word: Word) -> bool:
    """Whether nothing but inputs reaches a word."""
    netlist, graph = program.netlist, program.plan.graph
    nodes = graph.cone([word])
    reached = {value for node in nodes for operand in graph.words(node) for value in operand.values()}
    reached.update(word.values())
    state = {register.output for register in netlist.registers}
    reads = any(node < len(netlist.cells) and netlist.cells[node].kind == "read" for node in nodes)
    return not reads and not reached & {*state, *program.plan.cuts}
