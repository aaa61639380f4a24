"""Which clocks of a netlist are input lines, straight or through inverters."""

from __future__ import annotations

from ..netlist import Netlist, Slice, Word

#: (value, bit) of an input.
Source = tuple[int, int]


def clock_lines(netlist: Netlist) -> frozenset[Source]:
    """Every input line that clocks something itself, or through inverters and buffers alone."""
    return frozenset(source for source, _ in clock_sources(netlist).values())


def clock_sources(netlist: Netlist) -> dict[Word, tuple[Source, bool]]:
    """For each clock that is an input line, or one behind inverters and buffers: the line, and whether inverted."""
    inputs = set(netlist.inputs.values())
    makers = {cell.output: cell for cell in netlist.cells if cell.kind in ("$not", "$buf", "$pos")}
    words = [register.clock for register in netlist.registers]
    words += [port.clock for memory in netlist.memories for port in memory.writes]
    found: dict[Word, tuple[Source, bool]] = {}
    for word in words:
        at, inverted, passed = word, False, set()
        while at is not None and isinstance(part := at.parts[0], Slice):
            maker = makers.get(part.value)
            if part.value in inputs:
                assert word is not None
                found[word] = (part.value, part.low), inverted
            if maker is None or part in passed or maker.operands[0].width <= part.low:
                break
            passed.add(part)
            inverted ^= maker.kind == "$not"
            at = maker.operands[0].bit(part.low)
    return found
