"""Machine code for words of many lanes: recorded word by word, or gathered by an or over time.

`rows` and `clock` are called as those of `loop.py` and `clock.py` are, but record several words of any width,
each in as many bytes as a place of the state takes. Code that gathers leaves in the array only the or of what
the words were after each update.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from ..frozen import frozen
from ..machine.code import Code, compile_text
from ..netlist import Const, Netlist, Slice, Word
from .compiled import Compiled
from .lane_clock import Copy, moving_level
from .layout import Place, storage_bits
from .loop import finish, lead_back, load_all, phis_of, store_all
from .program import Here, Known, Live, Program
from .text import Text
from .update import update
from .vectors import LOOP, vectors
from .words import Scope

#: Levels of inputs that code may be made for.
Levels = tuple[tuple[str, int], ...]

_CLOCK = "clock(ptr noalias %state, ptr noalias %out, i64 %n)"

#: Netlists of more cells than this are compiled with less optimisation.
_LARGE = 4000


@frozen
class Observed:
    """Words to record after each update, or to gather over all of them."""

    words: tuple[Word, ...]
    gather: bool = False

    @property
    def offsets(self) -> tuple[int, ...]:
        """The byte at which each word lies in a record; the last number is the length of the record."""
        found = [0]
        for word in self.words:
            found.append(found[-1] + storage_bits(word.width) // 8)
        return tuple(found)


class LaneCode:
    """The machine code of one netlist of lanes."""

    def __init__(self, netlist: Netlist, lanes: int, *, halves: bool = False) -> None:
        """In `halves`, a constant that changes nothing in one half of a word costs nothing there."""
        self.compiled = Compiled(netlist, keep_in_memory=False)
        self.lanes = lanes
        self.pieces = 2 if halves and lanes % 128 == 0 and lanes > 128 else 1
        self._codes: dict[tuple[object, ...], Code] = {}

    def settle(self) -> Code:
        return self._code(("settle",), lambda: self.compiled.text("settle"), 1)

    def rows(self, ports: Sequence[str], observed: Observed) -> Code:
        """`rows(state, an array a port, out, n)`."""
        key = ("rows", tuple(ports), observed)
        return self._code(key, lambda: rows(self.compiled.program, ports, observed), 3)

    def clock(self, port: str, bit: int, observed: Observed, levels: Levels = ()) -> Code:
        """`clock(state, out, n)`; the state is at rest with that bit low, and the inputs are at `levels`."""
        key = ("clock", port, bit, observed, levels)
        return self._code(key, lambda: clock(self.compiled.program, port, bit, observed, levels), 3)

    def _code(self, key: tuple[object, ...], write: Callable[[], str], level: int) -> Code:
        found = self._codes.get(key)
        if found is None:
            text = write()
            if self.lanes % 64 == 0 and self.lanes > 64:
                text = vectors(text, self.lanes, self.pieces)
            if len(self.compiled.program.netlist.cells) > _LARGE:
                level = 1
            found = self._codes[key] = compile_text(text, str(key[0]), level)
        return found


def rows(program: Program, ports: Sequence[str], observed: Observed) -> str:
    """LLVM text of `rows`."""
    text = Text()
    text.block("entry")

    def step(index: str, live: Live) -> tuple[Here, Live]:
        taken = dict(live.inputs)
        for number, port in enumerate(ports):
            place = program.layout.inputs[port]
            kind, align = f"i{place.bits}", min(place.size, 8)
            whole = text.op(
                f"load {kind}, ptr {_at(text, f'%in{number}', index, place.size, 0)}, align {align}"
            )
            taken[port] = whole
            if place.bits != place.width:
                taken[port] = text.op(f"trunc {kind} {whole} to i{place.width}")
            text.do(f"store {kind} {whole}, ptr {_at(text, '%state', '0', 0, place.offset)}, align {align}")
        here = update(program, text, replace(live, inputs=taken))
        return here, here.live

    _loop(program, text, observed, step)
    arrays = "".join(f"ptr noalias %in{number}, " for number in range(len(ports)))
    return finish(text, f"rows(ptr noalias %state, {arrays}ptr noalias %out, i64 %n)")


def clock(program: Program, port: str, bit: int, observed: Observed, levels: Levels = ()) -> str:
    """LLVM text of `clock`."""
    text = Text()
    text.block("entry")
    netlist, held = program.netlist, dict(levels)
    width = netlist.widths[netlist.inputs[port]]

    def known(level: int) -> Known:
        found = {
            netlist.inputs[name]: Word.const(at, netlist.widths[netlist.inputs[name]]) for name, at in levels
        }
        value = netlist.inputs[port]
        if port in held:
            found[value] = Word.const(held[port] & ~(1 << bit) | level << bit, width)
        else:
            high = Slice(value, bit + 1, width - bit - 1)
            found[value] = Word.of([Slice(value, 0, bit), Const(level, 1), high])
        return found

    level = moving_level(program, (known(0), known(1)))
    if level is not None:
        _two_copies(program, text, observed, known(level), known(0))
        return finish(text, _CLOCK)

    def step(index: str, live: Live) -> tuple[Here, Live]:
        risen = update(program, text, live, known=known(1))
        here = update(program, text, risen.live, known=known(0))
        return here, here.live

    _loop(program, text, observed, step)
    return finish(text, _CLOCK)


def _two_copies(program: Program, text: Text, observed: Observed, moving: Known, resting: Known) -> None:
    """`n` cycles in which all registers move at once, the inputs as `moving` says, recorded with those of `resting`."""
    start, registers = load_all(program, text), program.netlist.registers
    bits = [storage_bits(register.width) for register in registers]
    places = [
        Place(64 * number, r.width, b) for number, (r, b) in enumerate(zip(registers, bits, strict=True))
    ]
    stride = 64 * -(-max(bits) // 512)
    places = [replace(place, offset=stride * number) for number, place in enumerate(places)]
    for name in ("one", "two"):
        text.do(f"%{name} = alloca [{stride * len(places)} x i8], align 64")

    def put(base: str, number: int, name: str) -> None:
        place = places[number]
        pointer = text.op(f"getelementptr i8, ptr {base}, i64 {place.offset}")
        text.do(f"store i{place.bits} {name}, ptr {pointer}, align {min(place.size, 64)}")

    for number, name in enumerate(start.registers):
        put("%one", number, Scope(text, ()).resize(name, registers[number].width, bits[number]))
    origin = text.here
    text.do("br label %head")
    text.block("head")
    index = text.phi("i64", "0", origin)
    read, written = text.phi("ptr", "%one", origin), text.phi("ptr", "%two", origin)
    text.do(f"{LOOP}{index}")
    here = Copy(program, text, start.inputs, places, read, moving)
    for number, register in enumerate(registers):
        (name,) = here.words([register.data])
        put(written, number, here.scope.resize(name, register.width, bits[number]))
    _record(text, Copy(program, text, start.inputs, places, written, resting), observed, index)
    following = text.op(f"add nuw i64 {index}, 1")
    for phi, name in ((index, following), (read, written), (written, read)):
        text.arm(phi, name, text.here)
    text.do(f"br i1 {text.op(f'icmp eq i64 {following}, %n')}, label %exit, label %head")
    text.block("exit")
    last = Copy(program, text, start.inputs, places, written, resting)
    names = last.words(Word.value(register.output, register.width) for register in registers)
    store_all(program, text, replace(start, registers=tuple(names)))


def _loop(
    program: Program, text: Text, observed: Observed, step: Callable[[str, Live], tuple[Here, Live]]
) -> None:
    """`n` rounds of a step, each followed by a record."""
    origin, start = text.here, load_all(program, text)
    text.do("br label %head")
    text.block("head")
    index = text.phi("i64", "0", origin)
    phis = phis_of(program, text, start, origin)
    text.do(f"{LOOP}{index}")
    here, after = step(index, phis)
    _record(text, here, observed, index)
    following = text.op(f"add nuw i64 {index}, 1")
    text.arm(index, following, text.here)
    lead_back(text, phis, after, text.here)
    text.do(f"br i1 {text.op(f'icmp eq i64 {following}, %n')}, label %exit, label %head")
    text.block("exit")
    store_all(program, text, after)


def _record(text: Text, here: Here, observed: Observed, index: str) -> None:
    offsets = observed.offsets
    for word, offset, name in zip(observed.words, offsets, here.words(observed.words), strict=False):
        bits = storage_bits(word.width)
        value, align = here.scope.resize(name, word.width, bits), min(bits // 8, 8)
        if observed.gather:
            place = _at(text, "%out", "0", 0, offset)
            before = text.op(f"load i{bits}, ptr {place}, align {align}")
            value = text.op(f"or i{bits} {before}, {value}")
        else:
            place = _at(text, "%out", index, offsets[-1], offset)
        text.do(f"store i{bits} {value}, ptr {place}, align {align}")


def _at(text: Text, base: str, index: str, stride: int, offset: int) -> str:
    moved = text.op(f"add i64 {text.op(f'mul i64 {index}, {stride}')}, {offset}")
    return text.op(f"getelementptr i8, ptr {base}, i64 {moved}")
