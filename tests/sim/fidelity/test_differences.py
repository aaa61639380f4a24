"""Where an order is open, or where simulators part: the cases, listed and not counted.

DEVELOPERS.md, Time 4, says which outcome Forelight takes. The table that the first test prints names what Icarus
Verilog takes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest
from amaranth.hdl import ClockDomain, Signal, unsigned
from amaranth.lib.memory import Memory
from forelight.designs import read
from forelight.sim import Simulation

from ..icarus import needs_icarus
from .amaranth_bench import Bench
from .comparison import Design, under_forelight, under_icarus

FOLDER = Path(__file__).parent / "races"


@dataclass(frozen=True)
class Race:
    """A circuit in `races/`, the levels of its inputs row by row, and its outputs at the end."""

    rows: Sequence[str]
    possible: Sequence[str]
    forelight: str
    why: str


RACES = {
    "blocking": Race(
        ("0", "1"),
        ("00", "11"),
        "01",
        "IEEE 1364-2005, 11.4.2: the two blocks run in any order; flip-flops exchange their bits, as Yosys builds them",
    ),
    "derived": Race(
        ("0", "1"),
        ("0101", "0110"),
        "0110",
        "IEEE 1364-2005, 11.4.2: the new data or the block that waits for the derived clock may come first",
    ),
    "together": Race(
        ("00", "11"),
        ("0", "1"),
        "1",
        "data and clock arrive at one instant: edges take the data that came with them",
    ),
    "hazard": Race(
        ("0", "1"),
        ("0", "1"),
        "0",
        "IEEE 1364-2005, 11.4.2: the gate may or may not see its inputs differ for a moment",
    ),
    "decade": Race(
        ("11", "10", *("10", "00") * 10),
        ("0000", "0100"),
        "0000",
        "IEEE 1364-2005, 11.4.2: the clear may or may not still hold when the block that it clears sees its clock fall",
    ),
    "pulse": Race(
        ("0", "1", "0"),
        ("1",),
        "0",
        "no order is open: Verilog waits for the edge of a pulse that lasts no time, to Forelight a clear acts at once",
    ),
    "released": Race(
        ("000", "001", "011", "001"),
        ("0",),
        "1",
        "no order is open: Verilog waits for an edge that does not come, a set that is a level is seen as in silicon",
    ),
}


def driven(race: Race, ports: Sequence[str]) -> list[dict[str, int]]:
    return [dict(zip(ports, map(int, row), strict=True)) for row in race.rows]


@needs_icarus
def test_the_list_of_cases(tmp_path: Path) -> None:
    for name, race in RACES.items():
        path = FOLDER / f"{name}.v"
        sim = Simulation(read(path, top=name), power_up="init")
        rows = driven(race, list(sim.inputs))
        theirs = (
            under_icarus(Design([path], name), sim.inputs, sim.outputs, rows, tmp_path)[-1].tobytes().decode()
        )
        print(
            f"{name:<9} Icarus {theirs}, Forelight {race.forelight}, possible in Verilog {race.possible}: {race.why}"
        )
        assert theirs in race.possible


@pytest.mark.parametrize("name", RACES)
def test_forelight_keeps_its_rule(name: str) -> None:
    race = RACES[name]
    sim = Simulation(read(FOLDER / f"{name}.v", top=name), power_up="init")
    assert under_forelight(sim, driven(race, list(sim.inputs)))[-1].tobytes().decode() == race.forelight


def last(bench: Bench, rows: Sequence[dict[str, int]]) -> tuple[str, str]:
    """What `amaranth.sim` and what Forelight shows after the last row."""
    sim = Simulation(bench.netlist(), power_up="init")
    theirs, ours = bench.under_amaranth(rows)[-1], under_forelight(sim, rows)[-1]
    return theirs.tobytes().decode(), ours.tobytes().decode()


def test_reset_of_a_memory_reader() -> None:
    """`amaranth.sim` 0.5.10 resets a synchronous reader that rests; the RTLIL that the chip is made from does not."""
    bench = Bench()
    bench.domain()
    bench.m.submodules.memory = store = Memory(shape=unsigned(4), depth=2, init=[9, 6])
    reader = store.read_port()
    bench.m.d.comb += reader.en.eq(bench.takes("en", 1))
    bench.shows(data=reader.data)
    levels = ((0, 0, 1), (1, 0, 1), (0, 0, 0), (0, 1, 0), (1, 1, 0))
    rows = [{"sync_clk": clk, "sync_rst": rst, "en": en} for clk, rst, en in levels]
    assert last(bench, rows) == ("0000", "1001")


def test_clock_through_a_buffer() -> None:
    """`amaranth.sim` 0.5.10 lets a register behind a copied clock take data of the same edge; Verilog does not."""
    bench = Bench()
    bench.domain()
    copy = ClockDomain("copy", reset_less=True)
    bench.m.domains += copy
    count, behind = Signal(4, init=3), Signal(4)
    bench.m.d.comb += copy.clk.eq(bench.inputs["sync_clk"])
    bench.m.d.sync += count.eq(count + 1)
    bench.m.d.copy += behind.eq(count)
    bench.shows(behind=behind)
    rows = [{"sync_clk": clk, "sync_rst": 0} for clk in (0, 1)]
    assert last(bench, rows) == ("0100", "0011")


def test_inverted_register_as_a_clock() -> None:
    """`amaranth.sim` 0.5.10 makes an edge of the first settling; Forelight makes none (DEVELOPERS.md, Time 4)."""
    bench = Bench()
    bench.domain()
    derived = ClockDomain("derived", reset_less=True)
    bench.m.domains += derived
    held, count = Signal(), Signal(4)
    bench.m.d.comb += derived.clk.eq(~held)
    bench.m.d.sync += held.eq(held)
    bench.m.d.derived += count.eq(count + 1)
    bench.shows(count=count)
    assert last(bench, [{"sync_clk": 0, "sync_rst": 0}]) == ("0001", "0000")
