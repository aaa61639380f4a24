"""Known-ness: never contradicted by a power-up or a value of an unknown line.

That it is as strong as three-valued logic, Icarus Verilog judges in `three_valued`.
"""

from __future__ import annotations

import random

import pytest
from forelight.sim import Netlist, Simulation
from forelight.sim.compile.compiled import Compiled
from forelight.sim.loops import LoopError
from forelight.sim.netlist import Cell, Const, Memory, Override, Param, Register, Slice, Word, WritePort
from forelight.sim.proof.rewrite import unknowns
from forelight.sim.state import PowerUp

from tests.sizes import sized

from ..any_netlists import any_netlist
from ..random_netlists import random_netlist

POWER_UPS, UPDATES = 24, 30


def never_contradicted(netlist: Netlist, seed: int, power_ups: int = POWER_UPS) -> int:
    """Drive known and unknown lines; every start and every value of the unknown lines agrees with what is known.

    Returns the number of bits that were called known.
    """
    rng = random.Random(seed)
    starts: list[PowerUp] = [0, 1, "init", *(random.Random(seed + n) for n in range(power_ups - 3))]
    proof = Simulation(unknowns(netlist), "init")
    compiled = Compiled(netlist)
    sims = [Simulation(netlist, start, compiled=compiled) for start in starts]
    known = 0
    for _ in range(UPDATES):
        values = {
            port: rng.getrandbits(width) for port, width in sims[0].inputs.items() if rng.random() < 0.6
        }
        masks = {
            port: rng.getrandbits(64) & rng.getrandbits(64) & (1 << sims[0].inputs[port]) - 1
            if rng.random() < 0.2
            else 0
            for port in values
        }
        proof.set_many({**values, **{f"{port}.unknown": mask for port, mask in masks.items()}})
        proof.settle()
        for sim in sims:
            sim.set_many({port: value ^ rng.getrandbits(64) & masks[port] for port, value in values.items()})
            try:
                sim.settle()
            except LoopError:
                return known
            for port, width in sim.outputs.items():
                unknown = proof.get(f"{port}.unknown")
                assert (sim.get(port) ^ proof.get(port)) & ~unknown == 0, port
                known += width - unknown.bit_count()
    return known


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(sized(3, 24)))
def test_no_power_up_contradicts(seed: int) -> None:
    """24 seeds, 2 netlists each, 24 power-ups each: 1152 runs, beside the 1000 of the next test."""
    print("seed", seed)
    netlists = random_netlist(seed), any_netlist(random.Random(seed))
    assert sum(never_contradicted(netlist, seed) for netlist in netlists) > 0


def test_many_power_ups_of_one_netlist() -> None:
    print("seed 3")
    assert never_contradicted(random_netlist(3), 3, power_ups=1000) > 0


def settled(netlist: Netlist, *steps: dict[str, int]) -> dict[str, str]:
    """The outputs after the steps, bit 0 last, x where unknown."""
    sim = Simulation(unknowns(netlist), "init")
    for step in steps:
        sim.set_many(step)
        sim.settle()
    return {port: shown(sim, port, word.width) for port, word in netlist.outputs.items()}


def shown(sim: Simulation, port: str, width: int) -> str:
    value, unknown = sim.get(port), sim.get(f"{port}.unknown")
    return "".join("x" if unknown >> at & 1 else str(value >> at & 1) for at in reversed(range(width)))


def cell(kind: str, width: int, operands: tuple[Word, ...], **params: Param) -> Netlist:
    """One cell on the inputs a, b (4 bits each) and s (1 bit), which are values 0, 1 and 2."""
    return Netlist(
        "one",
        (4, 4, 1, width),
        {"a": 0, "b": 1, "s": 2},
        {"y": Word.value(3, width)},
        (Cell(kind, 3, operands, params),),
        (),
        (),
    )


A, B, S = Word.value(0, 4), Word.value(1, 4), Word.value(2, 1)


@pytest.mark.parametrize(
    ("netlist", "step", "expected"),
    [
        (cell("$add", 4, (A, B)), {"a": 5, "a.unknown": 8, "b": 6, "b.unknown": 4}, "xx11"),
        (cell("$mux", 4, (A, B, S)), {"a": 5, "b": 6, "s.unknown": 1}, "01xx"),
        (cell("$lt", 1, (A, B)), {"a": 1, "a.unknown": 3, "b": 8, "b.unknown": 7}, "1"),
        (cell("$lt", 1, (A, B)), {"a": 1, "a.unknown": 3, "b": 1}, "x"),
        (cell("$eq", 1, (A, B)), {"a": 8, "a.unknown": 7, "b": 0, "b.unknown": 3}, "0"),
        (cell("$shl", 4, (A, Word.value(1, 1))), {"a": 1, "b.unknown": 1}, "00xx"),
        (cell("$mul", 4, (A, B)), {"a": 4, "b": 1, "b.unknown": 2}, "x100"),
        (cell("$mul", 4, (A, B)), {"a": 0, "b.unknown": 15}, "0000"),
        (cell("$and", 2, (Word.const(0, 2, 3), A.cut(0, 2))), {"a": 2}, "x0"),
        (
            cell("case", 4, (S, A, B), patterns=(("1",),)),
            {"a": 3, "b": 1, "s.unknown": 1},
            "00x1",
        ),
    ],
)
def test_what_is_known_of_one_cell(netlist: Netlist, step: dict[str, int], expected: str) -> None:
    assert settled(netlist, step)["y"] == expected


