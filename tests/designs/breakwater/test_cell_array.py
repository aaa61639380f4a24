"""The cell array loaded with an adder, counters and anything else, against arithmetic and a plain model."""

from __future__ import annotations

import random
from collections.abc import Callable
from itertools import product
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from forelight.designs.sheets.reader import load
from forelight.harness.bench.predict import predict
from forelight.harness.boards.reader import load_board
from forelight.harness.hand.routine import run_procedure

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive, Driven

DESIGN = Path(__file__).parents[3] / "designs" / "breakwater" / "cell_array"
DATA, LOAD = 1 << 4, 1 << 5
I0, I1, I2, I3, C0, C1, C2, C3 = range(8)
Cell = tuple[tuple[int, int, int, int], Callable[[int, int, int, int], int]]
IDLE: Cell = ((I0, I0, I0, I0), lambda a, b, c, d: 0)


def bits(cells: list[Cell]) -> list[int]:
    """What to load, as the datasheet's description says."""
    found: list[int] = []
    for sources, function in cells:
        found += [source >> place & 1 for source in sources for place in range(3)]
        found += [
            function(*levels[::-1]) for levels in product((0, 1), repeat=4)
        ]  # the first changes fastest
    return found


def looked_up(table: list[int]) -> Callable[[int, int, int, int], int]:
    return lambda a, b, c, d: table[a + 2 * b + 4 * c + 8 * d]


def loaded(drive: Drive, cells: list[Cell]) -> Driven:
    design = drive("cell_array")
    design.restart()
    design.follow([LOAD | DATA * bit for bit in bits(cells)])
    design.switch(0)
    return design


def test_an_adder(drive: Drive) -> None:
    """Two numbers of two bits on i0, i1 and i2, i3: their sum a step later, for all sixteen."""

    def place(n: int) -> Callable[[int, int, int, int], int]:
        return lambda a, b, c, d: (a + 2 * b + c + 2 * d) >> n & 1

    inputs = (I0, I1, I2, I3)
    design = loaded(drive, [(inputs, place(0)), (inputs, place(1)), (inputs, place(2)), IDLE])
    for levels in range(16):
        assert int(design.follow([levels])[0]) & 0xF == (levels & 3) + (levels >> 2)


def test_a_counter(drive: Drive) -> None:
    """Each cell toggles when all below it are 1: from 0 to 15 and round."""
    ring = (C0, C1, C2, C3)
    cells: list[Cell] = [
        (ring, lambda a, b, c, d: 1 - a),
        (ring, lambda a, b, c, d: b ^ a),
        (ring, lambda a, b, c, d: c ^ (a & b)),
        (ring, lambda a, b, c, d: d ^ (a & b & c)),
    ]
    assert (loaded(drive, cells).steps(40) & 0xF).tolist() == [n % 16 for n in range(1, 41)]


def test_a_shift_register_of_maximal_length(drive: Drive) -> None:
    """Taps 4 and 3 with exclusive-nor pass through all 15 states but all ones (Xilinx XAPP 052, n = 4)."""
    cells: list[Cell] = [
        ((C2, C3, C2, C3), lambda a, b, c, d: 1 ^ a ^ b),
        *(((source,) * 4, lambda a, b, c, d: a) for source in (C0, C1, C2)),
    ]
    states = (loaded(drive, cells).steps(30) & 0xF).tolist()
    assert sorted(states[:15]) == list(range(15))
    assert states[:15] == states[15:]


@pytest.mark.parametrize("seed", range(20))
def test_anything(drive: Drive, seed: int) -> None:
    """Random cells on random lines, against the same cells as Python functions."""
    print("seed", seed)
    chance = random.Random(seed)
    cells: list[Cell] = []
    for _ in range(4):
        table = [chance.randrange(2) for _ in range(16)]
        a, b, c, d = (chance.randrange(8) for _ in range(4))
        cells.append(((a, b, c, d), looked_up(table)))
    inputs = [chance.randrange(32) for _ in range(300)]  # i4 moves too, and must not matter
    state, expected = [0, 0, 0, 0], []
    for levels in inputs:
        lines = [levels >> n & 1 for n in range(4)] + state
        state = [function(*(lines[source] for source in sources)) for sources, function in cells]
        expected.append(sum(level << n for n, level in enumerate(state)))
    assert (loaded(drive, cells).follow(inputs) & 0xF).tolist() == expected


def test_what_was_loaded_falls_out(drive: Drive) -> None:
    """112 steps after it went in, so that it can be checked or passed on; the cells are dark meanwhile."""
    seed = 2
    print("seed", seed)
    chance = random.Random(seed)
    stream = [chance.randrange(2) for _ in range(300)]
    design = drive("cell_array")
    design.restart()
    outputs = design.follow([LOAD | DATA * bit for bit in stream])
    assert (outputs >> 7).tolist() == [0] * 111 + stream[:-111]
    assert not (outputs & 0x7F).any()


@pytest.mark.parametrize("board_name", ["quay", "mole"])
def test_the_run_loads_its_blinkers(board_name: str) -> None:
    """On either board the bits are set between the steps, and at the end all four cells blink at each step."""
    board, sheet = load_board(board_name), load(DESIGN)
    golden = predict(board, sheet, run_procedure(board, sheet, "four blinkers"), power_ups=3)
    cells = golden.outputs[golden.steps >= 116] & 0xF
    assert set(cells) == {0, 0xF}
    assert np.count_nonzero(np.diff(cells.astype(int))) >= 6
