"""Lanes are as many simulations of their own."""

from __future__ import annotations

import random
from typing import Any

import numpy as np
import pytest
from forelight.sim import Netlist, Simulation
from forelight.sim.compile.compiled import Compiled
from forelight.sim.errors import UsageError
from forelight.sim.gates.rewrite import gates
from forelight.sim.lanes.apart import halves_pay
from forelight.sim.lanes.faults import Fault, FaultLines, Site, collapsed
from forelight.sim.lanes.variants import Lanes
from forelight.sim.loops import LoopError
from forelight.sim.netlist import Cell, Const, Memory, Register, Slice, Word, WritePort
from forelight.sim.reference import Reference
from forelight.sim.rtlil.reader import parse
from forelight.sim.state import PowerUp

from tests.sizes import sized

from ...benchmarks.circuits import CIRCUITS
from ...benchmarks.design import OnPins, rtlil
from ..any_netlists import any_netlist
from .broken import broken

LANES = 70


def power_ups(seed: int, count: int) -> list[PowerUp]:
    fixed: list[PowerUp] = [0, 1, "init"]
    return [*fixed, *(random.Random(f"{seed}/{n}") for n in range(count - 3))]


@pytest.mark.parametrize("ripple", [False, True], ids=["input clocks", "any clocks"])
@pytest.mark.parametrize("seed", range(sized(4, 8)))
def test_power_ups_and_inputs_are_separate_runs(seed: int, ripple: bool) -> None:
    """Every lane wakes in another way; one input differs from lane to lane, and with it its clocks."""
    print("seed", seed)
    rng = random.Random(seed)
    netlist = any_netlist(rng, ripple=ripple)
    count = 64 * (1 + seed % 2) if seed % 3 else 5
    lanes = Lanes(netlist, count, power_ups(seed, count), per_lane_inputs=("i0",))
    compiled = Compiled(netlist)
    sims = [Simulation(netlist, held, compiled=compiled) for held in power_ups(seed, count)]
    for _ in range(25):
        common = {name: rng.getrandbits(lanes.inputs[name]) for name in ("i1", "i2")}
        own = [rng.getrandbits(8) for _ in sims]
        for name, value in common.items():
            lanes.set(name, value)
        lanes.set("i0", own)
        for sim, value in zip(sims, own, strict=True):
            sim.set_many({**common, "i0": value})
        try:
            for sim in sims:
                sim.settle()
        except LoopError:
            with pytest.raises(LoopError):
                lanes.settle()
            return
        lanes.settle()
        for name in (*netlist.outputs, *(r.name for r in netlist.registers)):
            assert lanes.get(name) == [sim.get(name) for sim in sims], name
    lanes.power_cycle_again()
    lanes.settle()
    for sim, held in zip(sims, power_ups(seed, count), strict=True):
        sim.power_cycle(held)
        sim.settle()
    for name in (*netlist.outputs, *(r.name for r in netlist.registers)):
        assert lanes.get(name) == [sim.get(name) for sim in sims], name


@pytest.mark.parametrize("as_drawn", [True, False], ids=["as drawn", "shared"])
@pytest.mark.parametrize("seed", range(sized(2, 6)))
def test_faults_are_separate_runs_of_broken_netlists(seed: int, as_drawn: bool) -> None:
    """Faults at places of every sort, the clocks' among them, all from one power-up."""
    print("seed", seed)
    rng = random.Random(seed)
    netlist = gates(any_netlist(rng, cells=8, registers=6, ripple=seed % 2 == 0), as_drawn=as_drawn)
    if netlist.memories:
        pytest.skip("a memory of two clocks")
    places = sorted(FaultLines(netlist).places)
    clocks = [site for site in places if site.place in ("clock", "mask", "value", "output", "data")]
    chosen = rng.sample(clocks, min(sized(3, 15), len(clocks)))
    chosen += rng.sample(places, sized(4, 20))
    chosen += [Site("driver", netlist.inputs["i0"], bit) for bit in range(8)]
    faults = [None, *(Fault(site, rng.getrandbits(1)) for site in chosen)]
    lanes = Lanes(netlist, len(faults), "init", faults=faults)
    sims = [Reference(netlist if f is None else broken(netlist, f), "init") for f in faults]
    for _ in range(15):
        values = {name: rng.getrandbits(width) for name, width in lanes.inputs.items()}
        for name, value in values.items():
            lanes.set(name, value)
        for sim in sims:
            for name, value in values.items():
                sim.set(name, value)
        try:
            for sim in sims:
                sim.settle()
        except LoopError:
            with pytest.raises(LoopError):
                lanes.settle()
            return
        lanes.settle()
        for name in netlist.outputs:
            found, meant = lanes.get(name), [sim.get(name) for sim in sims]
            assert found == meant, (name, [f for f, a, b in zip(faults, found, meant, strict=True) if a != b])


