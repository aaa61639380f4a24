"""Code with a copy of its body for each value of a control word gives what the plain code gives."""

from __future__ import annotations

import random

import numpy as np
import pytest
from forelight.sim import Netlist, Simulation
from forelight.sim.compile.clock import Split, Toggle, clock
from forelight.sim.compile.fold import fold
from forelight.sim.compile.tune import splits, surprises, tune
from forelight.sim.machine.code import compile_text
from forelight.sim.netlist import Cell, Const, Register, Slice, Word
from forelight.sim.state import State

CLK = Word.of([Slice(0, 7, 1)])


def machine() -> Netlist:
    """A four-state machine with a 4-bit timer and an 8-bit sum; bit 0 of the inputs holds it in its state."""
    state, timer, total = Word.value(1, 2), Word.value(2, 4), Word.value(3, 8)
    hold = Word.of([Slice(0, 0, 1)])
    cells = (
        Cell("$add", 4, (timer, Word.const(1, 1)), {}),
        Cell("$eq", 5, (timer, Word.const(11, 4)), {}),
        Cell("$mux", 6, (Word.value(4, 4), Word.const(0, 4), Word.value(5, 1))),
        Cell(
            "case",
            7,
            (state, Word.const(1, 2), Word.const(3, 2), Word.const(0, 2), Word.const(2, 2)),
            {"patterns": (("00",), ("01",), ("10",))},
        ),
        Cell("$mux", 8, (state, Word.value(7, 2), Word.value(5, 1))),
        Cell("$mux", 9, (Word.value(8, 2), state, hold)),
        Cell("$sub", 10, (total, timer), {}),
        Cell("$add", 11, (total, Word.const(37, 8)), {}),
        Cell("$mul", 12, (total, Word.const(5, 8)), {}),
        Cell(
            "case",
            13,
            (state, total, Word.value(10, 8), Word.value(11, 8), Word.value(12, 8)),
            {"patterns": (("00",), ("01",), ("1-",))},
        ),
    )
    registers = (
        Register(1, 2, CLK, True, Word.value(9, 2), (), Const(0, 2), "state"),
        Register(2, 4, CLK, True, Word.value(6, 4), (), Const(0, 4), "timer"),
        Register(3, 8, CLK, True, Word.value(13, 8), (), Const(1, 8), "total"),
    )
    widths = (8, 2, 4, 8, 4, 1, 4, 2, 2, 2, 8, 8, 8, 8)
    names = {register.name: Word.value(register.output, register.width) for register in registers}
    return Netlist("machine", widths, {"inputs": 0}, {"outputs": total}, cells, registers, (), names)


def recorded(sim: Simulation, split: Split, inputs: int | None, cycles: int) -> tuple[list[int], bytes]:
    """What code with a split records from the simulation's state, and the state after it."""
    levels = None if inputs is None else (("inputs", inputs),)
    toggle = Toggle("inputs", 7, sim.netlist.outputs["outputs"], levels)
    code = compile_text(clock(sim.compiled.program, toggle, split), "clock", 3)
    state = State(sim.netlist, sim.compiled)
    state.load(sim.snapshot())
    out = np.empty(cycles, np.uint8)
    code.call(state.address, out.ctypes.data, cycles)
    return out.tolist(), state.save()


@pytest.mark.parametrize("inputs", [0, 1])
@pytest.mark.parametrize(
    "split",
    [
        Split((0,), ((0,), (1,), (2,), (3,))),
        Split((0,), ((1,), (3,))),  # values that were not seen go through the copy in which nothing is known
        Split((1,), tuple((n,) for n in range(12))),
        Split((0, 1), tuple((s, t) for s in range(4) for t in range(0, 12, 5))),
        Split((2,), ((1,),)),
    ],
    ids=str,
)
def test_every_split_agrees_with_the_plain_code(split: Split, inputs: int) -> None:
    sim = Simulation(machine(), "init")
    sim.set("inputs", inputs)
    sim.run_clock("inputs", bit=7, cycles=3, observe="outputs")
    for cycles in (1, 2, 500):
        plain = recorded(sim, Split(), None, cycles)
        assert recorded(sim, split, None, cycles) == plain
        assert recorded(sim, split, inputs, cycles) == plain


