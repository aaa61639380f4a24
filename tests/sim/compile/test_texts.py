"""The compiled text of a dozen small circuits, compared as text with what is kept beside them.

`python -m tests.sim.compile.test_texts` writes them anew. Read the difference before you keep it: a change of the text
that the change of the compiler does not explain is a mistake.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from difflib import unified_diff
from pathlib import Path

import pytest
from forelight.sim.compile.clock import Split, Toggle, clock
from forelight.sim.compile.compiled import Compiled
from forelight.sim.compile.update import rounds
from forelight.sim.netlist import Netlist
from forelight.sim.rtlil.reader import parse

FOLDER = Path(__file__).parent / "texts"
#: RTLIL as Yosys printed it of `small.v`, kept so that the texts do not hang on the reader of Verilog.
CIRCUITS = sorted(FOLDER.glob("*.il"))
WIDEST = 64  # bits of what a run records, and of what rows are put on
#: A control word of which the compiler makes copies of the body, by circuit: its register, and the values seen.
SPLITS = {"machine": Split((0,), ((0,), (1,), (2,)), ((0, 1), (1, 2), (0,)))}


def texts(netlist: Netlist) -> Iterator[str]:
    """Netlist, schedule and every function that the compiler writes of it, each under its name."""
    compiled = Compiled(netlist)
    ports = tuple(port for port, value in netlist.inputs.items() if netlist.widths[value] <= WIDEST)
    observe = next(word for word in netlist.outputs.values() if word.width <= WIDEST)
    yield f"netlist\n{netlist}"
    yield f"schedule\n{compiled.plan}"
    yield f"settle\n{compiled.text('settle')}"
    yield f"rows\n{compiled.text('rows', ports, observe)}"
    if "clk" in ports:
        toggle = Toggle("clk", 0, observe)
        yield f"clock\n{compiled.text('clock', toggle)}"
        at_rest = Toggle("clk", 0, observe, tuple((port, 0) for port in netlist.inputs))
        split = SPLITS.get(netlist.name, Split())
        yield f"clock, other inputs at rest\n{clock(compiled.program, at_rest, split)}"
    in_memory = Compiled(netlist, keep_in_memory=True)
    if in_memory.resident:
        yield f"settle, state in memory\n{in_memory.text('settle')}"
        yield f"rows, state in memory\n{in_memory.text('rows', ports, observe)}"


def written(path: Path) -> str:
    return "\n\n".join(f"; ---- {text.rstrip()}" for text in texts(parse(path.read_text("utf-8")))) + "\n"


@pytest.mark.parametrize("path", CIRCUITS, ids=lambda path: path.stem)
def test_the_text_is_as_it_was_kept(path: Path) -> None:
    kept, now = path.with_suffix(".txt").read_text("utf-8"), written(path)
    changes = "\n".join(unified_diff(kept.splitlines(), now.splitlines(), "kept", "now", lineterm="", n=1))
    assert not changes, f"python -m tests.sim.compile.test_texts writes it anew:\n{changes}"


def test_how_many_rounds_an_update_may_take() -> None:
    """10,000, and two more for each clock and each value that closes a loop (tests/sim/clocking/README.md)."""
    plan = Compiled(parse((FOLDER / "counter.il").read_text("utf-8"))).plan
    assert rounds(plan) == 10_002
    many = replace(plan, groups=plan.groups * 50, cuts=(1, 2, 3))
    assert rounds(many) == 10_000 + 2 * 50 + 2 * 3


if __name__ == "__main__":
    for circuit in CIRCUITS:
        circuit.with_suffix(".txt").write_text(written(circuit), "utf-8")