@pytest.mark.parametrize("rising", [True, False], ids=["rising", "falling"])
def test_lines_on_the_way_of_a_clock_are_stuck_in_some_lanes(rising: bool) -> None:
    """A clock through a buffer and an inverter clocks one register, that through a second inverter another."""
    clock, bit = Word.value(0, 1), Word.value(1, 1)
    kinds = (("$buf", 2, clock), ("$not", 3, Word.value(2, 1)), ("$not", 4, Word.value(3, 1)))
    cells = tuple(Cell(kind, output, (operand,)) for kind, output, operand in kinds)
    registers = tuple(
        Register(output, 1, Word.value(by, 1), rising, bit, (), Const(0, 1), f"q{output}")
        for output, by in ((5, 3), (6, 4))
    )
    shown = {"y": Word.value(5, 1), "z": Word.value(6, 1)}
    netlist = Netlist("way", (1,) * 7, {"clk": 0, "d": 1}, shown, cells, registers, ())
    faults = [None, *(Fault(site, level) for site in sorted(FaultLines(netlist).places) for level in (0, 1))]
    lanes = Lanes(netlist, len(faults), "init", faults=faults)
    sims = [Reference(netlist if fault is None else broken(netlist, fault), "init") for fault in faults]
    for moves in ({"d": 1}, {"clk": 1}, {"d": 0}, {"clk": 0}, {"d": 1}, {"clk": 1}, {"d": 0}, {"clk": 0}):
        everything: list[Lanes | Reference] = [lanes, *sims]
        for each in everything:
            for name, value in moves.items():
                each.set(name, value)
            each.settle()
        for name in shown:
            assert lanes.get(name) == [sim.get(name) for sim in sims], (moves, name)


def test_what_a_loop_holds_at_power_up_is_each_lanes_own() -> None:
    """Two gates that hold each other: at rest they keep the level with which they woke up."""
    gates_of = (
        Cell("$or", 2, (Word.value(0, 1), Word.value(3, 1))),
        Cell("$and", 3, (Word.value(1, 1), Word.value(2, 1))),
    )
    netlist = Netlist("holds", (1,) * 4, {"set": 0, "keep": 1}, {"y": Word.value(3, 1)}, gates_of, (), ())
    lanes, sims = Lanes(netlist, 2, [0, 1]), [Simulation(netlist, 0), Simulation(netlist, 1)]
    everything: list[Lanes | Simulation] = [lanes, *sims]
    for moves, held in (
        ({"keep": 1}, [0, 1]),
        ({"set": 1}, [1, 1]),
        ({"set": 0}, [1, 1]),
        ({"keep": 0}, [0, 0]),
    ):
        for each in everything:
            for name, value in moves.items():
                each.set(name, value)
            each.settle()
        assert lanes.get("y") == [sim.get("y") for sim in sims] == held, moves


def clocked(seed: int) -> tuple[Netlist, list[PowerUp]]:
    return any_netlist(random.Random(seed), ripple=False), power_ups(seed, 128)


@pytest.mark.parametrize("seed", [1, 2, 5])
def test_runs_in_machine_code_are_those_of_separate_simulations(seed: int) -> None:
    print("seed", seed)
    netlist, held = clocked(seed)
    rng = np.random.default_rng(seed)
    lanes, compiled = Lanes(netlist, 128, held, per_lane_inputs=("i2",)), Compiled(netlist)
    sims = [Simulation(netlist, power_up, compiled=compiled) for power_up in power_ups(seed, 128)]
    columns: dict[str, Any] = {
        "i0": rng.integers(0, 256, 40, np.uint8),
        "i1": rng.integers(0, 2, 40, np.uint8),
        "i2": rng.integers(0, 32, (40, 128), np.uint8),
    }
    for _ in range(2):  # from power-up, and going on
        own = [
            {name: c if c.ndim == 1 else c[:, lane].copy() for name, c in columns.items()}
            for lane in range(128)
        ]
        found = lanes.run_samples(columns, "o2")
        assert found.dtype == np.uint16
        meant = [sim.run_columns(mine, "o2") for sim, mine in zip(sims, own, strict=True)]
        assert np.array_equal(found, np.array(meant))
    lanes.set("i0", 37)
    for sim in sims:
        sim.set("i0", 37)
    for _ in range(2):
        found = lanes.run_clock("i0", bit=2, cycles=30, observe="o0")
        meant = [sim.run_clock("i0", bit=2, cycles=30, observe="o0") for sim in sims]
        assert np.array_equal(found, np.array(meant))


