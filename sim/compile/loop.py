"""The compiled functions of one update and of a train of rows. All state is in LLVM values for a whole run.

`settle(state)`: one update with the inputs that lie in the state; writes the outputs.
`rows(state, input arrays ..., output array, n)`: for each of n rows take the ports' values, update, record;
it leaves the outputs in the state as they were: `settle` brings them up to date.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from ..frozen import frozen
from ..netlist import Word
from .layout import FRESH, RESTLESS, Place, element_bits
from .program import Here, Live, Program
from .text import Text
from .update import update


def _pointer(text: Text, base: str, offset: int | str) -> str:
    return text.op(f"getelementptr i8, ptr {base}, i64 {offset}")


def _load(text: Text, place: Place) -> str:
    whole = text.op(
        f"load i{place.bits}, ptr {_pointer(text, '%state', place.offset)}, align {min(place.size, 8)}"
    )
    width = max(place.width, 1)  # nothing at all is an i1 0
    return whole if place.bits == width else text.op(f"trunc i{place.bits} {whole} to i{width}")


def _store(text: Text, place: Place, name: str) -> None:
    if place.bits != place.width:
        name = text.op(f"zext i{max(place.width, 1)} {name} to i{place.bits}")
    pointer = _pointer(text, "%state", place.offset)
    text.do(f"store i{place.bits} {name}, ptr {pointer}, align {min(place.size, 8)}")


def load_all(program: Program, text: Text) -> Live:
    places = program.layout
    return Live(
        {port: _load(text, place) for port, place in places.inputs.items()},
        tuple(_load(text, place) for place in places.registers),
        tuple(_load(text, place) for place in places.cuts),
        tuple(_load(text, place) for place in places.clocks),
    )


def store_all(program: Program, text: Text, live: Live) -> None:
    places = program.layout
    for group, names in (
        (places.registers, live.registers),
        (places.cuts, live.cuts),
        (places.clocks, live.clocks),
    ):
        for place, name in zip(group, names, strict=True):
            _store(text, place, name)


def finish(text: Text, signature: str) -> str:
    text.do("ret void")
    text.block("giveup")
    text.do(f"store i8 1, ptr {_pointer(text, '%state', RESTLESS)}")
    text.do("ret void")
    return f"define void @{signature} {{\n{text.render()}\n}}\n"


def settle(program: Program) -> str:
    """LLVM text of `settle`."""
    text = Text()
    text.block("entry")
    live = load_all(program, text)
    fresh = text.op(f"load i8, ptr {_pointer(text, '%state', FRESH)}")
    quiet = text.op(f"icmp ne i8 {fresh}, 0")
    here = update(program, text, live, quiet=quiet)
    text.do(f"store i8 0, ptr {_pointer(text, '%state', FRESH)}")
    store_all(program, text, here.live)
    outputs = program.netlist.outputs
    for name, shown in zip(outputs, here.words(outputs.values()), strict=True):
        _store(text, program.layout.outputs[name], shown)
    return finish(text, "settle(ptr noalias %state)")


def later_of(program: Program, text: Text, start: Live) -> Live:
    """Names of a phi for everything that changes in a run, to be placed at the head of a block."""
    registers = tuple(text.later(f"i{register.width}") for register in program.netlist.registers)
    cuts = tuple(text.later(f"i{program.netlist.widths[value]}") for value in program.plan.kept)
    return Live(start.inputs, registers, cuts, tuple(text.later("i1") for _ in start.clocks))


def phis_of(program: Program, text: Text, start: Live, origin: str) -> Live:
    """A phi, placed here, for everything that changes in a run."""
    phis = later_of(program, text, start)
    text.place(*phis.registers, *phis.cuts, *phis.clocks)
    lead_back(text, phis, start, origin)
    return phis


def lead_back(text: Text, phis: Live, after: Live, origin: str) -> None:
    """Lead everything that changes to its phi, from the block called `origin`."""
    pairs = ((phis.registers, after.registers), (phis.cuts, after.cuts), (phis.clocks, after.clocks))
    for names, values in pairs:
        for phi, value in zip(names, values, strict=True):
            text.arm(phi, value, origin)


@frozen
class _Loop:
    """The loop around a body: its counter and the phis of everything live."""

    index: str
    live: Live

    @staticmethod
    def open(program: Program, text: Text, start: Live) -> _Loop:
        origin = text.here
        text.do("br label %head")
        text.block("head")
        return _Loop(text.phi("i64", "0", origin), phis_of(program, text, start, origin))

    def close(self, text: Text, after: Live) -> None:
        following = text.op(f"add nuw i64 {self.index}, 1")
        over = text.op(f"icmp eq i64 {following}, %n")
        text.arm(self.index, following, text.here)
        lead_back(text, self.live, after, text.here)
        text.do(f"br i1 {over}, label %exit, label %head")
        text.block("exit")


def record(text: Text, here: Here, observe: Word, index: str) -> None:
    here.words([observe])
    bits = element_bits(observe.width)
    place = text.op(f"mul i64 {index}, {bits // 8}")
    value = here.scope.extended(observe, bits, False)
    text.do(f"store i{bits} {value}, ptr {_pointer(text, '%out', place)}, align {bits // 8}")


def rows(program: Program, ports: Sequence[str], observe: Word) -> str:
    """LLVM text of `rows`: `ports` take their values from arrays, `observe` (at most 64 bits) is recorded."""
    text = Text()
    text.block("entry")
    loop = _Loop.open(program, text, load_all(program, text))
    taken = dict(loop.live.inputs)
    for number, port in enumerate(ports):
        width = max(program.layout.inputs[port].width, 1)
        bits = element_bits(width)
        place = _pointer(text, f"%in{number}", text.op(f"mul i64 {loop.index}, {bits // 8}"))
        whole = text.op(f"load i{bits}, ptr {place}, align {bits // 8}")
        taken[port] = whole if bits == width else text.op(f"trunc i{bits} {whole} to i{width}")
    here = update(program, text, replace(loop.live, inputs=taken))
    record(text, here, observe, loop.index)
    loop.close(text, here.live)
    store_all(program, text, here.live)
    for port in ports:
        _store(text, program.layout.inputs[port], taken[port])
    arrays = "".join(f"ptr noalias %in{number}, " for number in range(len(ports)))
    return finish(text, f"rows(ptr noalias %state, {arrays}ptr noalias %out, i64 %n)")
