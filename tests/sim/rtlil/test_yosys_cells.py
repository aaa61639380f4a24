"""Yosys' gates, flip-flops, latches and memories against Yosys' own Verilog models of them under Icarus Verilog.

The models are `simcells.v` and `simlib.v` of the installed pyosys; the cells under test are all that `simcells.v` has.
Inputs come in pairs, plain and inverted, so that cells of both polarities act at the same instants. Only one input
changes at a time, and two things are left out that the models' event lists miss: a clear that ends while a set goes
on, and load data that changes while it is being loaded.
"""

from __future__ import annotations

import importlib.util
import random
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from forelight.sim.reference import Reference
from forelight.sim.rtlil.reader import parse

from tests.sizes import sized

from ..icarus import needs_icarus, run

_SPEC = importlib.util.find_spec("pyosys")
assert _SPEC is not None and _SPEC.origin is not None
SHARE = Path(_SPEC.origin).parent / "share"
SEED = 20
STEPS = sized(300, 1500)


@dataclass
class Cell:
    """One cell under test; `pins` maps a port to a signal, or for RTLIL alone to a concatenation."""

    kind: str
    pins: dict[str, str]
    output: str
    width: int = 1
    params: dict[str, str] = field(default_factory=dict)


@dataclass
class Bench:
    """Inputs by name and width, and the cells that they drive."""

    inputs: dict[str, int]
    cells: list[Cell]

    def rtlil(self) -> str:
        lines = ["module \\bench"]
        for number, (name, width) in enumerate(self.inputs.items()):
            lines.append(f"  wire width {width} input {number} \\{name}")
        for number, cell in enumerate(self.cells):
            lines.append(f"  wire width {cell.width} output {number + len(self.inputs)} \\o{number}")
            lines.append(f"  cell {cell.kind} $c{number}")
            lines += [f"    parameter \\{name} {value}" for name, value in cell.params.items()]
            lines += [f"    connect \\{port} {_rtlil(signal)}" for port, signal in cell.pins.items()]
            lines += [f"    connect \\{cell.output} \\o{number}", "  end"]
        return "\n".join([*lines, "end"])

    def verilog(self, rows: list[dict[str, int]]) -> str:
        lines = ["module bench;"]
        lines += [f"  reg [{width - 1}:0] {name};" for name, width in self.inputs.items()]
        for number, cell in enumerate(self.cells):
            params = ", ".join(f".{name}({_verilog(value)})" for name, value in cell.params.items())
            pins = ", ".join(f".{port}({signal})" for port, signal in cell.pins.items())
            lines.append(f"  wire [{cell.width - 1}:0] o{number};")
            head = f"\\{cell.kind} #({params})" if params else f"\\{cell.kind} "
            lines.append(f"  {head} c{number} ({pins}, .{cell.output}(o{number}));")
        shown = ", ".join(f"o{number}" for number in reversed(range(len(self.cells))))
        lines.append("  initial begin")
        before: dict[str, int] = {}
        for row in rows:
            changes = " ".join(
                f"{name} = {value};" for name, value in row.items() if before.get(name) != value
            )
            lines.append(f'    {changes} #1 $display("%b", {{{shown}}});')
            before = row
        return "\n".join([*lines, "  end", "endmodule"])

    def compare(self, rows: list[dict[str, int]], folder: Path) -> tuple[int, int]:
        """Bits compared and bits that Icarus does not know; fails at the first that differs."""
        source = folder / "bench.v"
        source.write_text(self.verilog(rows))
        printed = run([SHARE / "simcells.v", SHARE / "simlib.v", source], "bench", folder).split()
        assert len(printed) == len(rows)
        ours = Reference(parse(self.rtlil()), "init")
        compared = unknown = 0
        for number, (row, theirs) in enumerate(zip(rows, printed, strict=True)):
            for name, value in row.items():
                ours.set(name, value)
            ours.settle()
            end = len(theirs)
            for index, cell in enumerate(self.cells):
                bits, end = theirs[end - cell.width : end], end - cell.width
                mine = f"{ours.get(f'o{index}'):0{cell.width}b}"
                for expected, found in zip(bits, mine, strict=True):
                    known = expected in "01"
                    compared, unknown = compared + known, unknown + (not known)
                    assert not known or expected == found, f"row {number}: {cell.kind} {bits} {mine} at {row}"
        return compared, unknown


def _rtlil(signal: str) -> str:
    return signal if signal.startswith("{") else f"\\{signal}"


def _verilog(value: str) -> str:
    return re.sub(r"^(\d+)'", r"\1'b", value)