@pytest.mark.parametrize("seed", sized([2], [1, 2, 5]))
def test_differences_to_lane_0_over_time(seed: int) -> None:
    print("seed", seed)
    netlist, held = clocked(seed)
    rng = np.random.default_rng(seed)
    columns: dict[str, Any] = {
        "i0": rng.integers(0, 256, 30, np.uint8),
        "i2": rng.integers(0, 32, 30, np.uint8),
    }
    found, meant = [], []
    for samples in (True, False):
        seen = []
        for name in netlist.outputs:
            lanes = Lanes(netlist, 128, power_ups(seed, 128))
            lanes.set("i2", 9)
            if samples:
                seen.append(lanes.run_samples(columns, name))
            else:
                seen.append(lanes.run_clock("i0", bit=0, cycles=30, observe=name))
        meant.append(np.any([np.any(s != s[0], axis=1) for s in seen], axis=0))
        lanes = Lanes(netlist, 128, held if samples else power_ups(seed, 128))
        lanes.set("i2", 9)
        if samples:
            found.append(lanes.differs_in_samples(columns))
        else:
            found.append(lanes.differs_in_clock("i0", cycles=30))  # of bit 0, unless another is named
    assert np.array_equal(np.array(found, bool), np.array(meant))


@pytest.mark.parametrize(
    "name", sized(["lfsr", "serial"], ["counter", "lfsr", "dimmer", "serial", "processor", "multiplier"])
)
def test_the_benchmark_circuits(name: str) -> None:
    """As gates, and as lanes of gates, they do what they do as words."""
    circuit = next(circuit for circuit in CIRCUITS if circuit.name == name)
    netlist = parse(rtlil(OnPins(circuit.design())))
    drawn = Simulation(gates(netlist), "init")
    plain = Simulation(netlist, "init")
    lanes = Lanes(netlist, 128, power_ups(3, 128))
    sims = [Simulation(netlist, held, compiled=plain.compiled) for held in power_ups(3, 128)]
    everything: list[Simulation | Lanes] = [drawn, plain, lanes, *sims]
    for each in everything:
        each.set("inputs", circuit.steady)
    cycles = 3000
    meant = [sim.run_clock("inputs", bit=7, cycles=cycles, observe="outputs") for sim in sims]
    found = lanes.run_clock("inputs", bit=7, cycles=cycles, observe="outputs")
    assert np.array_equal(found, np.array(meant))
    assert np.array_equal(
        drawn.run_clock("inputs", bit=7, cycles=cycles, observe="outputs"),
        plain.run_clock("inputs", bit=7, cycles=cycles, observe="outputs"),
    )


