"""RTLIL cells and processes to the cells of the netlist record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from .errors import RtlilError, UnsupportedError
from .netlist import PORTS, Param
from .nets import Nets
from .rtlil_records import (
    UNDEFINED,
    Assign,
    Bits,
    Case,
    CellText,
    ProcessText,
    Switch,
    digits,
    public,
    unquote,
)


@dataclass(slots=True)
class PendingCell:
    """A cell whose operands are not yet settled; `value` is its number."""

    kind: str
    value: int
    operands: tuple[Bits, ...]
    params: Mapping[str, Param]
    src: str


@dataclass(slots=True)
class PendingRegister:
    """A register before settling; overrides are pairs of mask and value."""

    value: int
    width: int
    clock: Bits | None
    rising: bool
    data: Bits
    overrides: tuple[tuple[Bits, Bits], ...]
    name: str
    src: str
    init: Bits | None = None
    q: Bits = ()  # the wires that it is written to drive


@dataclass(slots=True)
class Scope:
    """Where a cell stands: the bits to add to its module's numbers, and the path before its name."""

    shift: int
    path: str

    def bits(self, bits: Bits) -> Bits:
        """A module's bits as the bits of this instance."""
        shift = self.shift
        return tuple([b + shift if b > 3 else b for b in bits]) if shift else bits


class Site:
    """One RTLIL cell in its instance: checked access to its connections and parameters."""

    def __init__(self, cell: CellText, scope: Scope) -> None:
        self.cell = cell
        self.scope = scope
        self.kind = cell.kind
        self.name = scope.path + public(cell.name)
        self.src = cell.src

    @property
    def title(self) -> str:
        """What to call it in an error."""
        return f"cell {self.kind} {self.name}"

    @property
    def place(self) -> str:
        return self.src or f"RTLIL line {self.cell.line}"

    def port(self, name: str, width: int | None = None) -> Bits:
        """The bits that port `name` is connected to, which must exist and have `width` bits."""
        found = self.cell.ports.get(name)
        if found is None:
            raise RtlilError(f"{self.title} has no port {name}", place=self.place)
        if width is not None and len(found) != width:
            raise RtlilError(
                f"{self.title} has {len(found)} bits on port {name}, not {width}",
                place=self.place,
            )
        return self.scope.bits(found)

    def number(self, name: str, default: int | None = None) -> int:
        """A parameter as a number; undefined bits count as 0."""
        text = self.cell.params.get(name)
        if text is None:
            if default is None:
                raise RtlilError(f"{self.title} has no parameter {name}", place=self.place)
            return default
        if text.isdigit():
            return int(text)
        if text.startswith("-"):
            return int(text)
        shown = digits(text)
        return int("0" + shown.translate(_AS_ZERO), 2)

    def text(self, name: str) -> str:
        """A parameter that is a string."""
        found = self.cell.params.get(name, "")
        if not found.startswith('"'):
            raise RtlilError(f"{self.title}: parameter {name} is not a string", place=self.place)
        return unquote(found)

    def flags(self, name: str, count: int) -> str:
        """A parameter as `count` digits, lowest first."""
        shown = digits(self.cell.params.get(name, "0"))[::-1]
        return (shown + "0" * count)[:count]

    def refuse(self, remedy: str) -> UnsupportedError:
        return UnsupportedError(f"{self.title} is not supported", place=self.place, remedy=remedy)


_AS_ZERO = str.maketrans("xzm-", "0000")


class Design:
    """The netlist under construction: nets, and the cells and registers found so far."""

    def __init__(self, nets: Nets) -> None:
        self.nets = nets
        self.cells: list[PendingCell] = []
        self.registers: list[PendingRegister] = []

    def emit(
        self,
        kind: str,
        operands: tuple[Bits, ...],
        width: int,
        params: Mapping[str, Param] | None = None,
        *,
        name: str = "",
        src: str = "",
    ) -> Bits:
        """A new cell; returns the bits of its output."""
        number, bits = self.nets.value(width, name or f"cell {kind}", src)
        self.cells.append(PendingCell(kind, number, operands, params or {}, src))
        return bits

    def invert(self, bits: Bits, src: str) -> Bits:
        return self.emit("$not", (bits,), len(bits), _UNSIGNED, src=src)

    def choose(self, select: Bits, low: Bits, high: Bits, src: str) -> Bits:
        """`high` where the one bit `select` is 1, else `low`."""
        return self.emit("$mux", (low, high, select), len(low), src=src)