def _pairs(row: dict[str, int], widths: dict[str, int]) -> dict[str, int]:
    """A row with the inverted partner `<name>n` of each input."""
    inverted = {f"{name}n": value ^ ((1 << widths[name]) - 1) for name, value in row.items()}
    return row | inverted


def walk(seed: int, widths: dict[str, int], steps: int) -> Iterator[dict[str, int]]:
    """A random walk: one input changes a step, within what the models can follow."""
    print(f"seed {seed}")
    chance = random.Random(seed)
    row = dict.fromkeys(widths, 0)
    yield _pairs(row, widths)
    for _ in range(steps):
        name = chance.choice(list(widths))
        value = chance.getrandbits(widths[name])
        ends_clear = name == "r" and row.get("s", 0) & row["r"] & ~value
        reloads = name == "a" and row.get("l", 0)
        if not ends_clear and not reloads:
            row = row | {name: value}
        yield _pairs(row, widths)


def gate_cells() -> list[Cell]:
    """Every cell of simcells.v but the one for formal proofs; letters of its name say which pins are inverted."""
    cells = []
    for kind, ports in re.findall(
        r"^module \\(\$_\w+) \(([^)]*)\);", (SHARE / "simcells.v").read_text(), re.M
    ):
        parts = re.fullmatch(r"\$_([A-Z0-9]+)_(?:([NP01]+)_)?", kind)
        assert parts is not None
        family, letters = parts.groups()
        names = ports.replace(" ", "").split(",")
        if family == "FF":
            continue
        if letters is None:
            gates = {"A": "d", "B": "a", "C": "e", "D": "r", "E": "e", "S": "s", "T": "l", "U": "c", "V": "r"}
            spare = iter("daerslc" * 3)
            pins = {p: gates[p] if len(names) < 8 else next(spare) for p in names if p != "Y"}
            cells.append(Cell(kind, pins, "Y"))
            continue
        signals = {"C": "c", "E": "e", "R": "r", "S": "s", "L": "l", "D": "d", "AD": "a"}
        pins = {p: signals[p] for p in names if p != "Q"}
        polarities = [letter for letter in letters if letter in "NP"]
        controls = {
            "SR": "SR", "DFF": "CR", "DFFE": "CRE" if len(polarities) == 3 else "CE", "SDFF": "CR", "SDFFE": "CRE",
            "SDFFCE": "CRE", "ALDFF": "CL", "ALDFFE": "CLE", "DFFSR": "CSR", "DFFSRE": "CSRE", "DLATCH": "ER",
            "DLATCHSR": "ESR",
        }[family]  # fmt: skip
        for port, letter in zip(controls, polarities, strict=False):
            pins[port] += "n" if letter == "N" else ""
        cells.append(Cell(kind, pins, "Q"))
    return cells


@needs_icarus
def test_every_gate_and_one_bit_register(tmp_path: Path) -> None:
    widths = dict.fromkeys("cersdal", 1)
    cells = gate_cells()
    assert len(cells) == (SHARE / "simcells.v").read_text().count("endmodule") - 1
    bench = Bench(widths | {f"{name}n": 1 for name in widths}, cells)
    compared, unknown = bench.compare(list(walk(SEED, widths, STEPS)), tmp_path)
    print(f"{len(cells)} cells, {compared} bits compared, {unknown} unknown")
    assert compared > 9 * unknown


def word_registers() -> list[Cell]:
    kinds = {
        "$dff": "CLK D", "$dffe": "CLK EN D", "$adff": "CLK ARST D", "$adffe": "CLK ARST EN D",
        "$sdff": "CLK SRST D", "$sdffe": "CLK SRST EN D", "$sdffce": "CLK SRST EN D", "$aldff": "CLK ALOAD AD D",
        "$aldffe": "CLK ALOAD AD EN D", "$dffsr": "CLK SET CLR D", "$dffsre": "CLK SET CLR EN D", "$dlatch": "EN D",
        "$adlatch": "EN ARST D", "$dlatchsr": "EN SET CLR D", "$sr": "SET CLR",
    }  # fmt: skip
    signals = {
        "CLK": "c",
        "D": "d",
        "EN": "e",
        "ARST": "t",
        "SRST": "t",
        "ALOAD": "l",
        "AD": "a",
        "SET": "s",
        "CLR": "r",
    }
    cells = []
    for kind, ports in kinds.items():
        for low in (False, True):
            pins = {port: signals[port] for port in ports.split()}
            params = {"WIDTH": "3"}
            for port in set(pins) - {"D", "AD"}:
                pins[port] += "n" if low else ""
                params[f"{port}_POLARITY"] = "1'0" if low else "1'1"
            params |= {f"{port}_VALUE": "3'101" for port in ("ARST", "SRST") if port in pins}
            cells.append(Cell(kind, pins, "Q", 3, params))
    return cells


