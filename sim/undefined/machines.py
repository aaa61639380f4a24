"""State machines: registers that whoever makes the chip may code anew, so that it wakes up in a state that has no name.

Such a register takes nothing but constants and itself, and is read in nothing but comparisons with constants; a
synthesiser may hold it in other flip-flops, one for each state as a rule. Of these most patterns are no state at all:
what a comparison then says is open, and so is what comes next, as far as that depends on the state. As often as not
none of the flip-flops is set, and then no comparison ever holds.
Source: what `fsm_detect` and `fsm_recode` of Yosys 0.70 do, the first steps of its `synth`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from ..netlist import Cell, Netlist, Override, Register, Slice, Word

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
_CHOOSING = ("$mux", "$pmux", "case")
#: Makes a cell of a kind and a width: `made(kind, width, *operands, **parameters)`.
Made = Callable[..., Word]


@dataclass(frozen=True)
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
        now = held.bit(0)
        known: dict[Word, Word] = {}

        def after(word: Word) -> Word:
            if word not in known:
                known[word] = found(word)
            return known[word]

        def found(word: Word) -> Word:
            fixed = word.as_const()
            if fixed is not None:
                return Word.const(int(fixed.undefined > 0), 1)
            (value,) = set(word.values())
            if value == self.register.output:
                return now
            cell = self.choosing[value]
            arms = _arms(cell, self.register.width)
            flags = [after(arm) for arm in arms]
            if cell.kind == "$pmux":
                flags = [flags[0], Word.of(part for flag in flags[1:] for part in flag.parts)]
            select = cell.operands[0 if cell.kind == "case" else 2]
            order = (select, *flags) if cell.kind == "case" else (*flags, select)
            chosen = made(cell.kind, 1, *order, **cell.params)
            if self.following.isdisjoint(select.values()):
                return chosen
            unlike = [made("$ne", 1, arms[0], arm, A_SIGNED=0, B_SIGNED=0) for arm in arms[1:]]
            either = made(
                "$reduce_or", 1, Word.of(p for flag in (*unlike, *flags) for p in flag.parts), A_SIGNED=0
            )
            kept = made("$and", 1, now, either, A_SIGNED=0, B_SIGNED=0)
            return made("$or", 1, chosen, kept, A_SIGNED=0, B_SIGNED=0)

        after_it = after(self.register.data)
        anything = made("$and", 1, held.bit(1), after_it, A_SIGNED=0, B_SIGNED=0)
        overrides = (Override(one.mask.cut(0, 2), Word.const(0, 2)) for one in self.register.overrides)
        return after_it + anything, tuple(overrides)


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


def _arms(cell: Cell, width: int) -> list[Word]:
    """The low bits of what a cell chooses from."""
    if cell.kind == "$pmux":
        default, several, _ = cell.operands
        arms = [default, *(several.cut(low, default.width) for low in range(0, several.width, default.width))]
    else:
        arms = list(cell.operands[1:] if cell.kind == "case" else cell.operands[:2])
    return [arm.cut(0, width) for arm in arms]


def _choosing(register: Register, makers: Mapping[int, Cell]) -> dict[int, Cell] | None:
    """The cells that choose the next state from constants and the state as it is; None where it takes aught else."""
    own = Word.value(register.output, register.width)
    found: dict[int, Cell] = {}
    waiting = [register.data]
    while waiting:
        word = waiting.pop()
        if word != own and word.as_const() is None:
            value = next(iter(word.values()))
            cell = makers.get(value)
            if cell is None or cell.kind not in _CHOOSING or word != Word.value(value, register.width):
                return None  # it is no choice, or some other bits of one
            if value not in found:
                found[value] = cell
                waiting += _arms(cell, register.width)
    return found or None


def _asking(netlist: Netlist, register: Register, choosing: Mapping[int, Cell]) -> frozenset[int] | None:
    """The outputs of the cells that ask which state it is; None where something else reads the state."""
    own, value = Word.value(register.output, register.width), register.output

    def whole(word: Word) -> bool:
        """Whether it is the state, perhaps with constants above."""
        return word.parts[:1] == own.parts and not any(isinstance(part, Slice) for part in word.parts[1:])

    found = set()
    for cell in netlist.cells:
        words = [word for word in cell.operands if value in word.values()]
        if not words or (cell.output in choosing and all(map(whole, words))):
            continue
        others = [word for word in cell.operands if not whole(word)]
        constant = all(word.as_const() is not None for word in others)
        selecting = cell.kind == "case" and len(words) == 1 and whole(cell.operands[0])
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
