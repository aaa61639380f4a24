"""The face of a simulation: power-up, updates, runs, snapshots and its errors."""

from __future__ import annotations

import random
import re
from typing import Any

import numpy as np
import pytest
from forelight.sim import Netlist, Simulation, Trace
from forelight.sim.errors import UsageError
from forelight.sim.loops import LoopError
from forelight.sim.netlist import Cell, Const, Memory, Override, Register, Slice, Word, WritePort

CLK = Word.of([Slice(0, 7, 1)])


def counter(width: int = 4, *, rising: bool = True, reset: bool = False) -> Netlist:
    """A counter of bit 7 of `inputs`; bit 6 is an asynchronous reset."""
    now = Word.value(1, width)
    overrides = (Override(Word.of([Slice(0, 6, 1)] * width), Word.const(0, width)),) if reset else ()
    register = Register(1, width, CLK, rising, Word.value(2, width), overrides, Const(5, width), "count")
    cell = Cell("$add", 2, (now, Word.const(1, 1)), {"A_SIGNED": 0, "B_SIGNED": 0})
    return Netlist(
        "counter",
        (8, width, width),
        {"inputs": 0},
        {"outputs": now},
        (cell,),
        (register,),
        (),
        {"count": now},
    )


def test_power_up_holds_zero_one_the_declared_value_or_chance() -> None:
    assert Simulation(counter(), 0).get("count") == 0
    assert Simulation(counter(), 1).get("count") == 15
    assert Simulation(counter(), "init").get("count") == 5
    seen = {Simulation(counter(), random.Random(seed)).get("count") for seed in range(64)}
    assert len(seen) > 8


def test_wiring_keeps_its_declared_contents_at_any_power_up() -> None:
    tied = Register(1, 4, CLK, True, Word.value(1, 4), (), Const(9, 4), "tied")
    rows = tuple(Const(n * 3 % 16, 4) for n in range(4))
    rom = Memory("rom", 4, 4, 0, rows, ())
    read = Cell("read", 2, (Word.of([Slice(0, 0, 2)]),), {"memory": 0})
    outputs = {"tied": Word.value(1, 4), "row": Word.value(2, 4)}
    netlist = Netlist("wiring", (8, 4, 4), {"inputs": 0}, outputs, (read,), (tied,), (rom,))
    for power_up in (0, 1, random.Random(3)):
        sim = Simulation(netlist, power_up)
        sim.set("inputs", 3)
        sim.settle()
        assert (sim.get("tied"), sim.get("row")) == (9, 9)


def test_the_first_settling_makes_no_edge() -> None:
    sim = Simulation(counter())
    sim.set("inputs", 128)
    sim.settle()
    assert sim.get("outputs") == 0
    sim.set("inputs", 0)
    sim.settle()
    sim.set("inputs", 128)
    sim.settle()
    assert sim.get("outputs") == 1


@pytest.mark.parametrize("rising", [True, False])
def test_run_clock_is_as_many_updates(rising: bool) -> None:
    fast, slow = Simulation(counter(rising=rising)), Simulation(counter(rising=rising))
    for start in (0, 128):  # from either level of the clock
        for sim in (fast, slow):
            sim.set("inputs", start | 5)
            sim.settle()
        seen = fast.run_clock("inputs", bit=7, cycles=40, observe="outputs")
        expected = []
        for _ in range(40):
            for level in (128, 0):
                slow.set("inputs", level | 5)
                slow.settle()
            expected.append(slow.get("outputs"))
        assert seen.dtype == np.uint8
        assert seen.tolist() == expected
        assert fast.snapshot() == slow.snapshot()


def test_stream_clock_gives_the_same_in_blocks_of_one_buffer() -> None:
    cycles = (1 << 18) + 5
    whole = Simulation(counter(20)).run_clock("inputs", bit=7, cycles=cycles, observe="count")
    assert whole.dtype == np.uint32
    blocks = []
    addresses = set()
    for block in Simulation(counter(20)).stream_clock("inputs", bit=7, cycles=cycles, observe="count"):
        addresses.add(block.ctypes.data)
        blocks.append(block.copy())
    assert [len(block) for block in blocks] == [1 << 18, 5]
    assert len(addresses) == 1
    assert np.array_equal(np.concatenate(blocks), whole)


