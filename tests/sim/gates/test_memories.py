"""Memories as gates and as machine code, against the plain interpreter: addresses, offsets, enables and clocks."""

from __future__ import annotations

import itertools
import random
from dataclasses import replace

import pytest
from forelight.sim import Netlist, Simulation
from forelight.sim.gates.memories import MOST_BITS, image, is_kept, is_small
from forelight.sim.gates.rewrite import gates
from forelight.sim.netlist import Cell, Const, Memory, Slice, Word, WritePort
from forelight.sim.reference import Reference

SEED = 4
WIDTH = 3
#: Ports of the netlist: value number and width of each.
PORTS = {"clk": (0, 1), "other": (1, 1), "address": (2, 3), "data": (3, WIDTH), "enable": (4, WIDTH)}


def port_word(name: str) -> Word:
    return Word.value(*PORTS[name])


def write(clock: str | None = "clk", *, rising: bool = True, enable: Word | None = None) -> WritePort:
    return WritePort(
        clock=None if clock is None else port_word(clock),
        rising=rising,
        address=port_word("address"),
        data=port_word("data"),
        enable=enable or port_word("enable"),
    )


def netlist(memory: Memory, address: Word | None = None) -> Netlist:
    """The memory, read at once at an address."""
    widths = (*(width for _, width in PORTS.values()), memory.width)
    read = Cell("read", len(PORTS), (address or port_word("address"),), {"memory": 0})
    inputs = {name: number for name, (number, _) in PORTS.items()}
    return Netlist(
        "rows", widths, inputs, {"y": Word.value(len(PORTS), memory.width)}, (read,), (), (memory,)
    )


def rows(size: int, offset: int = 0, writes: tuple[WritePort, ...] = ()) -> Memory:
    return Memory(
        "rows", WIDTH, size, offset, tuple(Const((5 * n + 3) % 8, WIDTH) for n in range(size)), writes
    )


def walk(sims: list[Simulation | Reference], updates: int) -> None:
    """Random updates, after each of which every address is read."""
    print("seed", SEED)
    rng = random.Random(SEED)
    for _ in range(updates):
        moved = {name: rng.getrandbits(width) for name, (_, width) in PORTS.items() if rng.random() < 0.6}
        for address in (moved.get("address"), *range(8)):
            for sim in sims:
                for name, value in moved.items():
                    sim.set(name, value)
                if address is not None:
                    sim.set("address", address)
                sim.settle()
            shown = [sim.get("y") for sim in sims]
            assert shown.count(shown[0]) == len(shown), (moved, address, shown)
            moved = {}


@pytest.mark.parametrize("offset", [0, 2, 5])
@pytest.mark.parametrize("size", [1, 3, 8])
@pytest.mark.parametrize(
    "ports",
    [
        (),
        (write(),),
        (write(rising=False),),
        (write(enable=Word.of([Slice(4, 0, 1)] * WIDTH)),),
        (write(enable=Word.const(7, WIDTH)),),
        (write(enable=Word.const(0, WIDTH)),),
        (write(None),),
        (write("clk"), write("other", rising=False)),
    ],
    ids=["none", "rising", "falling", "one enable", "always", "never", "no clock", "two clocks"],
)
def test_rows_are_what_the_interpreter_has(ports: tuple[WritePort, ...], size: int, offset: int) -> None:
    found = netlist(rows(size, offset, ports))
    drawn = gates(found)
    assert bool(drawn.memories) is (len(ports) == 2)
    walk([Reference(found, "init"), Simulation(found, "init"), Simulation(drawn, "init")], 25)


@pytest.mark.parametrize("address", range(8))
def test_a_constant_address(address: int) -> None:
    for size, offset in itertools.product((1, 3), (0, 2)):
        found = netlist(rows(size, offset), Word.const(address, 3))
        sim = Simulation(found)
        sim.settle()
        inside = offset <= address < offset + size
        assert sim.get("y") == ((5 * (address - offset) + 3) % 8 if inside else 0)


def test_a_wide_address_and_a_high_offset() -> None:
    """The row is found in as many bits as the address has, and never fewer than a machine word."""
    memory = replace(rows(4), offset=(1 << 70) - 2)
    wide = replace(netlist(memory), widths=(1, 1, 80, WIDTH, WIDTH, WIDTH))
    wide = replace(wide, cells=(replace(wide.cells[0], operands=(Word.value(2, 80),)),))
    sims: list[Simulation | Reference] = [Reference(wide), Simulation(wide)]
    for address in ((1 << 70) - 3, (1 << 70) - 2, (1 << 70) + 1, (1 << 70) + 2, 0, 1, 2, 1 << 79):
        for sim in sims:
            sim.set("address", address)
            sim.settle()
        assert sims[0].get("y") == sims[1].get("y"), address


@pytest.mark.parametrize("offset", [(1 << 70) - 2, 1 << 64, 8])
def test_no_address_is_wide_enough_to_reach_a_row(offset: int) -> None:
    found = netlist(replace(rows(4), offset=offset))
    for address in range(8):
        sim = Simulation(found)
        sim.set("address", address)
        sim.settle()
        assert sim.get("y") == 0, address


def test_the_image_is_row_after_row() -> None:
    memory = replace(rows(3), init=(Const(5, 3), Const(2, 3, 1), Const(0, 3, 6)))
    assert image(memory) == Const(0b000_010_101, 9, 0b110_001_000)


def test_which_memories_become_gates() -> None:
    most = replace(rows(1), size=MOST_BITS // 4, width=4)
    assert is_small(most) and not is_small(replace(most, size=most.size + 1))
    assert not is_kept(rows(2, 0, (write(), write()))) and is_kept(rows(2, 0, (write(), write(rising=False))))
    assert not is_kept(rows(2, 0, (write(), write(None)))) and is_kept(replace(most, size=most.size + 1))


def test_two_memories_of_unlike_widths_that_one_clock_writes() -> None:
    """One of 100 bits, which no machine word holds, beside one of three; both written behind the branch of a clock."""
    broad = 100
    kept = Memory(
        "broad",
        broad,
        4,
        0,
        tuple(Const(n << 70 | n, broad) for n in range(4)),
        (replace(write(), data=Word.value(5, broad), enable=Word.const((1 << broad) - 1, broad)),),
    )
    narrow = rows(4, 1, (write(),))
    widths = (*(width for _, width in PORTS.values()), broad, WIDTH, broad)
    reads = tuple(Cell("read", 6 + n, (port_word("address"),), {"memory": n}) for n in range(2))
    inputs = {name: number for name, (number, _) in PORTS.items()} | {"broad": 5}
    outputs = {"narrow": Word.value(6, WIDTH), "y": Word.value(7, broad)}
    found = Netlist("two", widths, inputs, outputs, reads, (), (narrow, kept))
    sims: list[Simulation | Reference] = [Reference(found, "init"), Simulation(found, "init")]
    rng = random.Random(SEED)
    print("seed", SEED)
    for step in range(60):
        driven = {name: rng.getrandbits(width) for name, (_, width) in PORTS.items()}
        driven |= {"clk": step & 1, "broad": rng.getrandbits(broad)}
        for sim in sims:
            for name, value in driven.items():
                sim.set(name, value)
            sim.settle()
        assert len({(sim.get("narrow"), sim.get("y")) for sim in sims}) == 1, step


def test_bits_of_rows_are_named_by_their_address() -> None:
    drawn = gates(netlist(rows(2, 5, (write(),))))
    names = [register.name for register in drawn.registers]
    assert names == [f"rows[{row}][{place}]" for row in (5, 6) for place in range(WIDTH)]
