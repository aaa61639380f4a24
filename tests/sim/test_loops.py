"""Free-running loops are found net by net, and their frequency follows from gate delays."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from forelight.sim import Netlist, Simulation
from forelight.sim.loops import LoopError
from forelight.sim.netlist import Cell, Const, Register, Slice, Word


def rings(*stages: int) -> Netlist:
    """Rings of a NAND gate and inverters, one for each input, which lets it run."""
    cells: list[Cell] = []
    widths = [1] * len(stages)
    names: dict[str, Word] = {}
    outputs: dict[str, Word] = {}
    for ring, count in enumerate(stages):
        first = len(widths)
        widths += [1] * (count + 1)
        nets = range(first, first + count)
        source = f"ring.v:{ring + 1}"
        both = first + count
        cells.append(Cell("$and", both, (Word.value(ring, 1), Word.value(nets[-1], 1)), {}, source))
        cells.append(Cell("$not", nets[0], (Word.value(both, 1),), {}, source))
        cells += [Cell("$not", b, (Word.value(a, 1),), {}, source) for a, b in pairwise(nets)]
        names |= {f"ring{ring}_{number}": Word.value(net, 1) for number, net in enumerate(nets)}
        outputs[f"y{ring}"] = Word.value(nets[-1], 1)
    inputs = {f"run{ring}": ring for ring in range(len(stages))}
    return Netlist("rings", tuple(widths), inputs, outputs, tuple(cells), (), (), names)


def test_a_ring_that_is_held_comes_to_rest() -> None:
    sim = Simulation(rings(3, 5))
    sim.settle()
    assert [sim.get(name) for name in ("ring0_0", "ring0_1", "ring0_2")] == [1, 0, 1]


def test_an_even_ring_is_a_latch_and_comes_to_rest() -> None:
    sim = Simulation(rings(4))
    sim.set("run0", 1)
    sim.settle()
    assert sim.get("ring0_0") != sim.get("ring0_1")


def test_only_the_ring_that_runs_is_named_with_its_lines() -> None:
    sim = Simulation(rings(3, 5))
    sim.set("run1", 1)
    with pytest.raises(LoopError) as caught:
        sim.settle()
    (loop,) = caught.value.loops
    assert set(loop.nets) >= {f"ring1_{number}" for number in range(5)}
    assert not any(name.startswith("ring0") for name in loop.nets)
    assert loop.places == ("ring.v:2",)
    assert "ring1_0" in str(caught.value) and "(ring.v:2)" in str(caught.value)


@pytest.mark.parametrize("run", ["samples", "clock"])
def test_a_run_names_the_nets_too(run: str) -> None:
    sim = Simulation(rings(3, 5))
    sim.settle()
    with pytest.raises(LoopError) as caught:
        if run == "samples":
            sim.run_samples("run1", np.array([0, 0, 0, 1, 0], np.uint8), "y0")
        else:
            sim.run_clock("run1", bit=0, cycles=5, observe="y0")
    assert caught.value.loops[0].places == ("ring.v:2",)


def test_after_the_error_the_simulation_goes_on() -> None:
    sim = Simulation(rings(3))
    sim.set("run0", 1)
    with pytest.raises(LoopError):
        sim.settle()
    sim.set("run0", 0)
    sim.settle()
    assert sim.get("ring0_0") == 1


def test_the_frequency_range() -> None:
    """f = 1 / (2 n d), a change goes twice around in a period: common practice, no source.

    Five inverting stages of 1 ns run at 100 MHz: a NAND and four inverters.
    """
    sim = Simulation(rings(5))
    sim.set("run0", 1)
    with pytest.raises(LoopError) as caught:
        sim.settle()
    (loop,) = caught.value.loops
    assert (loop.shortest, loop.longest) == (5, 5)
    low, high = loop.frequency(1e-9, 2e-9)
    assert low == pytest.approx(1 / (2 * 5 * 2e-9))
    assert high == pytest.approx(100e6)


def test_an_inverter_is_part_of_the_gate_before_it_only_on_the_same_line_and_alone() -> None:
    """An AND of one line and an inverter of another are two gates; so are those of which the AND is read elsewhere."""
    netlist = rings(3)
    gate, inverter, *others = netlist.cells
    apart = replace(netlist, cells=(gate, replace(inverter, src="ring.v:9"), *others))
    values = (*netlist.widths, 1)
    both = (Word.value(gate.output, 1), Word.value(others[0].output, 1))
    reader = Cell("$and", len(netlist.widths), both, {}, "ring.v:1")
    read = replace(netlist, widths=values, cells=(*netlist.cells, reader))
    for drawn, gates in ((netlist, 3), (apart, 4), (read, 4)):
        sim = Simulation(drawn)
        sim.set("run0", 1)
        with pytest.raises(LoopError) as caught:
            sim.settle()
        assert [(loop.shortest, loop.longest) for loop in caught.value.loops] == [(gates, gates)]


def test_one_gate_that_inverts_itself_is_a_ring_of_one() -> None:
    sim = Simulation(rings(1))
    sim.set("run0", 1)
    with pytest.raises(LoopError) as caught:
        sim.settle()
    assert [(loop.shortest, loop.longest) for loop in caught.value.loops] == [(1, 1)]


def test_clocks_that_chase_each_other_are_a_train_of_edges() -> None:
    """Two registers, each clocked by the other's output, one of them inverted: every edge makes the next."""
    one = Register(1, 1, Word.value(4, 1), True, Word.value(3, 1), (), Const(0, 1), "one")
    two = Register(2, 1, Word.value(4, 1), False, Word.value(5, 1), (), Const(0, 1), "two")
    cells = (
        Cell("$not", 3, (Word.value(1, 1),)),
        Cell("$not", 5, (Word.value(2, 1),)),
        Cell("$xor", 6, (Word.value(1, 1), Word.value(2, 1))),
        Cell("$xor", 4, (Word.value(0, 1), Word.value(6, 1))),
    )
    netlist = Netlist("train", (1,) * 7, {"a": 0}, {"y": Word.value(1, 1)}, cells, (one, two), ())
    sim = Simulation(netlist)
    sim.settle()
    sim.set("a", 1)
    with pytest.raises(LoopError) as caught:
        sim.settle()
    assert "a train of clock edges without end" in str(caught.value)


