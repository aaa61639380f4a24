"""A settled design to the frozen netlist record: words, names, initial values."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..errors import NetlistError
from ..netlist import Cell, Const, Memory, Override, Register, Slice, Word, WritePort
from .lower import Design, Offset, PendingRegister
from .memories import PendingMemory, contents
from .nets import Nets
from .records import Bits, Module, digits, public


@dataclass(slots=True)
class Instance:
    """A module in its place; `text` numbers the text that it comes from, `parent` leads to the top."""

    module: Module
    text: int
    scope: Offset
    parent: Instance | None


def cells(design: Design) -> tuple[Cell, ...]:
    word = design.nets.word
    return tuple([Cell(c.kind, c.value, tuple(map(word, c.operands)), c.params, c.src) for c in design.cells])


def names(nets: Nets, instances: Sequence[Instance]) -> dict[str, Word]:
    """The word of every public wire, under its path."""
    return {
        f"{instance.scope.path}{wire.name[1:]}": nets.word(instance.scope.bits(wire.bits), reads=False)
        for instance in instances
        for wire in instance.module.wires.values()
        if wire.name[0] == "\\"
    }


def registers(design: Design, instances: Sequence[Instance], named: dict[str, Word]) -> tuple[Register, ...]:
    """The registers, with the initial values and the names that wires give them."""
    word = design.nets.word
    stated, titles = _initial_bits(design.nets, instances)
    others: dict[int, str] = {}
    for name, found in named.items():
        part = found.parts[0] if len(found.parts) == 1 else None
        if isinstance(part, Slice) and part.width == design.nets.widths[part.value]:
            others.setdefault(part.value, name)

    def title(register: PendingRegister) -> str:
        """The wire that states its initial value, else the wire at its output, else any wire that shows it whole."""
        own = titles.get(register.value) or design.nets.public_name(register.q)
        return own or others.get(register.value, register.name)

    return tuple(
        [
            Register(
                r.value,
                r.width,
                None if r.clock is None else word(r.clock),
                r.rising,
                word(r.data),
                tuple([Override(word(mask), word(value)) for mask, value in r.overrides]),
                _initial(stated.get(r.value, {}), r.width, r.init),
                title(r),
                r.src,
            )
            for r in design.registers
        ]
    )


def _initial_bits(
    nets: Nets, instances: Sequence[Instance]
) -> tuple[dict[int, dict[int, int]], dict[int, str]]:
    """For each value the bits that `init` attributes of wires state, and the first public wire that states all."""
    stated: dict[int, dict[int, int]] = {}
    titles: dict[int, str] = {}
    for instance in instances:
        for wire in instance.module.wires.values():
            if not wire.init:
                continue
            name = instance.scope.path + public(wire.name)
            bits = instance.scope.bits(wire.bits)
            places = [nets.value_bit(bit) for bit in bits]
            for place, digit in zip(places, digits(wire.init)[::-1], strict=False):
                if place is None or digit not in "01":
                    continue
                value, index = place
                if stated.setdefault(value, {}).setdefault(index, int(digit)) != int(digit):
                    raise NetlistError(
                        f"{name} and another name of that register state different initial values",
                        place=wire.src,
                        remedy="leave one",
                    )
            if wire.name[0] == "\\" and places and places[0] is not None:
                value = places[0][0]
                if places == [(value, n) for n in range(nets.widths[value])]:
                    titles.setdefault(value, name)
    return stated, titles


def _initial(bits: dict[int, int], width: int, stated: Bits | None) -> Const:
    """A register's initial value; bits that nobody states are undefined."""
    if stated is not None:
        bits = {n: bit for n, bit in enumerate(stated) if bit < 2} | bits
    ones = sum(bit << n for n, bit in bits.items())
    return Const(ones, width, sum(1 << n for n in range(width) if n not in bits))


def memory(nets: Nets, pending: PendingMemory) -> Memory:
    word = nets.word
    writes = tuple(
        [
            WritePort(
                None if w.clock is None else word(w.clock),
                w.rising,
                word(w.address),
                word(w.data),
                word(w.enable),
                w.src,
            )
            for w in pending.writes
        ]
    )
    init = contents(nets, pending)
    return Memory(pending.name, pending.width, pending.size, pending.offset, init, writes, pending.src)
