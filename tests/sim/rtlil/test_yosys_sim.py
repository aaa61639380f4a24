"""Every kind of cell against Yosys' own simulator (`sim`), and which kinds that simulator leaves to other judges.

The kinds are those of Yosys' cell library reference (`simlib.v` and `simcells.v` of the installed pyosys).
"""

from __future__ import annotations

import json
import random
import re
import subprocess
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from forelight.sim.kinds import PORTS
from forelight.sim.reference import Reference
from forelight.sim.rtlil.reader import parse
from vcdvcd import VCDVCD

from tests.sizes import sized

from ..test_evaluate import one_cell
from .test_memories import MEMORY
from .test_memories import WIDTHS as MEMORY_WIDTHS
from .test_yosys_cells import (
    SEED,
    SHARE,
    SUM_WIDTHS,
    Bench,
    Cell,
    adders,
    gate_cells,
    sums,
    walk,
    word_registers,
)

STEPS = sized(150, 400)
#: What neither `sim` of Yosys 0.70 evaluates nor a pass before it turns into what it does. The library's own models
#: judge these under Icarus Verilog: test_yosys_cells.py, test_evaluate.py.
NOT_IN_SIM = {"$tribuf", "$barrier", "$_TBUF_", "$_MUX4_", "$_MUX8_", "$_MUX16_", "$_AOI4_", "$_OAI4_"}
#: What the library holds beside: for formal proofs, delays and text; and memories taken apart (test_rtlil_memories.py).
NOT_TABLED = """
$assert $assume $live $fair $cover $initstate $anyconst $anyseq $anyinit $allconst $allseq $equiv $ff $_FF_
$specify2 $specify3 $specrule $print $check $set_tag $get_tag $overwrite_tag $original_tag $future_ff
$scopeinfo $connect $input_port $fsm
$mem $memrd $memrd_v2 $memwr $memwr_v2 $meminit $meminit_v2
"""
#: Yosys' own rules for what `sim` does not evaluate.
LOWERING = "maccmap -unmap; techmap t:$alu t:$lcu t:$fa"
ADDERS = ("$alu", "$fa", "$lcu")
OPERATORS = sorted(set(PORTS) - {*ADDERS, "$tribuf"})
REGISTER_WIDTHS = {"c": 1, "e": 1, "t": 1, "l": 1, "d": 3, "a": 3, "s": 3, "r": 3}


