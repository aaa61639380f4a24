"""State machines: registers that whoever makes the chip may code anew, so that it wakes up in a state that has no name.

Such a register takes nothing but constants and itself, and is read in nothing but comparisons with constants; a
synthesiser may hold it in other flip-flops, one for each state as a rule. Of these most patterns are no state at all:
what a comparison then says is open, and so is what comes next, as far as that depends on the state. As often as not
none of the flip-flops is set, and then no comparison ever holds.
Source: what `fsm_detect` and `fsm_recode` of Yosys 0.70 do, the first steps of its `synth`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from graphlib import CycleError, TopologicalSorter

from ..frozen import frozen
from ..netlist import Cell, Netlist, Override, Register, Word
from .choices import CHOOSING, arms_of, is_undefined, selector_of

#: Cells that say which state it is, where all else that they read is constant.
_ASKING = (
    "$eq",
    "$ne",
    "$eqx",
    "$nex",
    "$lt",
    "$le",
    "$ge",
    "$gt",
    "$logic_not",
    "$reduce_bool",
    "$reduce_or",
)
#: Ends the name of the register that says of a state machine whether its state has no name.
CODED_ANEW = ", coded anew"
#: Makes a cell of a kind and a width: `made(kind, width, *operands, **parameters)`.
Made = Callable[..., Word]


@frozen
class StateMachine:
    """A register that holds a state; outputs of the cells that ask for it; cells that choose the next, by output."""

    register: Register
    asking: frozenset[int]
    choosing: Mapping[int, Cell]
    #: The state, and all that follows it without a clock.
    following: frozenset[int]

    def nameless(self, held: Word, made: Made) -> tuple[Word, tuple[Override, ...]]:
        """What a register of two bits takes: data and overrides.

        Bit 0 is 1 while the state has no name; it has one again where all that may come next is one named state. Until
        then comparisons say anything where bit 1 is 1 too, and else none holds.
        """
        known: dict[int, Word] = {self.register.output: held}

        def after(word: Word) -> Word:
            fixed = word.as_const()
            if fixed is not None:
                return Word.const(0, 2, 3 if fixed.undefined else 0)
            return known[next(iter(word.values()))]

        for value, cell in self.choosing.items():
            arms = [arm.cut(0, self.register.width) for arm in arms_of(cell)]
            flags = list(map(after, arms))
            several = [flags[0], _joined(flags[1:])] if cell.kind == "$pmux" else flags
            select = selector_of(cell)
            order = (select, *several) if cell.kind == "case" else (*several, select)
            known[value] = made(cell.kind, 2, *order, **cell.params)
            if self.following.isdisjoint(select.values()):
                continue
            unlike = [
                made("$ne", 1, arms[0], arm, A_SIGNED=0, B_SIGNED=0)
                for arm in arms[1:]
                if not is_undefined(arm)
            ]
            open_ = [Word.const(1, 1)] if any(map(is_undefined, arms)) else unlike
            either = made("$reduce_or", 1, _joined([*open_, *flags]), A_SIGNED=0)
            kept = made("$and", 2, held, _joined([either, either]), A_SIGNED=0, B_SIGNED=0)
            known[value] = made("$or", 2, known[value], kept, A_SIGNED=0, B_SIGNED=0)
        overrides = (Override(one.mask.cut(0, 2), Word.const(0, 2)) for one in self.register.overrides)
        return after(self.register.data), tuple(overrides)


def _joined(words: Iterable[Word]) -> Word:
    return Word.of(part for word in words for part in word.parts)


def unmatched(cell: Cell, width: int) -> Word:
    """What a cell that asks for the state gives where that is none."""
    if cell.kind == "case":
        return cell.operands[-1]
    return Word.const(int(cell.kind in ("$ne", "$nex", "$reduce_bool", "$reduce_or")), width)


def state_machines(netlist: Netlist) -> Iterator[StateMachine]:
    """All registers of a netlist that hold a state and nothing else."""
    makers = {cell.output: cell for cell in netlist.cells}
    for register in netlist.registers:
        named = register.clock is not None and register.width > 1
        if not named or not all(map(_is_whole_reset, register.overrides)):
            continue
        choosing = _choosing(register, makers)
        if choosing is None:
            continue
        asking = _asking(netlist, register, choosing)
        if asking is not None:
            following = _following(netlist, {register.output})
            yield StateMachine(register, asking, choosing, following)


def _is_whole_reset(override: Override) -> bool:
    """Whether all bits take constants together."""
    fixed = override.value.as_const()
    return fixed is not None and not fixed.undefined and len(set(override.mask.bits())) == 1


def _choosing(register: Register, makers: Mapping[int, Cell]) -> dict[int, Cell] | None:
    """The cells that choose the next state from constants and the state as it is, each behind those that it reads.

    None where the register takes aught else, or there are none.
    """
    own, width = Word.value(register.output, register.width), register.width
    found: dict[int, set[int]] = {}
    waiting = [-1]  # what the register takes
    while waiting:
        value = waiting.pop()
        cell = makers.get(value)
        if value >= 0 and (cell is None or cell.kind not in CHOOSING):
            return None
        words = [
            word
            for word in ([arm.cut(0, width) for arm in arms_of(cell)] if cell else [register.data])
            if word != own
        ]
        chosen = {value for word in words for value in word.values()}
        if not all(word.as_const() or word in (Word.value(v, width) for v in chosen) for word in words):
            return None  # a part of it is chosen by itself
        found[value] = chosen
        waiting += chosen - found.keys()
    try:
        order = list(TopologicalSorter(found).static_order())[:-1]
    except CycleError:
        return None
    return {value: makers[value] for value in order} or None


def _asking(netlist: Netlist, register: Register, choosing: Mapping[int, Cell]) -> frozenset[int] | None:
    """The outputs of the cells that ask which state it is; None where something else reads the state."""
    own, value = Word.value(register.output, register.width), register.output

    def alone(word: Word) -> bool:
        """Whether it is bits of the state, perhaps with constants."""
        return set(word.values()) == {value}

    found = set()
    for cell in netlist.cells:
        words = [word for word in cell.operands if value in word.values()]
        if not words or cell.output in choosing:
            continue
        others = [word for word in cell.operands if not alone(word)]
        constant = all(word.as_const() is not None for word in others)
        selecting = cell.kind == "case" and len(words) == 1 and alone(cell.operands[0])
        if not selecting and not (constant and cell.kind in _ASKING):
            return None
        found.add(cell.output)
    others = [
        word for other in netlist.registers for word in other.words if other is not register or word != own
    ]
    others += [word for memory in netlist.memories for port in memory.writes for word in port.words]
    others += netlist.outputs.values()
    return None if any(value in word.values() for word in others) else frozenset(found)


def _following(netlist: Netlist, values: set[int]) -> frozenset[int]:
    """All that follows some values through cells."""
    found = set(values)
    before = 0
    while before < len(found):
        before = len(found)
        found.update(
            cell.output
            for cell in netlist.cells
            if any(not found.isdisjoint(w.values()) for w in cell.operands)
        )
    return frozenset(found)