@pytest.mark.parametrize("halves", [False, True], ids=["whole words", "halves"])
@pytest.mark.parametrize("name", sized(["lfsr"], ["lfsr", "serial", "processor", "multiplier"]))
def test_long_runs_with_a_fault_in_every_lane(
    name: str, halves: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Code for the levels of the inputs, few registers and many; words in halves and whole."""
    monkeypatch.setattr("forelight.sim.lanes.together._LONG", 16)
    monkeypatch.setattr("forelight.sim.lanes.together.halves_pay", lambda faults, lanes: halves)
    circuit = next(circuit for circuit in CIRCUITS if circuit.name == name)
    netlist = gates(parse(rtlil(OnPins(circuit.design()))))
    rng = random.Random(9)
    classes = [members[0] for members in collapsed(netlist)]
    faults = [None, *(rng.choice(classes) for _ in range(255))]
    recorded, compared = (Lanes(netlist, 256, "init", faults=faults) for _ in range(2))
    for lanes in (recorded, compared):
        lanes.set("inputs", circuit.steady)
    found = recorded.run_clock("inputs", bit=7, cycles=700, observe="outputs")
    differs = compared.differs_in_clock("inputs", bit=7, cycles=700)
    assert np.array_equal(differs.astype(bool), np.any(found != found[0], axis=1))
    assert 20 < differs.sum() < 255
    for lane in (0, *rng.sample(range(1, 256), 3)):
        fault = faults[lane]
        sim = Simulation(broken(netlist, fault) if fault else netlist, "init")
        sim.set("inputs", circuit.steady)
        meant = sim.run_clock("inputs", bit=7, cycles=700, observe="outputs")
        assert np.array_equal(found[lane], meant), fault


def test_halves_pay_where_a_site_is_stuck_in_one_half_alone() -> None:
    sites = [Site("driver", number) for number in range(64)]
    alone = [Fault(sites[lane // 2], lane % 2) for lane in range(128)]
    in_both = [Fault(sites[lane % 64], lane % 2) for lane in range(128)]
    assert halves_pay([None, *alone[1:]], 128) and not halves_pay([None, *in_both[1:]], 128)
    assert not halves_pay([], 128) and not halves_pay([None] * 128, 128)


def test_a_memory_that_is_no_gates_runs_lane_after_lane() -> None:
    rows = tuple(Const(n % 256, 8) for n in range(1024))
    data, enable = Word.of([Slice(0, 0, 8)]), Word.of([Slice(0, 9, 1)] * 8)
    address = Word.of([Slice(1, 0, 10)])
    write = WritePort(Word.of([Slice(0, 10, 1)]), True, address, data, enable)
    memory = Memory("store", 8, 1024, 0, rows, (write,))
    count = Register(1, 10, Word.of([Slice(0, 10, 1)]), True, Word.value(3, 10), (), Const(0, 10), "count")
    cells = (Cell("read", 2, (address,), {"memory": 0}), Cell("$add", 3, (address, Word.const(1, 1))))
    netlist = Netlist(
        "stored", (11, 10, 8, 10), {"i": 0}, {"o": Word.value(2, 8)}, cells, (count,), (memory,)
    )
    lanes = Lanes(netlist, 6, power_ups(4, 6))
    assert not lanes.side_by_side
    assert lanes.note == "memory store of stored is no gates: the lanes run one after another"
    sims = [Simulation(netlist, held) for held in power_ups(4, 6)]
    everything: list[Simulation | Lanes] = [lanes, *sims]
    for each in everything:
        each.set("i", 1 << 9 | 77)
    meant = np.array([sim.run_clock("i", bit=10, cycles=50, observe="o") for sim in sims])
    assert np.array_equal(lanes.run_clock("i", bit=10, cycles=50, observe="o"), meant)
    assert lanes.get("o") == [sim.get("o") for sim in sims]
    lanes.power_cycle(power_ups(4, 6))
    lanes.set("i", 1 << 9 | 77)
    differs = lanes.differs_in_clock("i", bit=10, cycles=50)
    assert np.array_equal(differs.astype(bool), np.any(meant != meant[0], axis=1))
    columns = {"i": (np.arange(100) % 2 << 10 | 1 << 9 | 77).astype(np.uint64)}
    lanes.power_cycle_again()
    first, apart = lanes.run_agreement(columns, "o")
    shown = np.array([Simulation(netlist, held).run_columns(columns, "o") for held in power_ups(4, 6)])
    assert np.array_equal(first, shown[0])
    assert np.array_equal(apart, np.bitwise_or.reduce(shown ^ shown[0], axis=0))
    assert apart.any()
    with pytest.raises(UsageError, match="no netlist of gates alone"):
        Lanes(netlist, 6, faults=[Fault(Site("driver", 0, 0), 1)])


def test_questions_that_cannot_be_answered() -> None:
    netlist = any_netlist(random.Random(1))
    for ask, said in (
        (lambda: Lanes(netlist, 4, per_lane_inputs=("i9",)), "no input is called i9"),
        (lambda: Lanes(netlist, 4, [0, 1]), "2 power-ups for 4 lanes"),
        (lambda: Lanes(netlist, 4).set("i0", [1, 2, 3, 4]), "input i0 cannot take 4 values"),
        (
            lambda: Lanes(netlist, 4).set("i0", 256),
            "input i0 has 8 bits and cannot take all of these values; give 0 to 255",
        ),
        (lambda: Lanes(netlist, 4).bits("o9"), "no output is called o9"),
        (
            lambda: Lanes(netlist, 4).run_clock("i0", bit=8, cycles=1, observe="o0"),
            "bit 8 of input i0 is no clock for all lanes; name one of bits 0 to 7 of an input that does not differ",
        ),
        (lambda: Lanes(netlist, 4).run_samples({"i0": np.zeros(3)}, "o0"), "cannot take an array of float64"),
    ):
        with pytest.raises(UsageError, match=said):
            ask()
    for columns in (1, 3, 5):  # for four lanes
        said = rf"input i0 of 8 bits cannot take an array of uint8 of shape \(3, {columns}\)"
        with pytest.raises(UsageError, match=said):
            Lanes(netlist, 4, per_lane_inputs=("i0",)).run_samples(
                {"i0": np.zeros((3, columns), np.uint8)}, "o0"
            )
    drawn = gates(netlist)
    with pytest.raises(UsageError, match="is at no site of random"):
        Lanes(drawn, 4, faults=[Fault(Site("gate", 10**6), 1)])
