"""Published gate-level netlists: what is proved is what Icarus Verilog knows, bit for bit, at every net.

The sources are made of the primitives of IEEE 1364-2005, clause 7.2, with its tables of 0, 1 and x, and of flip-flops
`always @(posedge clk) q <= d` on one clock that is an input and always known. Nothing here is optimistic or
pessimistic: `sim/unknowns.py` rewrites gate by gate by the tables of Kleene (1952), which are those of the clause,
and a known clock makes known edges. So equality is exact, and is asserted so. The proof that goldens rest on
(`sim/ternary.py`) is compared where all lines are known: it comes to the same, since clocks move alone.

Netlists: ISCAS '85 (Brglez and Fujiwara) and '89 (Brglez, Bryan and Kozminski), in `tests/sim/iscas` and from PyPI
`circuitgraph` 0.2.1.
"""

from __future__ import annotations

import importlib.util
import random
import re
from collections.abc import Sequence
from pathlib import Path

import pytest
from forelight.designs import read
from forelight.sim.netlist import Netlist, Word

from tests.sizes import sized

from ..bench_format import BENCHES, bench_text, bench_verilog, read_bench
from ..icarus import needs_icarus
from .bench import Drive, Row, Seen, rows, showing, tally, under_icarus, under_proof, under_unknowns

SEED, STEPS = 31, 150
#: Of these there are tens of thousands of nets, so fewer steps compare millions of bits.
HUGE, FEW_STEPS = {"s38417", "s38584"}, 30
_SPEC = importlib.util.find_spec("circuitgraph")
NETLISTS = Path(_SPEC.origin).parent / "netlists" if _SPEC and _SPEC.origin else Path()
#: ISCAS netlists as written, and as mapped to other gates; those that take more than some seconds are slow.
VERILOG = sorted(path.stem for path in NETLISTS.glob("[cs][0-9]*.v") if "unrolled" not in path.stem)
SLOW = {"c5315", "c5315g", "c6288", "c6288g", "c7552", "c7552g", "s13207", "s38417", "s38584"}
#: A flip-flop that says nothing of its first state, in place of those that begin with 0 or are not defined.
FLIP_FLOP = "module {} (input CK, D, output reg Q); always @(posedge CK) Q <= D; endmodule\n"

pytestmark = needs_icarus


def compared(name: str, netlist: Netlist, body: str, paths: Sequence[str], clock: str, folder: Path) -> None:
    """With x on the data lines, and with all lines known; power-up is unknown in both."""
    widths = {port: netlist.widths[value] for port, value in netlist.inputs.items()}
    drive = Drive([(clock, 0)] if clock else [])
    steps = FEW_STEPS if name in HUGE else STEPS
    print("seed", SEED)

    def icarus(driven: Sequence[Row]) -> Seen:
        return under_icarus(body, netlist, paths, driven, folder)

    driven = rows(random.Random(SEED), widths, drive, steps, unknown=0.3)
    theirs = icarus(driven)
    found = tally(f"{name}, lines unknown", theirs, under_unknowns(netlist, driven))
    assert found.equal == found.bits
    assert 0 < found.icarus < found.bits
    driven = rows(random.Random(SEED + 1), widths, drive, steps)
    found = tally(f"{name}, lines known", icarus(driven), under_proof(netlist, driven))
    assert found.equal == found.bits


# In the form of the benchmarks


@pytest.mark.parametrize("name", sized([*BENCHES][::3], [*BENCHES]))
def test_in_the_form_of_the_benchmarks(name: str, tmp_path: Path) -> None:
    body, nets = bench_verilog(bench_text(name))
    netlist = read_bench(bench_text(name), name)
    words = [netlist.names[net[1:-1]] for net in nets]
    compared(name, showing(netlist, words), body, nets, "clk" if netlist.registers else "", tmp_path)


# In Verilog, which Yosys reads for us and Icarus for itself


@pytest.mark.skipif(not VERILOG, reason="the netlists come from PyPI: circuitgraph")
@pytest.mark.parametrize(
    "name",
    [
        pytest.param(name, marks=pytest.mark.slow) if name in SLOW else name
        for name in sized(VERILOG[::4], VERILOG)
    ],
)
def test_in_verilog(name: str, tmp_path: Path) -> None:
    text = re.sub(r"module fflopd\b.*?endmodule", "", (NETLISTS / f"{name}.v").read_text(), flags=re.DOTALL)
    (top,) = re.findall(r"^module (\w+)", text, re.MULTILINE)
    text += "".join(
        FLIP_FLOP.format(kind) for kind in ("ff", "fflopd") if re.search(rf"^\s+{kind} ", text, re.M)
    )
    (tmp_path / "dut.v").write_text(text)
    netlist = read(tmp_path / "dut.v", top=top)
    ports = ", ".join(f".{port} ({port})" for port in netlist.inputs)
    inside = {
        path: word for path, word in netlist.names.items() if "." not in path and _driven(netlist, word)
    }
    clock = next((port for port in netlist.inputs if port in ("clk", "clock")), "")
    paths = [f"dut.\\{path} " for path in inside]
    compared(name, showing(netlist, list(inside.values())), f"{top} dut ({ports});", paths, clock, tmp_path)


def _driven(netlist: Netlist, word: Word) -> bool:
    """Whether gates or registers make all of a word: what nothing drives is z in Verilog."""
    made = {cell.output for cell in netlist.cells} | {register.output for register in netlist.registers}
    return set(word.values()) <= made and all(part.width for part in word.parts) and bool(word.width)