def register(data: Word, clock: Word, overrides: tuple[Override, ...] = ()) -> Netlist:
    """One register of 4 bits, value 3, on the inputs above."""
    register = Register(3, 4, clock, True, data, overrides, Const(0, 4), "q")
    return Netlist(
        "one", (4, 4, 1, 4), {"a": 0, "b": 1, "s": 2}, {"y": Word.value(3, 4)}, (), (register,), ()
    )


def test_an_unknown_edge_joins_old_and_new() -> None:
    netlist = register(A, S)
    first = [{"a": 12}, {"s": 1}, {"s": 0}, {"a": 10}]
    assert settled(netlist, {"a": 12})["y"] == "xxxx"
    assert settled(netlist, *first)["y"] == "1100"
    assert settled(netlist, *first, {"s.unknown": 1})["y"] == "1xx0"
    # The edge may have come before or with the new data.
    assert settled(netlist, *first, {"s.unknown": 1}, {"s": 1, "s.unknown": 0, "a": 8})["y"] == "1xx0"
    # A level that is known again, and low, makes the next edge certain.
    again: list[dict[str, int]] = [{"s.unknown": 1}, {"s.unknown": 0}, {"s": 1}]
    assert settled(netlist, *first, *again)["y"] == "1010"


def test_an_unknown_override_joins() -> None:
    forced = Override(Word.of([Slice(1, 0, 1)] * 4), Word.const(3, 4))
    netlist = register(A, S, (forced,))
    first = [{"a": 10}, {"s": 1}]
    assert settled(netlist, *first, {"b.unknown": 1})["y"] == "x01x"
    assert settled(netlist, *first, {"b": 1})["y"] == "0011"


def nands(*gates: tuple[int, int, int], width: int = 2) -> Netlist:
    """NAND gates (output, one input, other input) on the inputs s and r, values 0 and 1."""
    cells: list[Cell] = []
    top = max(output for output, _, _ in gates) + 1
    for number, (output, one, other) in enumerate(gates):
        cells.append(Cell("$and", top + number, (Word.value(one, 1), Word.value(other, 1))))
        cells.append(Cell("$not", output, (Word.value(top + number, 1),)))
    outputs = {f"y{output}": Word.value(output, 1) for output, _, _ in gates}
    return Netlist("gates", (1,) * (top + len(gates)), {"s": 0, "r": 1}, outputs, tuple(cells), (), ())


def test_a_dominated_loop_is_known_and_a_free_one_is_unknown() -> None:
    latch = nands((2, 0, 3), (3, 1, 2))
    assert settled(latch, {"s": 0, "r": 1}) == {"y2": "1", "y3": "0"}
    assert settled(latch, {"s": 1, "r": 1}) == {"y2": "x", "y3": "x"}
    ring = nands((2, 0, 2))
    assert settled(ring, {"s": 0}) == {"y2": "1"}
    assert settled(ring, {"s": 1}) == {"y2": "x"}


@pytest.mark.parametrize("size", [16, 1024])
def test_a_table_is_known_under_a_known_address(size: int) -> None:
    """A small one becomes gates, and joins the rows that it may show; one of 8192 bits stays a memory."""
    rows = tuple(Const(at & 0xFF, 8) if at != 2 else Const(0, 8, 0x0F) for at in range(size))
    read = Cell("read", 1, (Word.value(0, 10),), {"memory": 0})
    table = Memory("table", 8, size, 0, rows, ())
    netlist = Netlist("table", (10, 8), {"a": 0}, {"y": Word.value(1, 8)}, (read,), (), (table,))
    assert settled(netlist, {"a": 9})["y"] == "00001001"
    assert settled(netlist, {"a": 2})["y"] == "0000xxxx"
    assert settled(netlist, {"a": 8, "a.unknown": 1})["y"] == ("0000100x" if size == 16 else "xxxxxxxx")


def test_a_memory_that_opens_its_own_port_is_unknown_for_good_and_the_rest_is_known() -> None:
    """It would have to come to rest before it may be written: even what it was just given counts as unknown."""
    shows, bit, other = Word.value(2, 1), Word.value(0, 1), Word.value(3, 1)
    port = WritePort(None, True, Word.const(0, 1), bit, shows)
    clocked = WritePort(Word.value(1, 1), True, Word.const(0, 1), bit, Word.const(1, 1))
    memories = tuple(
        Memory(name, 1, 2, 0, (Const(0, 1),) * 2, (port,))
        for name, port in (("own", port), ("clocked", clocked))
    )
    reads = tuple(Cell("read", 2 + number, (Word.const(0, 1),), {"memory": number}) for number in (0, 1))
    outputs = {"own": shows, "other": other}
    netlist = Netlist("waits", (1,) * 4, {"d": 0, "clk": 1}, outputs, reads, (), memories)
    assert settled(netlist, {"d": 0}, {"clk": 1}) == {"own": "x", "other": "0"}
    assert settled(netlist, {"d": 1}, {"clk": 1}) == {"own": "x", "other": "1"}
