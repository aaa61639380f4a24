"""RTLIL cells in their instances, and word-level operators to the cells of the netlist record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ..errors import RtlilError, UnsupportedError
from ..kinds import PORTS
from ..netlist import Param
from .nets import Nets
from .records import Bits, CellText, digits, public, unquote


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
class Offset:
    """Where a cell stands: the bits to add to its module's numbers, the path before its name, its module's source."""

    shift: int
    path: str
    src: str = ""

    def bits(self, bits: Bits) -> Bits:
        """A module's bits as the bits of this instance."""
        shift = self.shift
        return tuple([b + shift if b > 3 else b for b in bits]) if shift else bits


class PlacedCell:
    """One RTLIL cell in its instance: checked access to its connections and parameters."""

    def __init__(self, cell: CellText, scope: Offset) -> None:
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
        return self.src or self.scope.src or f"RTLIL line {self.cell.line}"

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
#: Cells that say nothing about values; left out with a warning.
SKIPPED = ("$print", "$check", "$assert", "$assume", "$live", "$fair", "$cover")
#: `$alu`, `$fa` and `$lcu` have several outputs and are lowered in `adders.py`.
OPERATORS = frozenset(PORTS) - {"$alu", "$fa", "$lcu"}


def _widths(site: PlacedCell) -> dict[str, int]:
    """How wide each port of an operator is by its parameters."""
    if "A_WIDTH" in site.cell.params:
        return {name: site.number(f"{name}_WIDTH") for name in ("A", "B", "Y") if name in site.cell.ports}
    word, choices = site.number("WIDTH"), site.number("S_WIDTH", 1)
    return {
        "$mux": {"A": word, "B": word, "S": 1, "Y": word},
        "$pmux": {"A": word, "B": word * choices, "S": choices, "Y": word},
        "$bwmux": {"A": word, "B": word, "S": word, "Y": word},
        "$bmux": {"A": word << choices, "S": choices, "Y": word},
        "$demux": {"A": word, "S": choices, "Y": word << choices},
        "$tribuf": {"A": word, "EN": 1, "Y": word},
        "$buf": {"A": word, "Y": word},
    }.get(site.kind, {"A": word, "Y": 1})


def lower_operator(design: Design, site: PlacedCell) -> None:
    """A word-level operator becomes one cell; its parameters are kept but for widths, which its words have."""
    widths = _widths(site)
    operands = tuple([site.port(name, widths.get(name)) for name in PORTS[site.kind]])
    table = "DEPTH" in site.cell.params  # of a `$sop`, whose rows are WIDTH pairs wide
    kept = [n for n in site.cell.params if table or not n.endswith("WIDTH")]
    params: dict[str, Param] = {name: site.number(name) for name in kept}
    target = site.port("Y", widths["Y"])
    out = design.emit(site.kind, operands, len(target), params, name=site.title, src=site.src)
    design.nets.connect(target, out)
