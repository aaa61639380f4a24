"""Tape machine against an interpreter of its instructions, with a serial memory behind the chain."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

import pytest

from .serial_memory import SELECT, SerialMemory, behind_chain, wired_through

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive, Driven

SET, ADD, AND, LOOK, SHOW, JUMP, JUMP_IF_0, STOP = (number << 5 for number in range(8))
#: Frames for an instruction at a step of two frames: read on, or after a jump with command and address before it.
FASTEST, SLOWEST = 2 * 4 * 8, 2 * 4 * 41


def interpret(tape: bytes, switches: int, most: int) -> tuple[list[int], bool]:
    """What is shown, SHOW by SHOW, in so many instructions, and whether the program stopped: the datasheet's rules."""
    at, total, lamps = 0, 0, []
    for _ in range(most):
        operation, operand = tape[at] & 0xE0, tape[at] & 0x1F
        at = (at + 1) % len(tape)
        match operation >> 5:
            case 0:
                total = operand
            case 1:
                total = (total + operand) % 32
            case 2:
                total &= operand
            case 3:
                total = switches
            case 4:
                lamps.append(total)
            case 5:
                at = operand
            case 6:
                at = at if total else operand
            case _:
                return lamps, True
    return lamps, False


def changes(lamps: list[int]) -> list[int]:
    """What an eye sees of it: dark at first, and then each change."""
    return [lamp for before, lamp in zip([-1, 0, *lamps], [0, *lamps], strict=False) if lamp != before]


def restarted(drive: Drive) -> Driven:
    design = drive("tape_machine")
    design.restart()
    return design


def check(pins: list[int], tape: bytes, switches: int) -> list[int]:
    """What was seen of the lamps: at least what the slowest machine would have shown, and no more than the fastest."""
    seen = changes([pin >> 3 for pin in pins])
    certain, stopped = interpret(tape, switches, len(pins) // SLOWEST)
    possible, _ = interpret(tape, switches, len(pins) // FASTEST)
    assert seen[: len(changes(certain))] == changes(certain)
    assert seen == changes(possible)[: len(seen)]
    if stopped:
        assert seen == changes(certain)
        assert pins[-1] & SELECT
    return seen


#: Counts the switches down to nothing, showing each number, and stops.
COUNTDOWN = bytes([LOOK, SHOW, JUMP_IF_0 | 5, ADD | 31, JUMP | 1, STOP])


@pytest.mark.parametrize("switches", [0, 1, 20, 31])
@pytest.mark.parametrize("late", [0, 1])
def test_countdown(drive: Drive, switches: int, late: int) -> None:
    memory = SerialMemory(COUNTDOWN)
    pins = list(behind_chain(restarted(drive), memory, switches << 1, 20_000, late))
    assert check(pins, COUNTDOWN, switches) == changes(list(range(switches, -1, -1)))
    assert memory.reads == [0, *[1] * switches, *[5]]


@pytest.mark.parametrize("seed", range(20))
def test_programs_at_random(drive: Drive, seed: int) -> None:
    """32 bytes each, of which one in four shows the sum and the last one jumps, so that there is much to see."""
    print("seed", seed)
    source = random.Random(seed)
    doing = [SET, ADD, ADD, AND, LOOK, SHOW, SHOW, SHOW, JUMP, JUMP_IF_0]
    tape = bytes(
        [*(source.choice(doing) | source.randrange(32) for _ in range(31)), JUMP | source.randrange(31)]
    )
    switches = source.randrange(32)
    pins = list(behind_chain(restarted(drive), SerialMemory(tape), switches << 1, 10_000, late=seed % 2))
    check(pins, tape, switches)


@pytest.mark.parametrize("total", [0, 21])
def test_every_operation(drive: Drive, total: int) -> None:
    """Every seventh byte as the second instruction, on a direct link; what follows shows what it did."""
    design = restarted(drive)
    elsewhere = [SET | n * 7 % 32 if n % 2 else SHOW for n in range(28)]
    for byte in range(0, 256, 7):
        tape = bytes([SET | total, byte, SHOW, STOP, *elsewhere])
        design.restart()
        check(list(wired_through(design, SerialMemory(tape), 9 << 1, 5 * SLOWEST)), tape, 9)


def test_no_memory_stops_it(drive: Drive) -> None:
    """The line floats at 1, and eight ones are a stop; the lamps stay dark."""
    design = restarted(drive)
    design.set(i0=1)
    pins = design.steps(1000)
    assert not (pins >> 3).any()
    assert (pins[200:] & SELECT == SELECT).all()
