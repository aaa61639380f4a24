"""What a run reveals against a fault simulator of the tests' own, action by action; c17 by four vectors."""

from __future__ import annotations

import itertools
import random
from pathlib import Path

import numpy as np
import pytest
from forelight.harness.bench.course import seated
from forelight.harness.coverage.measure import Faults
from forelight.harness.coverage.record import Coverage, StuckLine, union
from forelight.harness.scripting.asking import asking
from forelight.harness.scripting.fault_coverage import coverage
from forelight.sim.lanes.faults import collapsed

from ...sim.bench_format import bench_text, bench_verilog
from ...sim.lanes.test_revealed import drawn, slow

SHEET = """\
title = "Seventeen"
creator = "evening class"
license = "MIT"
description = "The smallest of the circuits of 1985."
source = ["design.v"]
module = "seventeen"
"""
VECTORS = tuple(itertools.product((0, 1), repeat=5))


def reveals() -> dict[tuple[int, ...], set[int]]:
    """Of the 22 faults those that each of the 32 vectors reveals, by the slow simulator."""
    netlist = drawn("c17")
    faults = [members[0] for members in collapsed(netlist)]
    names = list(netlist.inputs)
    rows = [dict(zip(names, vector, strict=True)) for vector in VECTORS]
    sound = slow(netlist, rows, None, 0)
    shown = [slow(netlist, rows, fault, 0) for fault in faults]
    return {
        vector: {n for n, other in enumerate(shown) if other[row] != sound[row]}
        for row, vector in enumerate(VECTORS)
    }


@pytest.fixture
def seventeen(tmp_path: Path) -> str:
    """c17 in primitives, its inputs on i0 to i4 and its outputs on o0 and o1."""
    body, _ = bench_verilog(bench_text("c17"))
    netlist = drawn("c17")
    wires = "".join(f"wire \\{net} = inputs[{n}];\n" for n, net in enumerate(netlist.inputs))
    shown = ", ".join(f"\\{net} " for net in reversed(list(netlist.outputs)))
    (tmp_path / "design.v").write_text(
        "module seventeen(input [7:0] inputs, output [7:0] outputs);\n"
        f"{wires}{body}\nassign outputs = {{6'b0, {shown}}};\nendmodule\n"
    )
    (tmp_path / "datasheet.toml").write_text(SHEET)
    return str(tmp_path)


def run_of(vectors: list[tuple[int, ...]]) -> list[str]:
    """Sets the five inputs to each vector, and lets it stand."""
    sets = (" ".join(f"i{n}={level}" for n, level in enumerate(vector)) for vector in vectors)
    return [action for levels in sets for action in (f"set {levels}", "wait 1 s")]


def test_c17_vector_by_vector(seventeen: str) -> None:
    seed = 31
    print("seed", seed)
    rng, table = random.Random(seed), reveals()
    for length in (1, 2, 4):
        vectors = rng.sample(VECTORS[1:], length)
        found = coverage(seventeen, do=run_of(vectors), power_ups=4)
        # All inputs are 0 before, which is looked at too once the slot is up. i5 to i7 lead nowhere.
        seen = [set().union(*(table[v] for v in (VECTORS[0], *vectors[:n]))) for n in range(length + 1)]
        assert (found.possible, len(found.hopeless), found.revealed) == (22, 6, len(seen[-1]))
        assert [one.revealed for one in found.growth] == sorted({len(one) for one in seen})
        # The first setting follows a frame later, and each other one a second and a frame after the one before.
        grows = [n for n in range(length + 1) if n == 0 or len(seen[n]) > len(seen[n - 1])]
        assert [one.seconds for one in found.growth] == pytest.approx(
            [max(number - 1, 0) + number / 3000 for number in grows], abs=1e-6
        )


def test_four_vectors_reveal_all_of_c17(seventeen: str) -> None:
    table = reveals()
    four = next(
        chosen
        for chosen in itertools.combinations(VECTORS, 4)
        if len(set().union(*(table[v] for v in chosen))) == 22
    )
    found = coverage(seventeen, do=run_of(list(four)), power_ups=4)
    assert (found.revealed, found.share, found.missed) == (22, 1.0, ())


def test_a_fault_is_named_with_its_line(seventeen: str) -> None:
    found = coverage(seventeen, do=run_of([(0, 0, 0, 0, 1)]), power_ups=4)
    source = (Path(seventeen) / "design.v").read_text().splitlines()
    assert found.missed
    for line in found.missed:
        for place in line.places:
            file, _, number = place.partition(":")
            assert file == "design.v"
            assert any(word in source[int(number) - 1] for word in ("nand", "inputs["))
    assert all(line.places for line in found.missed)
    assert all(not line.places for line in found.hopeless)  # lines that nothing reads


def test_a_longer_run_reveals_no_less_and_its_growth_is_that_of_the_shorter() -> None:
    short = coverage("tide_gauge", steps=6, power_ups=4)
    long = coverage("tide_gauge", steps=20, power_ups=4)
    by_step = {one.step: one.revealed for one in long.growth}
    assert max(count for step, count in by_step.items() if step <= 6) == short.revealed < long.revealed
    assert {line.line for line in long.missed} <= {line.line for line in short.missed}


def test_the_design_alone_is_tried_where_a_memory_is_wired_to_it() -> None:
    found = asking("chart_reader", steps=1)
    faults = Faults.of(seated(found.board, found.sheet))
    assert all(faults.told(number).places for number in range(len(faults.chosen)))


def test_faults_of_a_large_design_are_drawn_and_the_margin_covers_the_truth() -> None:
    """Drawn from ten thousand of which the share is known: outside of the margin in about one of twenty draws."""
    seed = 3
    print("seed", seed)
    rng = np.random.default_rng(seed)
    inside = 0
    for _ in range(400):
        revealed = int(rng.hypergeometric(7000, 3000, 1000))
        found = Coverage(10_000, 1000, revealed)
        inside += abs(found.share - 0.7) <= found.margin
    print(inside, "of 400")
    assert 365 <= inside <= 395


def test_the_margin_where_none_of_ten_is_revealed() -> None:
    """The interval of Agresti and Coull, The American Statistician 52 (1998), by hand: as if 2 of 14 were."""
    assert Coverage(10**9, 10, 0).margin == pytest.approx(1.96 * (2 / 14 * 12 / 14 / 14) ** 0.5, rel=1e-6)
    assert Coverage(10, 10, 0).margin == 0


def test_runs_together_miss_what_each_misses() -> None:
    lines = [StuckLine(n, f"n{n}", 0) for n in range(5)]
    one = Coverage(6, 6, 2, tuple(lines[:3]), (lines[4],))
    two = Coverage(6, 6, 3, (lines[1], lines[3]), (lines[4],))
    both = union([one, two])
    assert (both.revealed, both.missed, both.possible) == (4, (lines[1],), 5)
