"""Where the language leaves a value open: undefined constants in a netlist that a run takes as 0, and draws for them.

Whoever makes the chip may choose what a division by zero gives, what lies outside of a memory or of a word, what a net
shows that nothing drives, that several drivers fight for, or that the source gives as x (IEEE 1364-2005: 5.1.5 for
division and power, 5.2.1 for part-selects, 5.2.2 for memories, 4.6.1 for drivers). `Simulation` takes 0 in all of
these. `opened` writes the netlist anew, so that each such bit comes from an undefined constant, which a proof takes as
unknown; `Opened.drawn` puts registers in the place of these constants, which nothing ever assigns: each power-up gives
them other values.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import field, replace
from functools import cached_property

from ..frozen import frozen, mutable
from ..gates.without import rewritten
from ..netlist import REASON, Cell, Const, Memory, Netlist, Param, Part, Register, Slice, Word, source_line
from ..state import is_wiring
from .bounds import Bounds
from .choices import is_undefined
from .drawn import with_draws
from .lasting import guarded, idle, lost_for_good
from .machines import CODED_ANEW, StateMachine, state_machines, unmatched

#: Lines of a source that are told apart.
MOST_PLACES = 64
#: How the reason begins where a state machine is in none of its states.
STATE_MACHINE = "state machine"
_UNDEFINED = "an undefined value (x, or a net that nothing drives)"


@frozen
class OpenPlace:
    """A line of the source that leaves something open.

    `values` are the values that are then open, `outputs` masks of such bits of outputs; `always` says that there is no
    condition to it.
    """

    reason: str
    line: str
    values: frozenset[int]
    outputs: Mapping[str, int]
    always: bool


@frozen
class Opened:
    """A netlist in which all that is open is undefined; the places, and for each a bit that is 1 while it is so."""

    netlist: Netlist
    places: tuple[OpenPlace, ...]
    conditions: Word

    @cached_property
    def drawn(self) -> Netlist:
        """The netlist with the output `OPEN`, in which what each power-up holds decides what is undefined.

        Behind all other registers stand those that decide, which nothing ever assigns. An undefined bit is one of
        theirs, or its opposite where the parity of some inputs and registers, drawn too, is odd: like a chip's, it may
        depend on anything, and it is the same where all of that is. Where they hold 0 it is 0. Without places it is
        `netlist`.
        """
        return with_draws(self.netlist, self.conditions) if self.places else self.netlist

    @property
    def free(self) -> int:
        """How many registers `drawn` has more."""
        return len(self.drawn.registers) - len(self.netlist.registers)


def opened(netlist: Netlist) -> Opened:
    """What the language leaves open in a netlist, made undefined."""
    unassigned = {r.output: r.init for r in netlist.registers if is_wiring(r) and r.init.undefined}

    def constant(part: Part) -> Word:
        if isinstance(part, Slice) and part.value in unassigned:
            return Word.of((unassigned[part.value],)).cut(part.low, part.width)
        return Word.of((part,))

    if unassigned:
        netlist = replace(netlist, **vars(rewritten(netlist, constant)))
    return _Undefining(netlist).opened()


@mutable
class _PlaceDraft:
    """A place that is being put together."""

    conditions: list[Word] = field(default_factory=list)
    values: set[int] = field(default_factory=set)
    outputs: dict[str, int] = field(default_factory=dict)
    always: bool = False


class _Undefining:
    """One netlist on its way."""

    def __init__(self, netlist: Netlist) -> None:
        self.old, self.bounds = netlist, Bounds({cell.output: cell for cell in netlist.cells})
        self.widths, self.cells = list(netlist.widths), list[Cell]()
        self.memories = list(netlist.memories)
        self.places: dict[tuple[str, str], _PlaceDraft] = {}
        self.guarded, self.idle = guarded(netlist), idle(netlist)
        self.registers = list(netlist.registers)
        #: For each cell that asks for a state, the register that holds it, and what `StateMachine.nameless` is about.
        self.nameless: dict[int, tuple[Register, Word]] = {}
        buses = (cell.operands[0] for cell in netlist.cells if cell.kind == "$tribuf")
        self.shared = {value for word in buses for value in word.values()}
        whole = ((name, word.parts[0]) for name, word in netlist.names.items() if len(word.parts) == 1)
        self.names = {part.value: f"net {name}" for name, part in whole if isinstance(part, Slice)}
        self.src = ""

    def opened(self) -> Opened:
        lost = lost_for_good(self.old)
        for machine in tuple(state_machines(self.old)):
            self._machine(machine)
        for cell in self.old.cells:
            self._cell(cell, cell.output in lost)
        for number, memory in enumerate(self.old.memories):
            self.memories[number] = self._written(memory)
        self._constants()
        if not self.places:
            return Opened(self.old, (), Word())
        places = [
            OpenPlace(reason, line, frozenset(found.values), found.outputs, found.always)
            for (reason, line), found in self.places.items()
        ]
        conditions = [self._any(found.conditions) for found in self.places.values()][:MOST_PLACES]
        netlist = replace(
            self.old,
            widths=tuple(self.widths),
            cells=tuple(self.cells),
            memories=tuple(self.memories),
            registers=tuple(self.registers),
        )
        return Opened(
            netlist, tuple(places[:MOST_PLACES]), Word.of(part for word in conditions for part in word.parts)
        )

    # Cells

    def _made(self, kind: str, width: int, *operands: Word, **params: Param) -> Word:
        self.widths.append(width)
        self.cells.append(Cell(kind, len(self.widths) - 1, operands, params, self.src))
        return Word.value(len(self.widths) - 1, width)

    def _any(self, bits: Sequence[Word]) -> Word:
        word = Word.of(part for bit in bits for part in bit.parts)
        return word if word.width == 1 else self._made("$reduce_or", 1, word)

    def _cell(self, cell: Cell, lost: bool) -> None:
        """A cell as it is, or with its output made undefined where a mask says that it is open, or for good."""
        self.src, width = cell.src, self.old.widths[cell.output]
        if (
            cell.kind == "$pmux"
            and is_undefined(cell.operands[0])
            and self.bounds.exhaustive(cell.operands[2])
        ):
            cell = replace(cell, operands=(Word.const(0, width), *cell.operands[1:]))  # which is never shown
        if cell.output in self.idle:
            cell = replace(cell, operands=tuple(map(_defined, cell.operands)))
        finder = _FINDERS.get(cell.kind)
        found = finder(self, cell) if finder else None
        machine = self.nameless.get(cell.output)
        if machine is not None:
            found = self.asked(cell, *machine)
        if lost:
            found = "what is reckoned with an undefined value", Word.const((1 << width) - 1, width)
        if found is None or not width:
            self.cells.append(cell)
            return
        reason, mask = found
        inner = self._made(cell.kind, width, *cell.operands, **cell.params)
        if machine is not None:
            inner = self._made("$mux", width, inner, unmatched(cell, width), machine[1].bit(0))
        open_ = (inner, Word.const(0, width, (1 << width) - 1), mask)
        self.cells.append(Cell("$bwmux", cell.output, open_, {REASON: reason}, self.src))

    def asked(self, cell: Cell, register: Register, nameless: Word) -> tuple[str, Word]:
        self.src = register.src
        anything = self._gate("$and", nameless.bit(0), nameless.bit(1))
        words = f"{STATE_MACHINE} {register.name} in none of its states, as a chip may code them anew"
        return words, self._wide(anything, cell)

    def _machine(self, machine: StateMachine) -> None:
        """A register of its own for a state machine, which says whether it is in none of its states."""
        register = machine.register
        self.src = register.src
        number = len(self.widths)
        self.widths.append(2)
        held = Word.value(number, 2)
        data, overrides = machine.nameless(held, self._made)
        name = register.name + CODED_ANEW
        made = replace(
            register,
            output=number,
            width=2,
            data=data,
            overrides=overrides,
            init=Const(0, 2),
            name=name,
        )
        self.registers.append(made)
        self.nameless |= dict.fromkeys(machine.asking, (register, held))

    def division(self, cell: Cell) -> tuple[str, Word] | None:
        divisor = cell.operands[1]
        if self.bounds.never_zero(divisor) or cell.output in self.guarded:
            return None
        zero = self._made("$logic_not", 1, divisor, A_SIGNED=0)
        return "division by zero", self._wide(zero, cell)

    def power(self, cell: Cell) -> tuple[str, Word] | None:
        base, exponent = cell.operands
        if not cell.int_param("B_SIGNED") or not exponent.width or self.bounds.never_zero(base):
            return None
        sign = exponent.bit(exponent.width - 1)
        zero = self._made("$logic_not", 1, base, A_SIGNED=0)
        both = self._gate("$and", zero, sign)
        return "zero to a negative power", self._wide(both, cell)

    def part_select(self, cell: Cell) -> tuple[str, Word] | None:
        word, index = cell.operands
        width, most = self.old.widths[cell.output], self.bounds.most(index)
        signed = cell.int_param("B_SIGNED") and most >> max(index.width - 1, 0)
        if not signed and most + width <= word.width:
            return None
        ones = Word.const((1 << word.width) - 1, word.width)
        inside = self._made("$shiftx", width, ones, index, A_SIGNED=0, B_SIGNED=cell.int_param("B_SIGNED"))
        return "a select outside of its word", self._made("$not", width, inside, A_SIGNED=0)

    def choice(self, cell: Cell) -> tuple[str, Word] | None:
        """Several cases at once, against the word of the source; or several drivers, where they do not agree."""
        _, arms, select = cell.operands
        if select.width < 2 or self.bounds.exclusive(select):
            return None
        width = self.old.widths[cell.output]
        if cell.output not in self.shared:
            return "several cases at once", self._wide(self._several(select), cell)
        high, low = list[Word](), list[Word]()
        for n, bit in enumerate(select.bits()):
            arm, chosen = arms.cut(n * width, width), self._wide(bit, cell)
            high.append(self._gate("$and", chosen, arm))
            low.append(self._gate("$and", chosen, self._inverse(arm)))
        return "drivers that fight", self._gate("$and", self._joined(high), self._joined(low))

    def _several(self, select: Word) -> Word:
        """Whether two bits of a word are 1."""
        seen, *rest = select.bits()
        found = Word.const(0, 1)
        for bit in rest:
            found = self._gate("$or", found, self._gate("$and", seen, bit))
            seen = self._gate("$or", seen, bit)
        return found

    def _inverse(self, word: Word) -> Word:
        fixed = word.as_const()
        if fixed is None:
            return self._made("$not", word.width, word, A_SIGNED=0)
        return Word.const(~fixed.bits, fixed.width, fixed.undefined)

    def _gate(self, kind: str, one: Word, other: Word) -> Word:
        return self._made(kind, one.width, one, other, A_SIGNED=0, B_SIGNED=0)

    def _joined(self, words: Sequence[Word]) -> Word:
        found = words[0]
        for word in words[1:]:
            found = self._gate("$or", found, word)
        return found

    def read(self, cell: Cell) -> tuple[str, Word] | None:
        number, (address,) = cell.int_param("memory"), cell.operands
        memory = self.old.memories[number]
        found = self._outside(memory, address)
        outside = [self._wide(self._any(found), cell)] if found else []
        if not memory.writes and any(row.undefined for row in memory.init):
            self.memories.append(_holes(memory))
            holes = self._made("read", memory.width, address, memory=len(self.memories) - 1)
            if not found:
                return "a memory word that nothing writes", holes
            outside.append(holes)
        if not outside:
            return None
        return "a read outside of a memory", self._joined(outside)

    def _written(self, memory: Memory) -> Memory:
        """A write outside of the memory is dropped by IEEE 1364, but address decoders may not look at all bits."""
        ports = list(memory.writes)
        for place, port in enumerate(ports):
            self.src = port.src
            outside = self._outside(memory, port.address)
            if outside:
                anywhere = Word.const(0, port.address.width, (1 << port.address.width) - 1)
                enabled = self._any([port.enable])
                stray = self._gate("$and", self._any(outside), enabled)
                self.widths.append(anywhere.width)
                choice = Cell(
                    "$mux",
                    len(self.widths) - 1,
                    (port.address, anywhere, stray),
                    {REASON: "a write outside of a memory"},
                    port.src,
                )
                self.cells.append(choice)
                ports[place] = replace(port, address=Word.value(choice.output, anywhere.width))
        return replace(memory, writes=tuple(ports))

    def _outside(self, memory: Memory, address: Word) -> list[Word]:
        """Conditions under which an address is none of the memory's."""
        found: list[Word] = []
        if memory.offset:
            found.append(self._compare("$lt", address, memory.offset))
        if self.bounds.most(address) >= memory.offset + memory.size:
            found.append(self._compare("$ge", address, memory.offset + memory.size))
        return found

    def _compare(self, kind: str, word: Word, number: int) -> Word:
        width = max(word.width, number.bit_length())
        return self._made(kind, 1, word, Word.const(number, width), A_SIGNED=0, B_SIGNED=0)

    def floating(self, cell: Cell) -> tuple[str, Word]:
        off = self._made("$not", 1, cell.operands[1], A_SIGNED=0)
        return "high impedance (z)", self._wide(off, cell)

    def _wide(self, bit: Word, cell: Cell) -> Word:
        return Word(bit.parts * self.old.widths[cell.output]) if self.old.widths[cell.output] > 1 else bit

    # Constants

    def _constants(self) -> None:
        """A place for every undefined constant that something reads."""
        for cell in tuple(self.cells):
            if any(map(is_undefined, cell.operands)):
                place = self._place(str(cell.params.get(REASON, _UNDEFINED)), cell.src, cell.output)
                place.values.add(cell.output)
                self.src = cell.src
                self._when(place, self._condition(cell))
        for register in self.old.registers:
            if any(map(is_undefined, register.words)):
                place = self._place(_UNDEFINED, register.src)
                place.values.add(register.output)
                self._when(place, None)
        shown: list[set[int]] = [set() for _ in self.memories]
        for cell in self.cells:
            if cell.kind == "read":
                shown[cell.int_param("memory")].add(cell.output)
        for number, memory in enumerate(self.old.memories):
            for port in memory.writes:
                if any(map(is_undefined, port.words)):
                    place = self._place(_UNDEFINED, port.src)
                    place.values |= shown[number]
                    self._when(place, None)
        for name, word in self.old.outputs.items():
            if is_undefined(word):
                place = self._place(_UNDEFINED, "")
                place.outputs[name] = sum(1 << n for n, bit in enumerate(word.bits()) if is_undefined(bit))
                self._when(place, None)

    def _place(self, reason: str, src: str, value: int = -1) -> _PlaceDraft:
        line = source_line(src) or src or self.names.get(value, "")
        return self.places.setdefault((reason, line), _PlaceDraft())

    def _when(self, place: _PlaceDraft, condition: Word | None) -> None:
        place.always |= condition is None
        place.conditions.append(Word.const(1, 1) if condition is None else condition)

    def _condition(self, cell: Cell) -> Word | None:
        """A bit that is 1 while the cell shows one of its undefined constants; None where that is not to be seen."""
        kind, words = cell.kind, cell.operands
        if kind == "$bwmux" and not is_undefined(words[0]):
            return self._any([words[2]])
        if kind == "$mux" and not is_undefined(words[2]):
            arms = [Word.const(int(is_undefined(arm)), 1) for arm in words[:2]]
            return self._made("$mux", 1, *arms, words[2])
        if kind == "case" and not is_undefined(words[0]):
            flags = [Word.const(int(is_undefined(arm)), 1) for arm in words[1:]]
            self.widths.append(1)
            self.cells.append(Cell("case", len(self.widths) - 1, (words[0], *flags), cell.params, cell.src))
            return Word.value(len(self.widths) - 1, 1)
        if kind == "$pmux" and not is_undefined(words[2]):
            width = words[0].width
            arms = [words[1].cut(n * width, width) for n in range(words[2].width)]
            flags = [Word.const(int(is_undefined(arm)), 1) for arm in (words[0], *arms)]
            return self._made(
                "$pmux", 1, flags[0], Word.of(p for flag in flags[1:] for p in flag.parts), words[2]
            )
        return None


_MaskFinder = Callable[[_Undefining, Cell], "tuple[str, Word] | None"]
_FINDERS: Mapping[str, _MaskFinder] = {
    **dict.fromkeys(("$div", "$mod", "$divfloor", "$modfloor"), _Undefining.division),
    "$pow": _Undefining.power,
    "$shiftx": _Undefining.part_select,
    "$pmux": _Undefining.choice,
    "$tribuf": _Undefining.floating,
    "read": _Undefining.read,
}


def _defined(word: Word) -> Word:
    """With 0 for what is undefined."""
    return Word.of(part if isinstance(part, Slice) else Const(part.bits, part.width) for part in word.parts)


def _holes(memory: Memory) -> Memory:
    """The memory that holds 1 where a memory of constants is undefined."""
    rows = tuple(Const(row.undefined, row.width) for row in memory.init)
    return replace(memory, name=f"{memory.name}.undefined", init=rows)