def test_run_samples_is_one_update_an_element() -> None:
    seed = 20
    print("seed", seed)
    values = np.random.default_rng(seed).integers(0, 256, 500).astype(np.uint8)
    fast, slow = Simulation(counter(reset=True)), Simulation(counter(reset=True))
    seen = fast.run_samples("inputs", values, "outputs")
    expected = []
    for value in values:
        slow.set("inputs", int(value))
        slow.settle()
        expected.append(slow.get("outputs"))
    assert seen.tolist() == expected
    assert fast.snapshot() == slow.snapshot()


def test_run_takes_and_gives_change_only_traces() -> None:
    levels = np.array([0, 128, 0, 128, 129, 0], np.uint64)
    stimulus = Trace(np.arange(6) * 10, {"inputs": levels}, {"inputs": 8}, 60)
    answer = Simulation(counter()).run(stimulus)
    assert answer.times.tolist() == [0, 10, 30]
    assert answer.values["outputs"].tolist() == [0, 1, 2]
    assert answer.end == 60


def test_ports_wider_than_an_array_element_run_too() -> None:
    cell = Cell("$not", 1, (Word.value(0, 100),))
    netlist = Netlist("wide", (100, 100), {"a": 0}, {"y": Word.value(1, 100)}, (cell,), (), ())
    sim = Simulation(netlist)
    sim.set("a", 1 << 99)
    sim.settle()
    assert sim.get("y") == (1 << 99) - 1
    stimulus = Trace(np.array([0]), {"a": np.array([1 << 70], object)}, {"a": 100}, 1)
    assert sim.run(stimulus).values["y"][0] == (1 << 100) - 1 - (1 << 70)


def test_a_snapshot_restores_everything() -> None:
    sim = Simulation(counter())
    sim.run_clock("inputs", bit=7, cycles=5, observe="outputs")
    state = sim.snapshot()
    first = sim.run_clock("inputs", bit=7, cycles=9, observe="outputs")
    sim.restore(state)
    assert np.array_equal(sim.run_clock("inputs", bit=7, cycles=9, observe="outputs"), first)
    with pytest.raises(UsageError) as caught:
        sim.restore(state[:-1])
    assert "restore a snapshot of the same netlist" in str(caught.value)


def ram() -> Netlist:
    """Four rows from address 2 on; address in bits 0 to 2, data in 3 and 4, enable in 6."""
    address, data = Word.of([Slice(0, 0, 3)]), Word.of([Slice(0, 3, 2)])
    port = WritePort(CLK, True, address, data, Word.of([Slice(0, 6, 1)] * 2))
    memory = Memory("ram", 2, 4, 2, (Const(0, 2),) * 4, (port,))
    read = Cell("read", 1, (address,), {"memory": 0})
    return Netlist("ram", (8, 2), {"inputs": 0}, {"row": Word.value(1, 2)}, (read,), (), (memory,))


def test_a_memory_drops_writes_and_reads_0_out_of_range() -> None:
    sim = Simulation(ram())
    for address in range(8):
        for level in (0, 128):
            sim.set("inputs", level | 64 | 3 << 3 | address)
            sim.settle()
    assert sim.peek_memory("ram") == [3, 3, 3, 3]
    seen = []
    for address in range(8):
        sim.set("inputs", address)
        sim.settle()
        seen.append(sim.get("row"))
    assert seen == [0, 0, 3, 3, 3, 3, 0, 0]
    sim.poke_memory("ram", 1, 2)
    sim.set("inputs", 3)
    sim.settle()
    assert sim.get("row") == 2


def latch() -> Netlist:
    """Two cross-coupled NOR gates: bit 0 sets, bit 1 resets."""
    a = Cell("$not", 1, (Word.value(2, 1),))
    b = Cell("$or", 2, (Word.of([Slice(0, 0, 1)]), Word.value(3, 1)))
    c = Cell("$not", 3, (Word.value(4, 1),))
    d = Cell("$or", 4, (Word.of([Slice(0, 1, 1)]), Word.value(1, 1)))
    return Netlist("nor", (8, 1, 1, 1, 1), {"inputs": 0}, {"q": Word.value(3, 1)}, (a, b, c, d), (), ())


def test_cross_coupled_gates_hold_what_was_set() -> None:
    sim = Simulation(latch(), random.Random(1))
    seen = []
    for inputs in (1, 0, 2, 0, 1, 0):
        sim.set("inputs", inputs)
        sim.settle()
        seen.append(sim.get("q"))
    assert seen == [1, 1, 0, 0, 1, 1]


