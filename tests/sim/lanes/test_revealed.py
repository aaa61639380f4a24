"""Revealed faults against a fault simulator of the tests' own, vector by vector; c17 by four vectors."""

from __future__ import annotations

import itertools
import random
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from forelight.sim.gates.rewrite import gates
from forelight.sim.lanes.faults import Fault, FaultLines, Site, collapsed, describe
from forelight.sim.lanes.redundant import Redundant
from forelight.sim.lanes.revealed import NEVER, FaultRun, batches, first_revealed
from forelight.sim.netlist import Cell, Const, Netlist, Word

from tests.sizes import sized

from ..any_netlists import any_netlist
from ..bench_format import bench_text, read_bench

CIRCUITS = ("c17", "c432", "c499", "c880", "c1355", "c1908", "s27", "s298", "s344", "s386")
ALL = np.uint64(1)


def slow(
    netlist: Netlist, rows: Sequence[dict[str, int]], fault: Fault | None, power_up: int
) -> list[list[int]]:
    """The outputs after each row, one bit after another on Python integers; the clock `clk` rises between rows."""
    state = {register.output: power_up for register in netlist.registers}
    shown = []
    for row in rows:
        net = _settled(netlist, row, state, fault)
        shown.append(
            [_read(word, net, fault, ("output", n)) for n, word in enumerate(netlist.outputs.values())]
        )
        if netlist.registers:
            data = [_read(r.data, net, fault, ("data", n)) for n, r in enumerate(netlist.registers)]
            state = {r.output: value for r, value in zip(netlist.registers, data, strict=True)}
            net = _settled(netlist, row, state, fault)
            shown.append(
                [_read(word, net, fault, ("output", n)) for n, word in enumerate(netlist.outputs.values())]
            )
    return shown


def _settled(
    netlist: Netlist, row: dict[str, int], state: dict[int, int], fault: Fault | None
) -> dict[int, int]:
    net = {netlist.inputs[name]: value for name, value in row.items()} | state
    for value in net:
        net[value] = _stuck(fault, value, net[value])
    waiting = list(enumerate(netlist.cells))
    while waiting:
        later = []
        for number, cell in waiting:
            words = [bit for operand in cell.operands for bit in operand.bits()]
            if any(
                not isinstance(part, Const) and part.value not in net for word in words for part in word.parts
            ):
                later.append((number, cell))
                continue
            bits = [_read(word, net, fault, ("gate", number), at) for at, word in enumerate(words)]
            net[cell.output] = _stuck(fault, cell.output, _gate(cell, bits))
        assert len(later) < len(waiting)
        waiting = later
    return net


def _stuck(fault: Fault | None, value: int, level: int) -> int:
    hit = fault and fault.site.place == "driver" and fault.site.number == value
    return fault.stuck if fault and hit else level


def _read(word: Word, net: dict[int, int], fault: Fault | None, place: tuple[str, int], bit: int = 0) -> int:
    if fault and (fault.site.place, fault.site.number, fault.site.bit) == (*place, bit):
        return fault.stuck
    (part,) = word.parts
    return part.bits if isinstance(part, Const) else net[part.value]


def _gate(cell: Cell, bits: list[int]) -> int:
    if cell.kind == "$mux":
        return bits[1] if bits[2] else bits[0]
    kinds = {
        "$and": all(bits), "$reduce_and": all(bits), "$or": any(bits), "$reduce_or": any(bits), "$buf": bits[0] == 1,
        "$xor": sum(bits) & 1 == 1, "$reduce_xor": sum(bits) & 1 == 1, "$not": bits[0] == 0,
        "$xnor": sum(bits) & 1 == 0, "$reduce_xnor": sum(bits) & 1 == 0,
    }  # fmt: skip
    return int(kinds[cell.kind])


def drawn(name: str) -> Netlist:
    return gates(read_bench(bench_text(name), name), as_drawn=True)


def settled(netlist: Netlist, rows: int) -> dict[str, np.ndarray[tuple[int], np.dtype[np.uint64]]]:
    return {name: np.full(rows, ALL, np.uint64) for name in netlist.outputs}


@pytest.mark.parametrize("name", sized(("c17", "c499", "s27", "s298"), CIRCUITS))
def test_vector_by_vector(name: str) -> None:
    seed = 9
    print(f"seed {seed}")
    rng = np.random.default_rng(seed)
    netlist = drawn(name)
    faults = [members[0] for members in collapsed(netlist, clocks=False)]
    chosen = [
        faults[n] for n in sorted(rng.choice(len(faults), min(len(faults), 24), replace=False).tolist())
    ]
    names = [port for port in netlist.inputs if port != "clk"]
    rows = [{port: int(rng.integers(2)) for port in names} for _ in range(12)]
    clocked = bool(netlist.registers)
    columns = {port: np.repeat([row[port] for row in rows], 1 + clocked).astype(np.uint8) for port in names}
    if clocked:
        columns["clk"] = np.tile([0, 1], len(rows)).astype(np.uint8)
    masks = settled(netlist, len(rows) * (1 + clocked))
    for power_up in (0, 1):
        found = first_revealed(netlist, chosen, columns, masks, (power_up,))
        sound = slow(netlist, with_clock(rows, clocked), None, power_up)
        for fault, first in zip(chosen, found.tolist(), strict=True):
            other = slow(netlist, with_clock(rows, clocked), fault, power_up)
            differing = [n for n, (one, two) in enumerate(zip(sound, other, strict=True)) if one != two]
            assert first == (differing[0] if differing else NEVER), fault


