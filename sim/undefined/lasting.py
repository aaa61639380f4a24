"""What is open whatever happens, and what is open but never shown, both seen in a netlist before a run."""

from __future__ import annotations

from collections import Counter

from ..netlist import Const, Netlist, Slice, Word

#: Cells of which one undefined bit of an operand leaves all of the output open (IEEE 1364-2005, 5.1.5 to 5.1.12); of a
#: shift or a select the second operand alone.
_RECKONED = frozenset(
    {"$add", "$sub", "$mul", "$div", "$mod", "$divfloor", "$modfloor", "$pow", "$neg", "$alu"}
    | {"$lt", "$le", "$eq", "$ne", "$ge", "$gt"}
)
_MOVED = frozenset(("$shl", "$shr", "$sshl", "$sshr", "$shift", "$shiftx", "$bmux"))


def lost_for_good(netlist: Netlist) -> set[int]:
    """Values that are open whatever happens, as they are reckoned with x or with one another."""
    lost: set[int] = set()

    def touches(word: Word) -> bool:
        return is_undefined(word) or not lost.isdisjoint(word.values())

    while True:
        before = len(lost)
        for cell in netlist.cells:
            words = cell.operands
            asked = words if cell.kind in _RECKONED | {"read"} else words[1:2] if cell.kind in _MOVED else ()
            if any(map(touches, asked)):
                lost.add(cell.output)
        if len(lost) == before:
            return lost


def is_undefined(word: Word) -> bool:
    return any(isinstance(part, Const) and part.undefined for part in word.parts)


def guarded(netlist: Netlist) -> set[int]:
    """Quotients and remainders that are read only where the divisor is not 0, as Amaranth writes them."""
    divisors = {
        cell.output: cell.operands[1]
        for cell in netlist.cells
        if cell.kind in ("$div", "$mod", "$divfloor", "$modfloor")
    }
    if not divisors:
        return set()
    tests = {cell.output: cell.operands[0] for cell in netlist.cells if cell.kind == "$reduce_bool"}
    reads: Counter[int] = Counter()
    behind: Counter[int] = Counter()
    for cell in netlist.cells:
        for word in cell.operands:
            reads.update(set(word.values()) & divisors.keys())
        if cell.kind != "$mux" or cell.operands[1].parts[1:]:
            continue
        select = cell.operands[2].parts[0]
        for value in cell.operands[1].values():
            tested = tests.get(select.value) if isinstance(select, Slice) else None
            behind[value] += value in divisors and tested == divisors[value]
    for register in netlist.registers:
        for word in register.words:
            reads.update(word.values())
    for memory in netlist.memories:
        for port in memory.writes:
            for word in port.words:
                reads.update(word.values())
    for word in netlist.outputs.values():
        reads.update(word.values())
    return {value for value in divisors if reads[value] == behind[value]}