@needs_icarus
def test_every_word_register(tmp_path: Path) -> None:
    widths = {"c": 1, "e": 1, "t": 1, "l": 1, "d": 3, "a": 3, "s": 3, "r": 3}
    bench = Bench(widths | {f"{name}n": width for name, width in widths.items()}, word_registers())
    compared, unknown = bench.compare(list(walk(SEED, widths, STEPS)), tmp_path)
    print(f"{compared} bits compared, {unknown} unknown")
    assert compared > 9 * unknown


#: Inputs for the cells below.
SUM_WIDTHS = {"a": 4, "b": 6, "p": 6, "i": 1, "j": 1, "m": 24, "k": 2, "g": 7, "v": 12}


def adders(signed: str) -> list[Cell]:
    """Cells with several outputs, and those that only rename or compare bits; `signed` has a digit for A and for B."""
    pins = {"A": "a", "B": "b", "CI": "i", "BI": "j"}
    params = {"A_SIGNED": signed[0], "B_SIGNED": signed[1], "A_WIDTH": "4", "B_WIDTH": "6", "Y_WIDTH": "6"}
    cells = [Cell("$alu", pins, output, 6, params) for output in ("X", "Y", "CO")]
    cells.append(Cell("$lcu", {"P": "p", "G": "b", "CI": "i"}, "CO", 6, {"WIDTH": "6"}))
    cells += [
        Cell("$fa", {"A": "b", "B": "p", "C": "bn"}, output, 6, {"WIDTH": "6"}) for output in ("X", "Y")
    ]
    cells.append(Cell("$slice", {"A": "b"}, "Y", 3, {"OFFSET": "2", "A_WIDTH": "6", "Y_WIDTH": "3"}))
    cells.append(Cell("$concat", {"A": "a", "B": "b"}, "Y", 10, {"A_WIDTH": "4", "B_WIDTH": "6"}))
    cells.append(Cell("$bweqx", {"A": "b", "B": "p"}, "Y", 6, {"WIDTH": "6"}))
    cells.append(Cell("$barrier", {"A": "b"}, "Y", 6, {"WIDTH": "6"}))
    return cells


def sums(signed: str) -> list[Cell]:
    """Two products, one of them taken away, and two numbers likewise; sums narrower and wider than their terms."""
    one, two = signed[0], signed[1]
    # From the low end: signed, negated, length of the first factor, of the second (3 digits each).
    terms = [(one, "0", 4, 6), (two, "1", 5, 0), (two, "1", 3, 6)]
    low_first = "1100" + "".join(
        s + negated + f"{first:03b}"[::-1] + f"{second:03b}"[::-1] for s, negated, first, second in terms
    )
    macc = {"CONFIG_WIDTH": f"{len(low_first)}", "CONFIG": f"{len(low_first)}'{low_first[::-1]}"}
    macc |= {"A_WIDTH": "24", "B_WIDTH": "2"}
    packed = {"A_WIDTHS": (4, 3), "B_WIDTHS": (6, 6), "C_WIDTHS": (5, 7)}
    later = {name: "32'" + "".join(f"{w:016b}" for w in reversed(widths)) for name, widths in packed.items()}
    later |= {"NPRODUCTS": "2", "NADDENDS": "2", "PRODUCT_NEGATED": "2'10", "ADDEND_NEGATED": "2'10"}
    later |= dict.fromkeys(("A_SIGNED", "B_SIGNED"), f"2'{signed}") | {"C_SIGNED": f"2'{two}{one}"}
    return [
        cell
        for width in (3, 9, 20)
        for cell in (
            Cell("$macc", {"A": "m", "B": "k"}, "Y", width, {**macc, "Y_WIDTH": f"{width}"}),
            Cell("$macc_v2", {"A": "g", "B": "v", "C": "vn"}, "Y", width, {**later, "Y_WIDTH": f"{width}"}),
        )
    ]


@needs_icarus
@pytest.mark.parametrize("signed", sized(["01"], ["00", "01", "10", "11"]))
def test_adders_sums_and_renamings(tmp_path: Path, signed: str) -> None:
    inputs = SUM_WIDTHS | {f"{name}n": width for name, width in SUM_WIDTHS.items()}
    bench = Bench(inputs, [*adders(signed), *sums(signed)])
    compared, unknown = bench.compare(list(walk(SEED, SUM_WIDTHS, 500)), tmp_path)
    print(f"{compared} bits compared, {unknown} unknown")
    assert unknown == 0 and compared > 60000