def with_clock(rows: list[dict[str, int]], clocked: bool) -> list[dict[str, int]]:
    return [row | {"clk": 0} for row in rows] if clocked else rows


def test_four_vectors_reveal_all_faults_of_c17() -> None:
    netlist = drawn("c17")
    faults = [members[0] for members in collapsed(netlist)]
    assert len(faults) == 22
    trial, reveals = FaultRun(netlist, faults), []
    for vector in itertools.product((0, 1), repeat=5):
        columns = {port: np.array([bit], np.uint8) for port, bit in zip(netlist.inputs, vector, strict=True)}
        trial.power_cycle(0)
        seen = trial.run(columns, settled(netlist, 1)) != NEVER
        reveals.append(sum(1 << n for n, found in enumerate(seen.tolist()) if found))
    every = (1 << 22) - 1
    assert not any(a | b | c == every for a, b, c in itertools.combinations(reveals, 3))
    assert any(a | b | c | d == every for a, b, c, d in itertools.combinations(reveals, 4))


def test_unsettled_bits_reveal_nothing_and_nothing_leads_out_of_unused_inputs() -> None:
    netlist = drawn("c17")
    faults = [members[0] for members in collapsed(netlist)]
    rows = np.array(list(itertools.product((0, 1), repeat=5)), np.uint8)
    columns = {port: rows[:, n] for n, port in enumerate(netlist.inputs)}
    nothing = {name: np.zeros(32, np.uint64) for name in netlist.outputs}
    assert (first_revealed(netlist, faults, columns, nothing, (0,)) == NEVER).all()
    redundant = Redundant(netlist)
    assert not any(fault in redundant for fault in faults)
    unused = drawn_text("INPUT(a)\nINPUT(b)\nINPUT(c)\nOUTPUT(y)\nd = AND(b, c)\ny = NOT(a)\n")
    classes = [members[0] for members in collapsed(unused)]
    redundant = Redundant(unused)
    lost = [fault for fault in classes if fault in redundant]
    assert 0 < len(lost) < len(classes)
    columns = {port: rows[:, n] for n, port in enumerate(unused.inputs)}
    assert (first_revealed(unused, lost, columns, settled(unused, 32), (0,)) == NEVER).all()
    kept = [fault for fault in classes if fault not in lost]
    assert (first_revealed(unused, kept, columns, settled(unused, 32), (0,)) != NEVER).all()


def drawn_text(text: str) -> Netlist:
    return gates(read_bench(text, "t"), as_drawn=True)


def test_what_is_redundant_is_what_no_levels_reveal() -> None:
    """On random netlists of gates without registers, against all levels of their inputs; no other is called so."""
    seed, called, all_in_all = 23, 0, 0
    print("seed", seed)
    rng = random.Random(seed)
    for number in range(12):
        netlist = any_cells(rng) if number % 2 else drawn_text(any_gates(rng))
        faults = [members[0] for members in collapsed(netlist)]
        rows = np.array(list(itertools.product((0, 1), repeat=len(netlist.inputs))), np.uint8)
        columns = {port: rows[:, n] for n, port in enumerate(netlist.inputs)}
        seen = FaultRun(netlist, faults).run(columns, settled(netlist, len(rows))) != NEVER
        redundant = Redundant(netlist)
        found = [fault in redundant for fault in faults]
        assert found == [not one for one in seen.tolist()]
        called, all_in_all = called + sum(found), all_in_all + len(found)
    print(called, "of", all_in_all, "redundant")
    assert 0 < called < all_in_all


def any_gates(rng: random.Random) -> str:
    nets = ["a", "b", "c", "d", "e"]
    lines = [f"INPUT({net})" for net in nets]
    for number in range(14):
        kind = rng.choice(("AND", "OR", "NAND", "NOR", "XOR", "NOT"))
        inputs = rng.sample(nets[-8:], 1 if kind == "NOT" else rng.choice((2, 2, 3)))
        lines.append(f"n{number} = {kind}({', '.join(inputs)})")
        nets.append(f"n{number}")
    return "\n".join([*lines, "OUTPUT(n13)", "OUTPUT(n9)", ""])


def any_cells(rng: random.Random) -> Netlist:
    """The same with multiplexers and buffers."""
    cells = []
    for output in range(5, 17):
        kind = rng.choice(("$mux", "$mux", "$buf", "$and", "$or", "$xor", "$not"))
        count = {"$mux": 3, "$buf": 1, "$not": 1}.get(kind, 2)
        operands = (Word.value(net, 1) for net in rng.sample(range(max(output - 7, 0), output), count))
        cells.append(Cell(kind, output, tuple(operands)))
    outputs = {name: Word.value(net, 1) for name, net in (("y", 16), ("z", 13))}
    return Netlist(
        "cells", (1,) * 17, {name: n for n, name in enumerate("abcde")}, outputs, tuple(cells), (), ()
    )