def under_sim(
    bench: Bench, rows: Sequence[Mapping[str, int]], folder: Path, first: str = ""
) -> list[list[str]]:
    """The digits of each cell's output, row by row: `sim` takes one step of a witness file a row."""
    names = list(bench.inputs)
    # The first signal has the lowest bits of a step.
    steps = ["".join(f"{row[name]:0{bench.inputs[name]}b}" for name in reversed(names)) for row in rows]
    signals = [
        {"path": [f"\\{name}"], "offset": 0, "width": bench.inputs[name], "init_only": False}
        for name in names
    ]
    witness = {
        "format": "Yosys Witness Trace",
        "clocks": [],
        "signals": signals,
        "steps": [{"bits": bits} for bits in steps],
    }
    (folder / "rows.yw").write_text(json.dumps(witness))
    (folder / "bench.il").write_text(bench.rtlil())
    orders = f"read_rtlil bench.il; {first}; sim -r rows.yw -vcd rows.vcd bench"
    script = "from pyosys import libyosys as ys; import sys; ys.run_pass(sys.argv[1], ys.Design())"
    done = subprocess.run(
        [sys.executable, "-c", script, orders],
        cwd=folder,
        check=False,
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert done.returncode == 0 and "Unsupported" not in done.stdout, done.stdout[-500:]
    return list(_columns(VCDVCD(str(folder / "rows.vcd")), bench, len(rows)))


def _columns(dump: VCDVCD, bench: Bench, count: int) -> Iterator[list[str]]:
    by_name = {re.sub(r"\[[\d:]+\]$", "", name): name for name in dump.references_to_ids}
    for number, cell in enumerate(bench.cells):
        changes = dict(dump[by_name[f"bench.o{number}"]].tv)
        column, value = [], ""
        for row in range(count):
            value = changes.get(10 * row, value)
            # The first digit stands for those left out, unless it is a 1 (IEEE 1364-2005, 18.2.1).
            column.append(value.rjust(cell.width, value[0] if value[0] in "xz" else "0"))
        yield column


def agree(bench: Bench, rows: Sequence[Mapping[str, int]], folder: Path, first: str = "") -> None:
    """Every bit that `sim` knows is ours; most are known, and of each kind an output moves."""
    judged = under_sim(bench, rows, folder, first)
    ours = Reference(parse(bench.rtlil()), "init")
    compared = unknown = 0
    for at, row in enumerate(rows):
        for name, value in row.items():
            ours.set(name, value)
        ours.settle()
        for number, cell in enumerate(bench.cells):
            theirs = judged[number][at]
            mine = f"{ours.get(f'o{number}'):0{cell.width}b}"
            known = [pair for pair in zip(theirs, mine, strict=True) if pair[0] in "01"]
            compared, unknown = compared + len(known), unknown + cell.width - len(known)
            assert all(a == b for a, b in known), f"row {at}: {cell} sim {theirs} Forelight {mine}, {row}"
    print(f"{len(bench.cells)} cells, {compared} bits compared, {unknown} unknown")
    assert compared > 4 * unknown
    moved = {cell.kind for cell, column in zip(bench.cells, judged, strict=True) if len(set(column)) > 1}
    assert moved == {cell.kind for cell in bench.cells}


def in_pairs(widths: Mapping[str, int]) -> dict[str, int]:
    return {**widths, **{f"{name}n": width for name, width in widths.items()}}


def test_gates_and_one_bit_registers(tmp_path: Path) -> None:
    widths = dict.fromkeys("cersdal", 1)
    cells = [cell for cell in gate_cells() if cell.kind not in NOT_IN_SIM]
    agree(Bench(in_pairs(widths), cells), list(walk(SEED, widths, STEPS)), tmp_path)


def test_word_registers(tmp_path: Path) -> None:
    bench = Bench(in_pairs(REGISTER_WIDTHS), word_registers())
    agree(bench, list(walk(SEED, REGISTER_WIDTHS, STEPS)), tmp_path)


# Where one sign differs from the other, Yosys' rules for `$alu` part from its library: see test_yosys_cells.py.
@pytest.mark.parametrize("signed", sized(["11"], ["00", "11"]))
def test_adders_sums_and_renamings(tmp_path: Path, signed: str) -> None:
    cells = [cell for cell in (*adders(signed), *sums(signed)) if cell.kind not in NOT_IN_SIM]
    agree(Bench(in_pairs(SUM_WIDTHS), cells), list(walk(SEED, SUM_WIDTHS, STEPS)), tmp_path, LOWERING)


def operators(rng: random.Random) -> Bench:
    """Some cells of each operator, with inputs of their own and sizes up to a hundred bits."""
    bench = Bench({}, [])
    for kind in OPERATORS * 6:
        params, widths, width = one_cell(rng, kind)
        if kind == "$pow":
            # The library's model gives each operand a sign of its own; `sim` gives signs to both or none.
            params["B_SIGNED"] = params["A_SIGNED"]
        pins = {port: f"i{len(bench.inputs) + at}" for at, port in enumerate(widths)}
        bench.inputs |= {pins[port]: wide for port, wide in widths.items()}
        written = {name: f"{max(value.bit_length(), 32)}'{value:032b}" for name, value in params.items()}
        bench.cells.append(Cell(kind, pins, "Y", width, written))
    return bench


def test_operators(tmp_path: Path) -> None:
    print("seed", SEED)
    rng = random.Random(SEED)
    bench = operators(rng)

    def number(width: int) -> int:
        top = (1 << width) - 1
        return rng.choice((0, 1, top, *(rng.getrandbits(width) for _ in range(3))))

    rows = [{name: number(width) for name, width in bench.inputs.items()} for _ in range(80)]
    agree(bench, rows, tmp_path)


def test_memory(tmp_path: Path) -> None:
    """As `test_rtlil_memories.py` has it, but with no control that Yosys' passes do not take."""
    pins = {
        "RD_CLK": r"{ \c \c \c \c }", "WR_CLK": r"{ \c \c }", "RD_EN": r"{ \e [3:1] 1'1 }",
        "RD_ARST": r"{ \t [3] 3'000 }", "RD_SRST": r"{ 1'0 \q [2:1] 1'0 }",
    }  # fmt: skip
    bench = Bench(dict(MEMORY_WIDTHS), [replace(MEMORY, pins=MEMORY.pins | pins)])
    rows = [{name: row[name] for name in MEMORY_WIDTHS} for row in walk(SEED, MEMORY_WIDTHS, 2000)]
    # `sim` has no clocked read ports; this makes registers of them.
    agree(bench, rows, tmp_path, "memory_nordff")


def test_the_table_holds_every_kind() -> None:
    library = "".join((SHARE / name).read_text() for name in ("simlib.v", "simcells.v"))
    every = {f"${kind}" for kind in re.findall(r"^module \\\$(\w+)", library, re.MULTILINE)}
    cells = [*gate_cells(), *word_registers(), *adders("00"), *sums("00")]
    tabled = {cell.kind for cell in cells} | set(PORTS) | {"$mem_v2"}
    for kind in sorted(tabled):
        print(f"{kind:<14} {'library model' if kind in NOT_IN_SIM else 'library model and sim'}")
    assert tabled == every - set(NOT_TABLED.split())
    assert tabled >= NOT_IN_SIM
