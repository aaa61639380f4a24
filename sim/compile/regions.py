"""What one clock edge moves, divided by condition, so that what does not move costs one test.

A register whose data is its own output unless some bits say otherwise ("hold") is taken only on the paths of
bits on which it moves. Paths are sorted so that what many registers ask for comes first, and make a tree:
whatever stands below a bit is looked at only if the bit has its level. Branches with little below them are
not worth a jump: their registers go up to the parent, where the rest of the path is a select.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from ..frozen import frozen
from ..netlist import Cell, Netlist, Register, Word
from ..schedule import Group, Schedule
from .in_memory import Resident, put
from .words import Scope

#: Bits on the way to what one register takes, and different ways, at most.
_DEPTH, _WAYS = 6, 3
#: A branch whose cells and 64-bit words of state are no more than this is not worth a jump.
_SMALL = 8

Condition = tuple[Word, bool]
Path = tuple[Condition, ...]


@frozen
class Take:
    """A register (by index) takes `data` if every bit of `rest` has its level."""

    register: int
    data: Word
    rest: Path


@frozen
class Region:
    """What moves where the conditions down to here are met; `branches` are looked at in this order."""

    takes: tuple[Take, ...]
    branches: tuple[tuple[Condition, Region], ...]
    wakes: bool  # whether a clock or an override can move with one of these registers, branches aside

    def __str__(self) -> str:
        return "\n".join(_lines(self, ""))


def _lines(region: Region, indent: str) -> list[str]:
    taken = " ".join(str(take.register) for take in region.takes)
    lines = [f"{indent}registers {taken}{' wakes' if region.wakes else ''}"]
    for (bit, level), inner in region.branches:
        lines += [f"{indent}if {bit} is {int(level)}", *_lines(inner, indent + "  ")]
    return lines


class Splitter:
    """Divides the registers of a netlist's clock groups into regions."""

    def __init__(self, netlist: Netlist, plan: Schedule) -> None:
        self.netlist, self.graph = netlist, plan.graph
        self._outputs = {register.output: index for index, register in enumerate(netlist.registers)}
        levels = [group.clock for group in plan.groups]
        levels += [word for register in netlist.registers for word in register.forcing]
        registers, self.waking_memories = self.state_of(levels)
        self._waking = registers | {i for i, register in enumerate(netlist.registers) if register.overrides}

    def state_of(self, words: Iterable[Word]) -> tuple[set[int], set[int]]:
        """The registers and the memories that words depend on."""
        found = list(words)
        nodes = self.graph.cone(found)
        values = {value for word in found for value in word.values()}
        values.update(value for node in nodes for word in self.graph.words(node) for value in word.values())
        cells = [self.netlist.cells[node] for node in nodes if node < len(self.netlist.cells)]
        memories = {cell.int_param("memory") for cell in cells if cell.kind == "read"}
        return {self._outputs[value] for value in values if value in self._outputs}, memories

    def divide(self, group: Group) -> Region:
        """The tree of regions of one clock group."""
        takes = [take for index in group.registers for take in self._ways(index)]
        asked = Counter(condition for take in takes for condition in take.rest)
        order = {condition: place for place, (condition, _) in enumerate(asked.most_common())}
        takes = [Take(t.register, t.data, tuple(sorted(t.rest, key=order.__getitem__))) for t in takes]
        return self._tree(takes)

    def _tree(self, takes: Sequence[Take]) -> Region:
        below: dict[Condition, list[Take]] = {}
        own = [take for take in takes if not take.rest]
        for take in takes:
            if take.rest:
                below.setdefault(take.rest[0], []).append(take)
        for condition, inner in list(below.items()):
            if self._cost(inner) <= _SMALL:
                own += below.pop(condition)
        # What is taken here by a select is stored whether it changes or not: no branch may take that register too.
        here = {take.register for take in own}
        own += [take for inner in below.values() for take in inner if take.register in here]
        branches: list[tuple[Condition, Region]] = []
        for condition, inner in below.items():
            left = [Take(t.register, t.data, t.rest[1:]) for t in inner if t.register not in here]
            if left:
                branches.append((condition, self._tree(left)))
        return Region(tuple(own), tuple(self._readers_first(branches)), bool(here & self._waking))

    def _cost(self, takes: Sequence[Take]) -> int:
        limbs = sum(-(-self.netlist.registers[take.register].width // 64) for take in takes)
        return len(self.graph.cone(take.data for take in takes)) + limbs

    def reads(self, condition: Condition, region: Region) -> set[int]:
        """The registers that a branch reads, its condition aside."""
        words = [word for take in region.takes for word in (take.data, *(bit for bit, _ in take.rest))]
        found = self.state_of(words)[0]
        for (bit, _), inner in region.branches:
            found |= self.state_of([bit])[0] | self.reads(condition, inner)
        return found

    def writes(self, region: Region) -> set[int]:
        found = {take.register for take in region.takes}
        return found.union(*(self.writes(inner) for _, inner in region.branches))

    def _readers_first(self, branches: Sequence[tuple[Condition, Region]]) -> list[tuple[Condition, Region]]:
        """Each branch before those that write what it reads, as far as that goes without a circle."""
        reads = [self.reads(*branch) for branch in branches]
        writes = [self.writes(region) for _, region in branches]
        left = list(range(len(branches)))
        order: list[int] = []
        while left:
            free = (
                one for one in left if not any(reads[other] & writes[one] for other in left if other != one)
            )
            order.append(next(free, left[0]))
            left.remove(order[-1])
        return [branches[index] for index in order]

    def _ways(self, index: int) -> list[Take]:
        """What a register takes, and when; nothing where it holds."""
        register = self.netlist.registers[index]
        held = Word.value(register.output, register.width)
        work: list[tuple[Path, Word]] = [((), register.data)]
        found: list[Take] = []
        while work:
            path, word = work.pop()
            arms = self._arms(word) if len(path) < _DEPTH else None
            if arms is None:
                if word != held:
                    found.append(Take(index, word, path))
                continue
            bit, low, high = arms
            work += self._met(path, (bit, False), low, low == held)
            work += self._met(path, (bit, True), high, high == held)
        return found if len(found) <= _WAYS else [Take(index, register.data, ())]

    def _met(self, path: Path, condition: Condition, word: Word, holds: bool) -> list[tuple[Path, Word]]:
        """The way on if a condition is met: a conjunction is met bit by bit."""
        return [] if holds else [((*path, *self._conjuncts(condition)), word)]

    def _conjuncts(self, condition: Condition) -> list[Condition]:
        """Conditions that are all met exactly if this one is; itself alone where there would be many."""
        work: list[Condition] = [condition]
        found: list[Condition] = []
        while work:
            if len(work) + len(found) > _DEPTH:  # there are at least so many
                return [condition]
            bit, level = work.pop()
            cell = self._whole(bit)
            if cell is not None and cell.kind in ("$not", "$logic_not") and cell.operands[0].width == 1:
                work.append((cell.operands[0], not level))
            elif cell is not None and _joins(cell, level) and all(word.width == 1 for word in cell.operands):
                work += [(word, level) for word in cell.operands]
            else:
                found.append((bit, level))
        return found

    def _whole(self, word: Word) -> Cell | None:
        """The cell whose whole output a word is."""
        if len(word.parts) == 1:
            for value in word.values():
                node = self.graph.makers.get(value, len(self.netlist.cells))
                if node < len(self.netlist.cells) and word.width == self.netlist.widths[value]:
                    return self.netlist.cells[node]
        return None

    def _arms(self, word: Word) -> tuple[Word, Word, Word] | None:
        """The select bit and the words for 0 and 1, if a word is the whole output of a two-way choice."""
        cell = self._whole(word)
        if cell is not None and cell.kind == "$mux":
            low, high, bit = cell.operands
            return bit, low, high
        if cell is not None and cell.kind == "case" and cell.operands[0].width == 1:
            patterns = cell.params["patterns"]
            assert isinstance(patterns, tuple)
            chosen = []
            for digit in "01":
                pairs = zip(patterns, cell.operands[1:], strict=False)
                fits = (choice for case, choice in pairs if {digit, "-"} & set(case))
                chosen.append(next(fits, cell.operands[-1]))
            return cell.operands[0], chosen[0], chosen[1]
        return None


def _joins(cell: Cell, level: bool) -> bool:
    """Whether a one-bit cell has this level exactly if both operands have it."""
    return cell.kind in (("$and", "$logic_and") if level else ("$or", "$logic_or"))


def commit(here: Resident, scope: Scope, divider: Splitter, region: Region) -> str:
    """Commit one region: everything it takes is computed first, then its branches run, then it is stored."""
    text = here.text
    stores = _takes(here, scope, region.takes)
    conditions = here.words([bit for (bit, _), _ in region.branches], scope)
    _preload(here, scope, divider, region)
    wakes = "1" if region.wakes else "0"
    for name, ((_, level), inner) in zip(conditions, region.branches, strict=True):
        inside, after, origin = text.name("in"), text.name("out"), text.here
        yes, no = (inside, after) if level else (after, inside)
        text.do(f"br i1 {name}, label %{yes}, label %{no}")
        text.block(inside)
        woken = commit(here, scope.child(), divider, inner)
        last = text.here
        text.do(f"br label %{after}")
        text.block(after)
        if woken != "0":
            woke = text.phi("i1", "0", origin)
            text.arm(woke, woken, last)
            wakes = text.op(f"or i1 {wakes}, {woke}")
    for offset, bits, name in stores:
        put(text, offset, bits, name)
    return wakes


def _preload(here: Resident, scope: Scope, divider: Splitter, region: Region) -> None:
    """Load what a branch reads after an earlier one has written it."""
    written: set[int] = set()
    for condition, inner in region.branches:
        late = divider.reads(condition, inner) & written
        registers = [here.program.netlist.registers[index] for index in sorted(late)]
        here.words([Word.value(register.output, register.width) for register in registers], scope)
        written |= divider.writes(inner)


def _takes(here: Resident, scope: Scope, takes: Sequence[Take]) -> list[tuple[int, int, str]]:
    """The stores (offset, bits, name) that a region owes, wide registers 64 bits at a time."""
    found: dict[tuple[int, int], tuple[int, int, str]] = {}
    here.emit(here.program.needs(w for t in takes for w in (t.data, *(bit for bit, _ in t.rest))), scope)
    for take in takes:
        register = here.program.netlist.registers[take.register]
        place = here.program.layout.registers[take.register]
        met = _met(scope, take)
        for low in range(0, register.width, 64) if not register.overrides else (0,):
            width = register.width if register.overrides else min(64, register.width - low)
            bits = place.bits if place.bits <= 64 or register.overrides else 64
            name = scope.resize(scope.word(take.data.cut(low, width)), width, bits)
            if met != "1":
                earlier = found.get((take.register, low))
                old = earlier[2] if earlier else _old(here, scope, register, low, width, bits)
                name = scope.text.select(met, f"i{bits}", name, old)
            found[take.register, low] = (place.offset + low // 8, bits, name)
    return [_forced(here, scope, *item) for item in found.items()]


def _old(here: Resident, scope: Scope, register: Register, low: int, width: int, bits: int) -> str:
    word = Word.value(register.output, register.width).cut(low, width)
    return scope.resize(here.words([word], scope)[0], width, bits)


def _forced(
    here: Resident, scope: Scope, key: tuple[int, int], store: tuple[int, int, str]
) -> tuple[int, int, str]:
    """The store as the register's overrides make it."""
    register = here.program.netlist.registers[key[0]]
    offset, bits, name = store
    if register.overrides:
        here.words(register.forcing, scope)
        name = here.forced(key[0], scope.resize(name, bits, register.width), scope)
        name = scope.resize(name, register.width, bits)
    return offset, bits, name


def _met(scope: Scope, take: Take) -> str:
    met = "1"
    for bit, level in take.rest:
        name = scope.word(bit)
        if not level:
            name = scope.text.op(f"xor i1 {name}, 1")
        met = name if met == "1" else scope.text.op(f"and i1 {met}, {name}")
    return met