@pytest.mark.parametrize("stages", [1, 3, 150])
def test_a_shift_register_of_nand_gates(stages: int) -> None:
    """Edge-triggered flip-flops of six NAND gates, two loops each: few, and more than LLVM takes with optimisation.

    The circuit is the one of the 7474's data sheet (from memory), without preset and clear.
    """
    cells: list[Cell] = []
    widths = [2]
    clock, data = (Word.of([Slice(0, bit, 1)]) for bit in (0, 1))

    def net() -> Word:
        widths.append(1)
        return Word.value(len(widths) - 1, 1)

    def nand(output: Word, *inputs: Word) -> None:
        both = inputs[0]
        for other in inputs[1:]:
            both, one = net(), both
            cells.append(Cell("$and", next(iter(both.values())), (one, other)))
        cells.append(Cell("$not", next(iter(output.values())), (both,)))

    shown = Word()
    for _ in range(stages):
        n1, n2, n3, n4, q, other = (net() for _ in range(6))
        for output, *inputs in (
            (n1, n4, n2),
            (n2, n1, clock),
            (n3, n2, clock, n4),
            (n4, n3, data),
            (q, n2, other),
            (other, n3, q),
        ):
            nand(output, *inputs)
        shown, data = shown + q, q
    netlist = Netlist(
        "shift",
        tuple(widths),
        {"i": 0},
        {"q": shown, "low": shown.cut(0, min(stages, 8))},
        tuple(cells),
        (),
        (),
        {},
    )
    sim = Simulation(netlist)
    for level in (0, 1) * stages:  # fill it with zeros
        sim.set("i", level)
        sim.settle()
    rng, held = random.Random(stages), 0
    print("seed", stages)
    for _ in range(40):
        bit = rng.getrandbits(1)
        for level in (
            2 * bit,
            2 * bit | 1,
            1 - bit << 1 | 1,
            1 - bit << 1,
        ):  # what comes after the rise does not count
            sim.set("i", level)
            sim.settle()
        held = (held << 1 | bit) & (1 << stages) - 1
        assert sim.get("q") == held
    sim.set("i", 2)
    expected = [(held << n | (1 << n) - 1) & (1 << min(stages, 8)) - 1 for n in range(1, 21)]
    assert sim.run_clock("i", bit=0, cycles=20, observe="low").tolist() == expected
