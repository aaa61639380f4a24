"""Checks that a netlist does not contradict itself, and prints one as text."""

from __future__ import annotations

from collections.abc import Iterator

from .errors import NetlistError
from .kinds import PORTS
from .netlist import Cell, Netlist, Slice, Word


def words(netlist: Netlist) -> Iterator[tuple[Word, str]]:
    """Every word that something reads, with where it is read."""
    for cell in netlist.cells:
        for word in cell.operands:
            yield word, f"cell {cell.kind} of value {cell.output}"
    for register in netlist.registers:
        place = f"register {register.name or register.output}"
        yield from ((word, place) for word in register.words)
    for memory in netlist.memories:
        for port in memory.writes:
            place = f"a write port of memory {memory.name}"
            yield from ((word, place) for word in port.words)
    for name, word in netlist.outputs.items():
        yield word, f"output {name}"
    for name, word in netlist.names.items():
        yield word, f"name {name}"


def validate(netlist: Netlist) -> None:
    """Raise NetlistError unless every value has one driver and every width fits."""
    drivers: dict[int, str] = {}

    def drive(value: int, what: str) -> None:
        if not 0 <= value < len(netlist.widths):
            raise NetlistError(f"{what} drives value {value}, which does not exist", place=netlist.name)
        if value in drivers:
            raise NetlistError(
                f"value {value} has two drivers: {drivers[value]} and {what}", place=netlist.name
            )
        drivers[value] = what

    for name, value in netlist.inputs.items():
        drive(value, f"input {name}")
    for cell in netlist.cells:
        drive(cell.output, f"cell {cell.kind}")
        _check_cell(netlist, cell)
    for register in netlist.registers:
        drive(register.output, f"register {register.name or register.output}")
    _check_state(netlist)
    for word, place in words(netlist):
        for part in word.parts:
            if isinstance(part, Slice):
                if part.value not in drivers:
                    raise NetlistError(
                        f"{place} reads value {part.value}, which nothing drives", place=netlist.name
                    )
                if part.low < 0 or part.low + part.width > netlist.widths[part.value]:
                    raise NetlistError(
                        f"{place} reads {part} of a value of {netlist.widths[part.value]} bits"
                    )


def _check_cell(netlist: Netlist, cell: Cell) -> None:
    if cell.kind in PORTS:
        fits = len(cell.operands) == len(PORTS[cell.kind])
    elif cell.kind == "case":
        patterns = cell.params["patterns"]
        assert isinstance(patterns, tuple)
        width = netlist.widths[cell.output]
        fits = len(cell.operands) == len(patterns) + 2 and all(w.width == width for w in cell.operands[1:])
        fits = fits and all(len(p) == cell.operands[0].width for case in patterns for p in case)
    elif cell.kind == "read":
        fits = len(cell.operands) == 1 and 0 <= cell.int_param("memory", -1) < len(netlist.memories)
    else:
        raise NetlistError(f"cell kind {cell.kind} is not known", place=cell.src)
    if not fits:
        raise NetlistError(
            f"cell {cell.kind} of value {cell.output}: its operands do not fit", place=cell.src
        )


def _check_state(netlist: Netlist) -> None:
    for register in netlist.registers:
        width = netlist.widths[register.output]
        sized = [register.data, *register.forcing]
        if register.clock is None:
            sized = sized[1:]
        wrong = any(word.width != width for word in sized) or register.width != width
        if (
            wrong
            or (register.clock is not None and register.clock.width != 1)
            or register.init.width != width
        ):
            raise NetlistError(
                f"register {register.name or register.output}: widths do not fit", place=register.src
            )
    for memory in netlist.memories:
        rows = all(row.width == memory.width for row in memory.init) and len(memory.init) == memory.size
        ports = all(p.data.width == memory.width == p.enable.width for p in memory.writes)
        if not rows or not ports:
            raise NetlistError(f"memory {memory.name}: widths do not fit", place=memory.src)


def render(netlist: Netlist) -> str:
    """The one textual form: a line a thing, in the order of the record."""
    lines = [f"netlist {netlist.name}"]
    lines += [f"input {n} v{v}:{netlist.widths[v]}" for n, v in netlist.inputs.items()]
    for cell in netlist.cells:
        params = "".join(f" {k}={v}" for k, v in sorted(cell.params.items()))
        operands = " ".join(map(str, cell.operands))
        lines.append(f"v{cell.output}:{netlist.widths[cell.output]} = {cell.kind} {operands}{params}")
    for register in netlist.registers:
        clock = (
            "latch" if register.clock is None else f"{'rise' if register.rising else 'fall'} {register.clock}"
        )
        overrides = "".join(f" while {o.mask} {o.value}" for o in register.overrides)
        data = "" if register.clock is None else f" takes {register.data}"
        lines.append(
            f"v{register.output}:{register.width} = register {register.name} {clock}{data}{overrides}"
            f" init {register.init}"
        )
    for number, memory in enumerate(netlist.memories):
        lines.append(f"memory {number} {memory.name} {memory.size}x{memory.width} from {memory.offset}")
        for port in memory.writes:
            clock = "always" if port.clock is None else f"{'rise' if port.rising else 'fall'} {port.clock}"
            lines.append(f"  write {clock} at {port.address} data {port.data} enable {port.enable}")
        rows = [
            f"  row {i} {row}"
            for i, row in enumerate(memory.init)
            if row.bits or row.undefined != (1 << row.width) - 1
        ]
        lines += rows
    lines += [f"output {n} {w}" for n, w in netlist.outputs.items()]
    return "\n".join(lines) + "\n"
