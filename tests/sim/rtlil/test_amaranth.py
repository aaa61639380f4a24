"""What Amaranth prints, read and run, does what Amaranth's own simulator does with the same circuit."""

from __future__ import annotations

import random
from typing import Any

import pytest
from amaranth.back import rtlil
from amaranth.hdl import (
    Array,
    Cat,
    ClockDomain,
    EnableInserter,
    Module,
    Mux,
    ResetInserter,
    Signal,
    signed,
    unsigned,
)
from amaranth.lib import memory
from amaranth.sim import Simulator
from forelight.sim.reference import Reference
from forelight.sim.rtlil.reader import parse

SEED = 50
CYCLES = 800


class Bench:
    """A module with eight bits in and sixteen out, and domains whose clock and resets are inputs too."""

    def __init__(self) -> None:
        self.inputs, self.outputs = Signal(8, name="inputs"), Signal(16, name="outputs")
        self.clk, self.rst, self.clear = (Signal(name=name) for name in ("clk", "rst", "clear"))
        sync = ClockDomain("sync")
        fall = ClockDomain("fall", clk_edge="neg", async_reset=True)
        sync.clk = fall.clk = self.clk
        sync.rst, fall.rst = self.rst, self.clear
        self.module = Module()
        self.module.domains += [sync, fall]

    @property
    def driven(self) -> dict[str, Signal]:
        return {name: getattr(self, name) for name in ("inputs", "clk", "rst", "clear")}

    def rtlil(self) -> str:
        text: str = rtlil.convert(self.module, ports=[*self.driven.values(), self.outputs])
        return text


def memories(bench: Bench) -> None:
    """Two write ports, one in halves; reads at once, later and transparent; a depth that is no power of two.

    Without a reset: Amaranth 0.5.10's simulator lets it clear a read port that is not enabled, and its RTLIL does not.
    """
    m, inputs = bench.module, bench.inputs
    m.submodules.mem = mem = memory.Memory(shape=unsigned(8), depth=11, init=[3, 1, 4, 1, 5])
    first, second = mem.write_port(granularity=4), mem.write_port()
    now, later = mem.read_port(domain="comb"), mem.read_port()
    through = mem.read_port(transparent_for=(first,))
    count = Signal(8, init=1)
    m.d.sync += count.eq(count * 5 + inputs + 3)
    m.d.comb += [first.addr.eq(inputs[:3]), first.data.eq(count), first.en.eq(inputs[6:])]
    m.d.comb += [second.addr.eq(count[1:5]), second.data.eq(~count)]
    m.d.comb += second.en.eq(inputs[5] & (count[1:5] != inputs[:3]))  # never both at one word
    m.d.comb += [now.addr.eq(count), later.addr.eq(inputs[1:]), later.en.eq(inputs[0])]
    m.d.comb += [through.addr.eq(inputs[:3]), through.en.eq(inputs[4])]
    with m.If(inputs[0]):
        m.d.comb += bench.outputs.eq(Cat(now.data, later.data))
    with m.Else():
        m.d.comb += bench.outputs.eq(through.data.as_signed() * 3)


def choices(bench: Bench) -> None:
    """Patterns, priorities, arrays, parts of a signal at a place that is data, signed comparison, division."""
    m, inputs = bench.module, bench.inputs
    state = Signal(16, init=0x1234)
    rows = Array([state[:8], inputs, Cat(inputs[4:], state[12:]), ~state[4:12]])
    level = Signal(signed(6))
    m.d.comb += level.eq(state.word_select(inputs[:2], 4).as_signed() + inputs[:4].as_signed())
    with m.Switch(inputs):
        with m.Case("1--0----", "00000000"):
            m.d.sync += state.bit_select(inputs[:4], 5).eq(inputs[3:])
        with m.Case("0---1---"):
            m.d.sync += state.eq(state.rotate_left(3))
            with m.If(level < -2):
                m.d.sync += state[3:9].eq(level)
            with m.Elif(level == 1):
                m.d.sync += state[0].eq(~state[0])
        with m.Case():
            m.d.sync += state.eq(0)
        with m.Case("01-1----"):
            m.d.sync += state[8:].eq(rows[inputs[:2]])
        with m.Default():
            m.d.sync += state.eq(Mux(inputs[7], state // 3, state % inputs[:3]) + 77)
    m.d.comb += bench.outputs.eq(state)
    with m.If(state[15]):
        m.d.comb += bench.outputs[4:12].eq(rows[inputs[1:3]])
        m.d.comb += bench.outputs.word_select(inputs[3], 2).eq(3)


def domains(bench: Bench) -> None:
    """A falling edge, an asynchronous reset, and a submodule with enable and reset put on from outside."""
    m, inputs = bench.module, bench.inputs
    up, down = Signal(8, init=9), Signal(signed(8), init=-5)
    m.d.sync += up.eq(up + 1)
    m.d.fall += down.eq(down - up.as_signed())
    inner = Module()
    held = Signal(8, init=7)
    inner.d.sync += held.eq(held ^ down ^ inputs)
    m.submodules.held = ResetInserter(inputs[6])(EnableInserter(inputs[0])(inner))
    m.d.comb += bench.outputs.eq(Cat(held ^ up, down))


def amaranth(bench: Bench, rows: list[dict[str, int]]) -> list[int]:
    seen: list[int] = []

    async def drive(ctx: Any) -> None:
        for row in rows:
            for name, value in row.items():
                ctx.set(bench.driven[name], value)
            await ctx.delay(1e-6)
            seen.append(ctx.get(bench.outputs))

    simulator = Simulator(bench.module)
    simulator.add_testbench(drive)
    simulator.run()
    return seen


def ours(text: str, rows: list[dict[str, int]]) -> list[int]:
    netlist = parse(text)
    design = Reference(netlist, "init")
    seen = []
    for row in rows:
        for name in netlist.inputs:
            design.set(name, row[name])
        design.settle()
        seen.append(design.get("outputs"))
    return seen


@pytest.mark.parametrize("build", [memories, choices, domains])
def test_same_as_amaranth(build: Any) -> None:
    print(f"seed {SEED}")
    chance = random.Random(SEED)
    rows = []
    for _ in range(CYCLES):
        row = {"inputs": chance.getrandbits(8), "rst": int(chance.random() < 0.03)}
        row["clear"] = int(chance.random() < 0.1)
        rows += [{**row, "clk": level} for level in (0, 1, 0)]  # data change while the clock is low
    if build is memories:
        rows = [{**row, "rst": 0} for row in rows]
    bench = Bench()
    build(bench)
    found, expected = ours(bench.rtlil(), rows), amaranth(bench, rows)
    assert len(set(expected)) > 200
    differ = [n for n, (one, other) in enumerate(zip(found, expected, strict=True)) if one != other]
    assert not differ, f"row {differ[0]}: {rows[differ[0]]} {found[differ[0]]:04x} {expected[differ[0]]:04x}"