_UNSIGNED: Mapping[str, Param] = {"A_SIGNED": 0}
#: Operand widths that parameters repeat; the words say them already.
_WIDTHS = {"A": "A_WIDTH", "B": "B_WIDTH"}
#: Cells that say nothing about values; left out with a warning.
SKIPPED = ("$print", "$check", "$assert", "$assume", "$live", "$fair", "$cover")
#: `$alu`, `$fa` and `$lcu` have several outputs and are lowered in `adders.py`.
OPERATORS = frozenset(PORTS) - {"$alu", "$fa", "$lcu"}


def lower_operator(design: Design, site: Site) -> None:
    """A word-level operator becomes one cell."""
    cell = site.cell
    operands = tuple([site.port(name) for name in PORTS[cell.kind]])
    for name in PORTS[cell.kind]:
        if name in _WIDTHS and _WIDTHS[name] in cell.params:
            site.port(name, site.number(_WIDTHS[name]))
    params: dict[str, Param] = {n: site.number(n) for n in cell.params if not n.endswith("WIDTH")}
    target = site.port("Y")
    out = design.emit(cell.kind, operands, len(target), params, name=site.title, src=site.src)
    design.nets.connect(target, out)


@dataclass(slots=True)
class OpenCase:
    """A case of a switch that is being read, and what its body assigns: target bit to source bit."""

    patterns: tuple[str, ...]
    default: bool
    change: dict[int, int] = field(default_factory=dict)


@dataclass(slots=True)
class OpenSwitch:
    """A switch that is being read."""

    selector: Bits
    src: str
    cases: list[OpenCase] = field(default_factory=list)


class Assignments:
    """What each target bit is at this place of a process, and how to take back what an open body assigns."""

    def __init__(self) -> None:
        self.now: dict[int, int] = {}
        self._before: list[dict[int, int | None]] = [{}]

    def assign(self, target: int, source: int) -> None:
        before = self._before[-1]
        if target not in before:
            before[target] = self.now.get(target)
        self.now[target] = source

    def enter(self) -> None:
        self._before.append({})

    def leave(self) -> dict[int, int]:
        """What the innermost body has assigned, which is taken back."""
        before = self._before.pop()
        change = {target: self.now[target] for target in before}
        for target, source in before.items():
            if source is None:
                del self.now[target]
            else:
                self.now[target] = source
        return change


def lower_process(design: Design, process: ProcessText, scope: Scope) -> None:
    """A combinational process becomes one `case` cell a switch, over the bits on which its cases differ.

    Signals are read as nets, never as what the process has assigned so far.
    """
    assignments = Assignments()
    switches: list[OpenSwitch] = []
    for step in process.steps:
        if isinstance(step, Assign):
            for target, source in zip(scope.bits(step.target), scope.bits(step.source), strict=True):
                assignments.assign(target, source)
        elif isinstance(step, Switch):
            switches.append(OpenSwitch(scope.bits(step.selector), step.src))
        else:
            switch = switches[-1]
            if switch.cases:
                switch.cases[-1].change = assignments.leave()
            if isinstance(step, Case):
                switch.cases.append(_case(process, switch, step))
                assignments.enter()
            else:
                merge(design, process, switches.pop(), assignments)
    design.nets.connect(tuple(assignments.now), tuple(assignments.now.values()))


def _case(process: ProcessText, switch: OpenSwitch, case: Case) -> OpenCase:
    if any(len(pattern) != len(switch.selector) for pattern in case.patterns):
        raise RtlilError(
            f"process {process.name}: case {', '.join(case.patterns)} of a switch over {len(switch.selector)} bits",
            place=switch.src,
            remedy="patterns are as wide as what they are compared with",
        )
    return OpenCase(case.patterns, case.default)


def merge(design: Design, process: ProcessText, switch: OpenSwitch, assignments: Assignments) -> None:
    """Close a switch: what its cases assigned becomes an assignment of the body around it."""
    cases: list[OpenCase] = []
    default: dict[int, int] = {}
    for case in switch.cases:
        if case.default or "" in case.patterns:
            default = case.change
            break  # nothing comes past it
        if case.patterns:
            cases.append(case)
    columns: dict[int, list[int]] = {}  # of each target, its source in every case
    for target in sorted({target for case in cases for target in case.change} | set(default)):
        before = assignments.now.get(target, UNDEFINED)
        column = [case.change.get(target, before) for case in cases]
        column.append(default.get(target, before))
        if any(source != column[0] for source in column):
            columns[target] = column
        else:
            assignments.assign(target, column[0])
    if not columns:
        return
    operands = (switch.selector, *zip(*columns.values(), strict=True))
    params: dict[str, Param] = {"patterns": tuple(case.patterns for case in cases)}
    name = f"process {process.name}"
    out = design.emit("case", operands, len(columns), params, name=name, src=switch.src)
    for target, source in zip(columns, out, strict=True):
        assignments.assign(target, source)
