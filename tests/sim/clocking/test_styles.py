"""Ways to clock, each against a plain Python model and Icarus Verilog, with what is proved of it.

One line moves in a row, so that IEEE 1364-2005, 11.4.2, leaves no order open between lines; lines move while a clock is
high as often as while it is low. A set is never on when the reset ends, and no two lines hold a pair of gates, since
Icarus and silicon part there (`fidelity/test_differences.py`).
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from itertools import pairwise
from pathlib import Path

import pytest
from forelight.designs import read
from forelight.sim import Simulation
from forelight.sim.proof.ternary import Proof

from ..fidelity.comparison import Design, under_forelight, under_icarus
from ..icarus import needs_icarus
from ..outside.common_state import start
from .models import MODELS

SOURCE = Path(__file__).parent / "verilog" / "styles.v"
SEED, ROWS = 41, 3000
#: Lines that are not 0 at first.
FIRST = {"set_and_reset": {"rst_n": 1}, "gates_alone": {"r": 1}}


def driven(name: str, lines: list[str], count: int = ROWS) -> list[dict[str, int]]:
    """One line moves in each row."""
    print("seed", SEED)
    rng = random.Random(SEED)
    now = dict.fromkeys(lines, 0) | FIRST.get(name, {})
    rows = [dict(now)]
    while len(rows) < count:
        line = rng.choice(lines)
        after = now | {line: 1 - now[line]}
        if (name, after.get("s"), after.get("r")) == ("gates_alone", 1, 1):
            continue
        if name == "set_and_reset" and after["set"] and not after["rst_n"]:
            continue
        # A reset comes now and then, else nothing is seen of what it resets.
        if line == "rst_n" and now[line] and rng.random() < 0.8:
            continue
        now = after
        rows.append(dict(now))
    return rows


def expected(name: str, rows: list[dict[str, int]], outputs: Mapping[str, int]) -> list[str]:
    """What the model shows after each row, as one text."""
    model = MODELS[name]()
    found = []
    for before, after in pairwise([rows[0], *rows]):
        shown = model(before, after)
        found.append("".join(f"{shown[port]:0{width}b}" for port, width in outputs.items()))
    return found


@pytest.mark.parametrize("name", MODELS)
def test_as_the_model_says(name: str) -> None:
    sim = Simulation(read(SOURCE, top=name), power_up="init")
    rows = driven(name, list(sim.inputs))
    ours = [row.tobytes().decode() for row in under_forelight(sim, rows)]
    wanted = expected(name, rows, sim.outputs)
    at = next((at for at, (a, b) in enumerate(zip(ours, wanted, strict=True)) if a != b), None)
    assert at is None, (at, rows[max(0, at - 1) : at + 1], ours[at], wanted[at])
    assert len(set(wanted)) > 3


@needs_icarus
@pytest.mark.parametrize("name", MODELS)
def test_as_icarus_shows_it(name: str, tmp_path: Path) -> None:
    sim = Simulation(read(SOURCE, top=name), power_up="init")
    rows = driven(name, list(sim.inputs))
    sim.set_many(rows[0])
    sim.settle()
    # To Icarus what the source states falls from x to 0, which is an edge (IEEE 1364-2005, 9.7.2), and so are the first
    # levels of lines: it is given its first state after these, and is not asked what it made of them.
    begin = "\n".join(
        line for line in start(sim.netlist, sim, [SOURCE], tmp_path).splitlines() if "differs" not in line
    )
    theirs = under_icarus(Design([SOURCE], name, start=begin), sim.inputs, sim.outputs, rows, tmp_path)
    assert [row.tobytes().decode() for row in theirs] == expected(name, rows, sim.outputs)


@pytest.mark.parametrize("name", MODELS)
def test_what_is_proved_is_right(name: str) -> None:
    """From what the source states; some is proved."""
    netlist = read(SOURCE, top=name)
    proof = Proof(netlist, known_start=True)
    outputs = {port: word.width for port, word in netlist.outputs.items()}
    rows = driven(name, list(netlist.inputs), 400)
    proved = 0
    for at, (row, wanted) in enumerate(zip(rows, expected(name, rows, outputs), strict=True)):
        proof.update(row)
        first = 0
        for port, width in outputs.items():
            value, known = proof.get(port)
            assert (value ^ int(wanted[first : first + width], 2)) & known == 0, (at, port)
            proved += known.bit_count()
            first += width
    total = len(rows) * sum(outputs.values())
    print(f"{name}: {proved} of {total} bits proved")
    assert proved
