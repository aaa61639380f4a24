"""Ports and registers of any width, from Verilog through the engine, against Python's integers."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from pathlib import Path
from time import perf_counter

import pytest
from forelight.designs import read
from forelight.sim import Netlist, Simulation
from forelight.sim.compile.compiled import Compiled
from forelight.sim.netlist import Cell, Slice, Word

SEED = 2000
VECTORS = 40
Meaning = Callable[[int, int], Mapping[str, int]]


def mask(width: int) -> int:
    return (1 << width) - 1


def signed(value: int, width: int) -> int:
    return value - (1 << width) if value >> (width - 1) else value


#: Name, body of a module with the inputs a and b, widths of a, b and the outputs, meaning.
LOGIC: list[tuple[str, str, tuple[int, int], dict[str, int], Meaning]] = [
    (
        "adder",
        "assign y = a + b, z = a - b;",
        (512, 512),
        {"y": 513, "z": 512},
        lambda a, b: {"y": a + b, "z": a - b & mask(512)},
    ),
    ("multiplier", "assign y = a * b;", (512, 512), {"y": 512}, lambda a, b: {"y": a * b & mask(512)}),
    (
        "division",
        "assign y = a / b, z = a % b;",
        (300, 100),
        {"y": 300, "z": 100},
        lambda a, b: {"y": a // b if b else 0, "z": a % b if b else 0},
    ),
    (
        "shifts",
        "assign y = a << b, z = $signed(a) >>> b;",
        (1000, 12),
        {"y": 1000, "z": 1000},
        lambda a, b: {"y": a << b & mask(1000), "z": signed(a, 1000) >> b & mask(1000)},
    ),
    ("one of many", "assign y = a[b];", (1024, 11), {"y": 1}, lambda a, b: {"y": a >> b & 1}),
    (
        "comparisons",
        "assign y = a < b, z = a == b, p = ^a;",
        (2000, 2000),
        {"y": 1, "z": 1, "p": 1},
        lambda a, b: {"y": int(a < b), "z": int(a == b), "p": a.bit_count() & 1},
    ),
    (
        "bits in reverse",
        "genvar i; for (i = 0; i < 2000; i = i + 1) assign y[i] = a[1999 - i] ^ b[0];",
        (2000, 1),
        {"y": 2000},
        lambda a, b: {"y": int(f"{a:02000b}"[::-1], 2) ^ (mask(2000) if b else 0)},
    ),
]


def compiled(tmp_path: Path, text: str, in_memory: bool | None = None) -> Simulation:
    """The simulation of a module, first update done; prints what it took."""
    path = tmp_path / "wide.v"
    path.write_text(text)
    netlist = read(path)
    start = perf_counter()
    sim = Simulation(netlist, compiled=Compiled(netlist, keep_in_memory=in_memory))
    sim.settle()
    print(f"compiled in {perf_counter() - start:.2f} s")
    return sim


@pytest.mark.slow
@pytest.mark.parametrize("case", LOGIC, ids=lambda case: case[0].replace(" ", "_"))
def test_wide_logic(tmp_path: Path, case: tuple[str, str, tuple[int, int], dict[str, int], Meaning]) -> None:
    _, body, (wide_a, wide_b), outputs, meaning = case
    ports = [f"input [{wide_a - 1}:0] a", f"input [{wide_b - 1}:0] b"]
    ports += [f"output [{width - 1}:0] {name}" for name, width in outputs.items()]
    sim = compiled(tmp_path, f"module wide({', '.join(ports)}); {body} endmodule")
    print("seed", SEED)
    rng = random.Random(SEED)
    for _ in range(VECTORS):
        a, b = rng.getrandbits(wide_a), rng.choice((rng.getrandbits(wide_b), rng.getrandbits(min(wide_b, 8))))
        sim.set_many({"a": a, "b": b})
        sim.settle()
        assert {name: sim.get(name) for name in outputs} == meaning(a, b), f"a {a:x} b {b:x}"


def test_a_counter_of_20000_bits(tmp_path: Path) -> None:
    """LLVM's passes take time by the square of such a width, a minute here."""
    (tmp_path / "t.v").write_text(
        "module t(input clk, input [7:0] by, output [7:0] high, low); reg [19999:0] q;\n"
        "always @(posedge clk) q <= q - by; assign high = q[19999:19992]; assign low = q[7:0]; endmodule\n"
    )
    sim = Simulation(read(tmp_path / "t.v"))
    sim.set("by", 5)
    for edge in (0, 1, 0, 1):
        sim.set("clk", edge)
        sim.settle()
    assert (sim.get("high"), sim.get("low")) == (0xFF, -10 & 0xFF)


@pytest.mark.parametrize("in_memory", [False, True], ids=["in_values", "in_memory"])
def test_a_shift_register_of_2000_bits(tmp_path: Path, in_memory: bool) -> None:
    sim = compiled(
        tmp_path,
        "module wide(input c, input d, output q, output reg [1999:0] all = 0);"
        " assign q = all[1999]; always @(posedge c) all <= {all[1998:0], d}; endmodule",
        in_memory,
    )
    print("seed", SEED)
    rng = random.Random(SEED)
    state = 0
    for _ in range(300):
        bit = rng.getrandbits(1)
        sim.set("d", bit)
        for level in (1, 0):
            sim.set("c", level)
            sim.settle()
        state = (state << 1 | bit) & mask(2000)
        assert sim.get("all") == state
    sim.set("d", 0)
    start = perf_counter()
    first = sim.run_clock("c", cycles=1, observe="q")
    print(f"run compiled in {perf_counter() - start:.2f} s")
    recorded = [*first, *sim.run_clock("c", cycles=2000, observe="q")]
    assert [int(bit) for bit in recorded] == [
        state >> (1999 - n - 1) & 1 if n < 1999 else 0 for n in range(2001)
    ]


@pytest.mark.parametrize("arms", [1024, 700, 300], ids=["all values", "most", "few"])
def test_a_case_of_many_arms(arms: int) -> None:
    """Each arm another part of a word: what takes no arm is the last choice (IEEE 1364-2005, 9.5)."""
    rng = random.Random(SEED + arms)
    print("seed", SEED + arms)
    taken = rng.sample(range(1024), arms)
    places = [rng.randrange(200) for _ in range(arms + 1)]
    choices = (Word.of([Slice(1, place, 17)]) for place in places)
    patterns = tuple((f"{value:010b}",) for value in taken)
    cell = Cell("case", 2, (Word.value(0, 10), *choices), {"patterns": patterns})
    netlist = Netlist("case", (10, 217, 17), {"s": 0, "d": 1}, {"y": Word.value(2, 17)}, (cell,), (), ())
    sim = Simulation(netlist)
    for select in rng.sample(range(1024), VECTORS * 5):
        data = rng.getrandbits(217)
        sim.set_many({"s": select, "d": data})
        sim.settle()
        place = places[taken.index(select)] if select in taken else places[-1]
        assert sim.get("y") == data >> place & mask(17), select
