"""The log's check byte against crccheck, the catalogue's check value, and what a CRC promises."""

from __future__ import annotations

import random
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from crccheck.crc import Crc8
from forelight.designs.sheets.reader import load
from forelight.harness.bench.predict import predict
from forelight.harness.boards.reader import load_board
from forelight.harness.hand.routine import run_procedure

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive, Driven

DESIGN = Path(__file__).parents[3] / "designs" / "breakwater" / "log_check"
TAKE = 1 << 1


def bits(line: bytes) -> list[int]:
    """The levels of i0 to i5, step by step: each character's highest bit first."""
    return [TAKE | byte >> place & 1 for byte in line for place in reversed(range(8))]


def restarted(drive: Drive) -> Driven:
    design = drive("log_check")
    design.restart()
    return design


def test_the_check_value(drive: Drive) -> None:
    """F4 over the characters 1 to 9: CRC-8 with polynomial 07 (catalogue of parametrised CRCs)."""
    assert restarted(drive).follow(bits(b"123456789"))[-1] == 0xF4


@pytest.mark.parametrize("length", [1, 2, 17, 200])
def test_lines_of_the_log(drive: Drive, length: int) -> None:
    """crccheck computes the same after each character, and the line with its check byte gives 0."""
    seed = length
    print("seed", seed)
    line = random.Random(seed).randbytes(length)
    outputs = restarted(drive).follow(bits(line))
    assert outputs[7::8].tolist() == [Crc8.calc(line[:end]) for end in range(1, length + 1)]
    assert restarted(drive).follow(bits(line + bytes([Crc8.calc(line)])))[-1] == 0


def test_every_burst_of_up_to_eight_bits_is_found(drive: Drive) -> None:
    """So promises a polynomial of degree 8 with a constant term (Peterson and Brown, 1961); in three bytes."""
    design = restarted(drive)
    for length in range(1, 9):
        for middle in range(2 ** max(0, length - 2)):
            burst = 1 << length - 1 | middle << 1 | 1
            for shift in range(24 - length + 1):
                design.restart()
                assert design.follow(bits((burst << shift).to_bytes(3, "big")))[-1] != 0


def test_without_take_nothing_moves(drive: Drive) -> None:
    design = restarted(drive)
    check = design.follow(bits(b"FOG"))[-1]
    assert (design.follow([0, 1] * 50) == check).all()
    assert design.follow(bits(b" AT QUAY"))[-1] == Crc8.calc(b"FOG AT QUAY")


@pytest.mark.parametrize("board_name", ["quay", "mole"])
def test_the_run_takes_its_figure_in(board_name: str) -> None:
    """On either board the switches move between the steps: at the end stands the check of "5"."""
    board, sheet = load_board(board_name), load(DESIGN)
    golden = predict(board, sheet, run_procedure(board, sheet, "the figure 5"), power_ups=3)
    assert golden.outputs[-1] == Crc8.calc(b"5") == 0x8B