def test_tuning_finds_the_control_word_and_changes_nothing() -> None:
    sim = Simulation(machine(), "init")
    sim.set("inputs", 0)
    sim.run_clock("inputs", bit=7, cycles=3, observe="outputs")
    image = sim.snapshot()
    toggle = Toggle("inputs", 7, sim.netlist.outputs["outputs"], (("inputs", 0),))
    variants = tune(sim.compiled.program, toggle, image)
    assert any(set(variant.split.registers) >= {0, 1} for variant in variants)
    plain = recorded(sim, Split(), None, 3000)[0]
    for variant in variants:
        state = State(sim.netlist, sim.compiled)
        state.load(image)
        out = np.empty(3000, np.uint8)
        variant.code.call(state.address, out.ctypes.data, 3000)
        assert out.tolist() == plain, variant.split


def test_a_long_run_is_the_same_before_and_after_it_was_tuned() -> None:
    cycles = 200_000
    first = Simulation(machine(), "init")
    expected = first.run_clock("inputs", bit=7, cycles=cycles, observe="outputs")
    second = Simulation(machine(), "init", compiled=first.compiled)
    second.run_clock("inputs", bit=7, cycles=1, observe="outputs")
    toggle = Toggle("inputs", 7, second.netlist.outputs["outputs"], (("inputs", 0),))
    first.compiled.tune(toggle, second.snapshot(), wait=True)
    assert first.compiled.tuned(toggle) is not None
    second.power_cycle("init")
    assert np.array_equal(second.run_clock("inputs", bit=7, cycles=cycles, observe="outputs"), expected)
    assert first.snapshot() == second.snapshot()


def test_a_random_bit_surprises_and_a_counter_does_not() -> None:
    seed = 5
    print("seed", seed)
    rng = np.random.default_rng(seed)
    assert surprises(np.arange(20_000) % 17) == 0
    assert 0.3 < surprises(rng.integers(0, 2, 20_000)) < 0.6


def test_a_register_that_surprises_alone_is_taken_beside_the_one_that_explains_it() -> None:
    """A state that moves every 32nd cycle is a surprise then, but not to one who sees the timer too."""
    cycles = np.arange(20_000)
    state, timer = (cycles // 32 % 3).astype(np.uint64), (cycles % 32).astype(np.uint64)
    noise = np.random.default_rng(1).integers(0, 1 << 16, 20_000).astype(np.uint64)
    found = splits([state, timer, noise, None], cells=20)
    assert set(found[-1].registers) == {0, 1}
    assert len(found[-1].values) == 96


@pytest.mark.parametrize(
    "kind", ["$and", "$or", "$eq", "$ne", "$logic_and", "$logic_or", "$mux", "$pmux", "case"]
)
def test_folding_agrees_with_computing(kind: str) -> None:
    """Folded with some operands known, then asked with the rest: the same as asked with all."""
    from forelight.sim.evaluate import evaluate
    from forelight.sim.state import assemble

    seed = 9
    print("seed", seed)
    rng = random.Random(seed)
    params = {"patterns": (("00", "11"), ("0-",))} if kind == "case" else {"A_SIGNED": 0, "B_SIGNED": 0}
    widths = {"$mux": (3, 3, 1), "$pmux": (3, 6, 2), "case": (2, 3, 3, 3)}.get(kind, (3, 3))
    width = 3 if kind in ("$mux", "$pmux", "case", "$and", "$or") else 1
    folded = 0
    for _ in range(1000):
        numbers = [rng.getrandbits(w) for w in widths]
        if kind == "$pmux":
            numbers[2] &= -numbers[2]
        operands = [
            Word.of(
                Const(n >> bit & 1, 1) if rng.random() < 0.6 else Slice(value, bit, 1) for bit in range(w)
            )
            for value, (n, w) in enumerate(zip(numbers, widths, strict=True))
        ]
        result = fold(Cell(kind, 9, tuple(operands), params), operands, width)
        if result is not None:
            folded += 1
            known = dict(enumerate(numbers))
            assert assemble(result, known) == evaluate(kind, params, numbers, widths, width)
    assert folded > 50