def test_a_loop_without_rest_is_an_error_with_its_nets_and_not_a_hang() -> None:
    cell = Cell("$not", 1, (Word.value(1, 1),), {}, "ring.v:3")
    netlist = Netlist(
        "ring", (1, 1), {"a": 0}, {"y": Word.value(1, 1)}, (cell,), (), (), {"y": Word.value(1, 1)}
    )
    with pytest.raises(LoopError) as caught:
        Simulation(netlist).settle()
    assert str(caught.value) == (
        "ring: an update never comes to rest: y (ring.v:3); "
        "break the loop with a register, or hold the input that lets it run"
    )


def test_a_ripple_counter_takes_a_round_a_stage() -> None:
    stages = 12
    registers, cells = [], []
    clock, rising = CLK, True
    for stage in range(stages):
        q, inverted = 1 + 2 * stage, 2 + 2 * stage
        cells.append(Cell("$not", inverted, (Word.value(q, 1),)))
        registers.append(Register(q, 1, clock, rising, Word.value(inverted, 1), (), Const(0, 1), f"q{stage}"))
        clock, rising = Word.value(q, 1), False
    outputs = {"outputs": Word.of([Slice(1 + 2 * stage, 0, 1) for stage in range(stages)])}
    netlist = Netlist(
        "ripple", (8, *[1] * 2 * stages), {"inputs": 0}, outputs, tuple(cells), tuple(registers), ()
    )
    seen = Simulation(netlist).run_clock("inputs", bit=7, cycles=5000, observe="outputs")
    assert seen.tolist() == [n % 4096 for n in range(1, 5001)]


@pytest.mark.parametrize(
    ("act", "message"),
    [
        (lambda s: s.set("input", 1), "counter: no input is called input; did you mean inputs?"),
        (
            lambda s: s.set("inputs", 256),
            "counter: input inputs has 8 bits and cannot take 256; give 0 to 255",
        ),
        (lambda s: s.get("zzz"), "counter: no name is called zzz; there are outputs, inputs, count"),
        (
            lambda s: s.run_clock("inputs", bit=8, cycles=1, observe="outputs"),
            "counter: input inputs has no bit 8; its bits are 0 to 7",
        ),
        (lambda s: s.peek_memory("ram"), "counter: no memory is called ram; there are none"),
        (
            lambda s: s.run_samples("inputs", np.array([1, -2], np.int64), "outputs"),
            "counter: input inputs has 8 bits and cannot take all of an array of int64; "
            "give whole numbers that fit, one for each update",
        ),
        (
            lambda s: s.run_samples("inputs", np.array([1.0, 2.0]), "outputs"),
            "counter: input inputs has 8 bits and cannot take all of an array of float64; "
            "give whole numbers that fit, one for each update",
        ),
        (lambda s: s.set("inputs", 2.0), "counter: inputs cannot take 2.0; give a whole number"),
    ],
)
def test_wrong_use_is_one_clear_error(act: object, message: str) -> None:
    assert callable(act)
    with pytest.raises(UsageError) as caught:
        act(Simulation(counter()))
    assert str(caught.value) == message


@pytest.mark.parametrize("held", ["Init", "1", 7, -3, 2.5, None, b"init"])
def test_a_power_up_that_there_is_not_is_refused(held: Any) -> None:
    message = (
        f"{held!r} is nothing that flip-flops hold at power-up; "
        'give 0, 1, "init" for the initial values that the source states, or a random.Random'
    )
    with pytest.raises(UsageError, match=re.escape(message)):
        Simulation(counter(), held)


@pytest.mark.parametrize("kind", [np.uint8, np.int8, np.int32, np.uint64])
def test_whole_numbers_and_arrays_of_numpy_are_numbers(kind: Any) -> None:
    plain, other = Simulation(counter()), Simulation(counter())
    rows = [0, 1, 0, 1, 0]
    assert (
        other.run_samples("inputs", np.array(rows, kind), "outputs").tolist()
        == other_of(plain, rows)
        == Simulation(counter()).run_samples("inputs", rows, "outputs").tolist()
    )
    other.set("inputs", kind(3))
    other.set_many({"inputs": kind(2)})
    plain.set("inputs", 2)
    runs = [
        one.run_clock("inputs", bit=number(0), cycles=number(4), observe="outputs").tolist()
        for one, number in ((plain, int), (other, kind))
    ]
    assert runs[0] == runs[1]


def other_of(simulation: Simulation, rows: list[int]) -> list[int]:
    """The same, one update at a time."""
    found = []
    for value in rows:
        simulation.set("inputs", value)
        simulation.settle()
        found.append(simulation.get("outputs"))
    return found
