"""A toggling clock for words of many lanes: two copies of the state, one that is read and one that is written.

All state in LLVM values, as `clock.py` has it, suits a few registers. A hundred wide ones are more than a processor
has, and LLVM then moves them from place to place on the stack in every cycle. Here each is loaded where it is
wanted and stored where it belongs, and the copies change their parts after each cycle.
"""

from __future__ import annotations

from collections.abc import Sequence

from ..netlist import Word
from .layout import Place
from .program import Here, Known, Program
from .text import Text
from .words import Scope

#: Registers that a processor holds itself, and registers of which two copies fit on a stack.
_FEW, _MOST = 24, 2000


class _Loading(Scope):
    """A scope that loads a register anew whenever it is wanted: the compiler joins loads where that is good."""

    def name(self, value: int) -> str:
        place = self.places.get(value)
        return self.load(place.offset, place.bits, place.width) if place else super().name(value)


class Copy(Here):
    """A place in the text where the state lies in one of the copies."""

    def __init__(
        self,
        program: Program,
        text: Text,
        inputs: dict[str, str],
        places: Sequence[Place],
        base: str,
        known: Known,
    ) -> None:
        registers = program.netlist.registers
        outputs = (register.output for register in registers)
        self.program, self.text = program, text
        self.scope = _Loading(text, program.netlist.widths, None, dict(zip(outputs, places, strict=True)))
        self.scope.base = base
        for port, value in program.netlist.inputs.items():
            self.enter(value, inputs[port])
        for value, word in known.items():
            self.scope.bind(value, word)


def moving_level(program: Program, known: Sequence[Known]) -> int | None:
    """The level of the toggled bit at which registers move, if that is one level and one edge for all of them."""
    netlist, plan = program.netlist, program.plan
    if not plan.settles_once or netlist.memories or not _FEW < len(netlist.registers) <= _MOST:
        return None
    if any(register.overrides for register in netlist.registers):
        return None
    levels = set()
    for group in plan.groups:
        seen = [_constant(program, group.clock, each) for each in known]
        if None in seen:
            return None
        if seen[0] != seen[1]:
            levels.add(int(seen.index(1) == 1) if group.rising else int(seen.index(0) == 1))
        elif group.registers:
            return None
    return levels.pop() if len(levels) == 1 else None


def _constant(program: Program, word: Word, known: Known) -> int | None:
    """What a clock is where inputs are known; None if they do not decide it."""
    scope = Scope(Text(), program.netlist.widths)
    for value, bound in known.items():
        scope.bind(value, bound)
    for node in sorted(program.needs([word]), key=program.position.__getitem__):
        cell = program.netlist.cells[node]
        scope.compute(cell, lambda *_: "")
    found = scope.resolve(word).as_const()
    return None if found is None else found.bits