@pytest.mark.parametrize("seed", sized((2, 3), range(20)))
def test_what_is_redundant_beside_registers_is_never_revealed(seed: int) -> None:
    """Registers with all sorts of clocks and controls, some of which lead nowhere."""
    print("seed", seed)
    rng = random.Random(seed)
    netlist = gates(any_netlist(rng, cells=8, registers=6, ripple=False), as_drawn=True)
    outputs = dict(list(netlist.outputs.items())[:1])
    netlist = replace(netlist, outputs={name: word.cut(0, 3) for name, word in outputs.items()})
    redundant = Redundant(netlist)
    faults = [members[0] for members in collapsed(netlist, clocks=False)]
    lost = [fault for fault in faults if fault in redundant]
    assert lost
    drawn = np.random.default_rng(seed)
    columns = {
        name: drawn.integers(0, 1 << netlist.widths[value], 120).astype(np.uint64)
        for name, value in netlist.inputs.items()
    }
    masks = {name: np.full(120, (1 << word.width) - 1, np.uint64) for name, word in netlist.outputs.items()}
    for part in batches(lost):
        found = first_revealed(netlist, part, columns, masks, (0,))
        assert (found == NEVER).all(), [
            describe(FaultLines(netlist), part[n]) for n in np.flatnonzero(found != NEVER).tolist()
        ]


@pytest.mark.parametrize("level", [0, 1])
def test_a_gate_that_reads_nothing_but_constants_is_stuck_at_one_level_already(level: int) -> None:
    """And one that reads an input besides is not."""
    cells = (
        Cell("$xor", 1, (Word.const(level, 1), Word.const(0, 1))),
        Cell("$xor", 2, (Word.value(0, 1), Word.value(1, 1))),
    )
    netlist = Netlist("constant", (1, 1, 1), {"a": 0}, {"y": Word.value(2, 1)}, cells, (), ())
    redundant = Redundant(netlist)
    assert [Fault(Site("driver", 1), stuck) in redundant for stuck in (0, 1)] == [level == 0, level == 1]
    assert not any(Fault(Site("driver", net), stuck) in redundant for net in (0, 2) for stuck in (0, 1))


#: Redundant faults of whole circuits (test generation literature on the circuits of 1985, from memory).
@pytest.mark.slow
@pytest.mark.parametrize(("name", "most"), [("c17", 0), ("c432", 4), ("c880", 0)])
def test_no_more_faults_of_the_published_circuits_are_redundant(name: str, most: int) -> None:
    netlist = drawn(name)
    redundant = Redundant(netlist)
    found = sum(members[0] in redundant for members in collapsed(netlist, clocks=False))
    print(name, found, "of", most)
    assert found <= most


def test_a_register_that_only_feeds_itself_is_redundant() -> None:
    netlist = gates(
        read_bench("INPUT(a)\nOUTPUT(y)\ns = DFF(t)\nt = NOT(s)\ny = BUF(a)\n", "t"), as_drawn=True
    )
    faults = [members[0] for members in collapsed(netlist, clocks=False)]
    redundant = Redundant(netlist)
    names = {describe(FaultLines(netlist), fault) for fault in faults if fault in redundant}
    assert names == {"t stuck at 0", "t stuck at 1"}


def test_nothing_is_redundant_in_a_gate_before_a_row_of_registers() -> None:
    """There are more registers than gates, and the gate is read by the last of them."""
    netlist = drawn_text("INPUT(a)\nINPUT(b)\nOUTPUT(s)\ns = DFF(q)\nq = DFF(r)\nr = DFF(t)\nt = AND(a, b)\n")
    faults = [members[0] for members in collapsed(netlist, clocks=False)]
    redundant = Redundant(netlist)
    assert len(faults) > 4 and not any(fault in redundant for fault in faults)


@pytest.mark.parametrize("width", [2, 7, 9, 11])
def test_a_fault_that_one_combination_of_many_reveals_is_not_redundant(width: int) -> None:
    names = [f"a{n}" for n in range(width)]
    text = "".join(f"INPUT({name})\n" for name in names)
    netlist = drawn_text(f"{text}OUTPUT(y)\ny = AND({', '.join(names)})\n")
    redundant = Redundant(netlist)
    assert not any(members[0] in redundant for members in collapsed(netlist))


@pytest.mark.parametrize("count", [0, 1, 510, 511, 512, 1022, 1023])
def test_batches_leave_a_lane_without_a_fault(count: int) -> None:
    faults = [Fault(Site("driver", number), 0) for number in range(count)]
    parts = [list(part) for part in batches(faults)]
    assert [fault for part in parts for fault in part] == faults
    assert all(0 < len(part) <= 511 for part in parts)
    assert len(parts) == -(-count // 511)
