"""Measures the whole chip tick by tick: `python -m tests.benchmarks.chip`; it writes nothing.

All 192 positions of `quay`, 40 of them holding designs of the catalogue and their copies, a reselection every 100
frames.
"""

from __future__ import annotations

import random
from statistics import median
from time import process_time

from amaranth.back import rtlil
from forelight.designs.catalogue import load_design, names
from forelight.harness.boards.reader import load_board
from forelight.harness.chip.chip import Chip
from forelight.harness.chip.wrapper import Wrapper
from forelight.sim import Simulation
from forelight.sim.rtlil.reader import parse

SEED = 40
DESIGNS = 40
FRAMES, TURNS = 100, 12


def main() -> int:
    board = load_board("quay")
    kinds = [
        name for name in names() if name not in {"inverter_ring", "nor_latch"}
    ]  # no loops: they stay in values
    slots = {4 * n + 1: Wrapper(load_design(kinds[n % len(kinds)])) for n in range(DESIGNS)}
    chip = Chip(board, slots)
    text = rtlil.convert(chip, ports=[chip.pins, chip.selection, chip.enable, chip.outputs])
    modules = dict.fromkeys(module for wrapper in slots.values() for module in wrapper.modules)
    netlist = parse(text, list(modules))
    sim = Simulation(netlist, "init")
    sim.set("enable", 1)
    rng = random.Random(SEED)
    rates = []
    for turn in range(TURNS):
        sim.set("selection", rng.choice(list(slots)))
        start = process_time()
        ticks = FRAMES * board.frame_ticks
        for _ in sim.stream_clock("oscillator_clk", cycles=ticks, observe="outputs"):
            pass
        if turn:  # the first one compiles
            rates.append(ticks / (process_time() - start))
    print(f"{len(netlist.cells)} cells, {len(netlist.registers)} registers, {DESIGNS} designs, seed {SEED}")
    print(
        f"{median(rates) / 1e6:.1f} million ticks a second (median of {len(rates)}, {min(rates) / 1e6:.1f} at least);"
    )
    print(f"the board itself runs at {board.oscillator_hz / 1e6:.3f} million")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
