"""A place in the text of a netlist whose state lies in memory: what is wanted of it is loaded, what moves is stored."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property

from .layout import Place
from .program import Here, Program
from .text import Text
from .words import Scope


class Stored:
    """Where the values of a netlist lie in the state."""

    def __init__(self, program: Program) -> None:
        self.program = program

    @cached_property
    def sure(self) -> Mapping[int, Place]:
        """Values that lie there at any time: inputs, and registers without overrides."""
        netlist, layout = self.program.netlist, self.program.layout
        registers = zip(netlist.registers, layout.registers, strict=True)
        places = {value: layout.inputs[port] for port, value in netlist.inputs.items()}
        return places | {register.output: place for register, place in registers if not register.overrides}

    @cached_property
    def shown(self) -> Mapping[int, Place]:
        """The same once every register has been put to what it shows under its overrides."""
        registers = zip(self.program.netlist.registers, self.program.layout.registers, strict=True)
        return {**self.sure, **{register.output: place for register, place in registers}}


class Resident(Here):
    """A place in the text where state is loaded from `base` when it is wanted."""

    def __init__(
        self, program: Program, text: Text, places: Mapping[int, Place], base: str = "%state"
    ) -> None:
        self.program, self.text = program, text
        self.scope = Scope(text, program.netlist.widths, None, places)
        self.scope.base = base

    def held(self, index: int, scope: Scope) -> str:
        place = self.program.layout.registers[index]
        return scope.load(place.offset, place.bits, place.width)


def put(text: Text, offset: int, bits: int, name: str) -> None:
    """Store a name of `bits` bits at a byte offset of the state."""
    pointer = text.op(f"getelementptr i8, ptr %state, i64 {offset}")
    text.do(f"store i{bits} {name}, ptr {pointer}, align {min(offset & -offset or 8, bits // 8, 8)}")


def put_place(scope: Scope, place: Place, name: str) -> None:
    """Store a name at its place."""
    put(scope.text, place.offset, place.bits, scope.resize(name, place.width, place.bits))
