"""The serial memory against a plain model, bit by bit: every byte, random pins, wraps, other instructions, images."""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np
import pytest
from amaranth.back import rtlil
from forelight.harness.attach.image import MOST_BYTES, read_image
from forelight.harness.attach.memory import SerialMemory
from forelight.sim import Simulation
from forelight.sim.errors import SourceError
from forelight.sim.rtlil.reader import parse
from forelight.sim.state import PowerUp

from .spi import ModelMemory, host

Rows = list[tuple[int, int, int]]


def answers(data: bytes, address_bytes: int, rows: Rows, power_up: PowerUp = 0) -> list[int | None]:
    """What the component answers to each row of (cs, sck, si), in Forelight's engine."""
    memory = SerialMemory(data, address_bytes)
    simulation = Simulation(parse(rtlil.convert(memory)), power_up)
    found: list[int | None] = []
    for cs, sck, si in rows:
        simulation.set_many({"cs": cs, "sck": sck, "si": si})
        simulation.settle()
        found.append(simulation.get("so") if simulation.get("driving") else None)
    return found


def modelled(data: bytes, address_bytes: int, rows: Rows) -> list[int | None]:
    model = ModelMemory(data, address_bytes)
    return [model.levels(*row) for row in rows]


def read_back(found: list[int | None], header: int) -> bytes:
    """The bytes that a host in mode 0 reads: `so` as it is before each rise of `sck`."""
    bits = [found[row - 1] for row in range(3, len(found), 2)][header:-1]
    return bytes(int("".join(map(str, bits[at : at + 8])), 2) for at in range(0, len(bits), 8))


@pytest.mark.parametrize("address_bytes", [2, 3])
@pytest.mark.parametrize("power_up", [0, 1])
def test_a_host_reads_what_is_in_it(address_bytes: int, power_up: PowerUp) -> None:
    data = bytes(range(256))
    rows = host(0, address_bytes, 256)
    found = answers(data, address_bytes, rows, power_up)
    assert read_back(found, 8 + 8 * address_bytes) == data
    assert found == modelled(data, address_bytes, rows)


@pytest.mark.parametrize(
    ("length", "address"), [(1, 0), (2, 1), (5, 6), (9, 0x123456), (300, 299), (4096, 4095)]
)
def test_the_address_goes_round_and_the_rest_is_erased(length: int, address: int) -> None:
    data = bytes(n * 37 % 251 for n in range(length))
    size = max(2, 1 << (length - 1).bit_length())
    whole = data + b"\xff" * (size - length)
    found = read_back(answers(data, 3, host(address, 3, 20)), 32)
    assert found == bytes(whole[(address + n) % size] for n in range(20))


@pytest.mark.parametrize("instruction", [0x02, 0x05, 0x0B, 0x9F, 0xFF, 0x00])
def test_other_instructions_are_not_answered(instruction: int) -> None:
    assert set(answers(b"abc", 3, host(0, 3, 4, instruction))) == {None}


@pytest.mark.parametrize("seed", range(8))
def test_random_pins(seed: int) -> None:
    """One pin moves at a time: chopped transfers, clocks while deselected, readings one after another."""
    chance = random.Random(seed)
    print(f"seed {seed}")
    address_bytes = chance.choice([2, 3])
    data = chance.randbytes(chance.randint(1, 600))
    rows: Rows = [(1, 0, 0)]
    for _ in range(30):
        part = host(chance.randrange(1 << 8 * address_bytes), address_bytes, chance.randint(0, 5))
        rows += part[: chance.randint(1, len(part))] if chance.random() < 0.3 else part
        cs = rows[-1][0]
        rows += [(cs, sck, si) for sck, si in zip([0, 1, 0, 1, 0], [1, 1, 0, 0, 0], strict=True)]
    single: Rows = [rows[0]]
    for row in rows[1:]:
        for pin in chance.sample(range(3), 3):
            step = list(single[-1])
            step[pin] = row[pin]
            single.append((step[0], step[1], step[2]))
    found = answers(data, address_bytes, single)
    assert found == modelled(data, address_bytes, single)
    assert sum(bit is not None for bit in found) > 100


@pytest.mark.slow
def test_it_runs_in_machine_code() -> None:
    data = np.random.default_rng(3).integers(0, 256, MOST_BYTES, np.uint8).tobytes()
    memory = SerialMemory(data, 2)
    text = rtlil.convert(memory)
    simulation = Simulation(parse(text))
    rows = host(0, 2, MOST_BYTES)
    columns = {
        name: np.array([row[n] for row in rows], np.uint8) for n, name in enumerate(("cs", "sck", "si"))
    }
    found = simulation.run_columns(columns, "so")
    assert np.packbits(found[2 + 2 * 24 : 2 + 2 * 24 + 16 * MOST_BYTES : 2]).tobytes() == data


def test_images(tmp_path: Path) -> None:
    raw = tmp_path / "chart.bin"
    raw.write_bytes(b"\x00\xff chart")
    assert read_image(raw) == b"\x00\xff chart"
    # The forms of IEEE 1364-2005, 17.2.9: white space, remarks of both kinds, addresses after @ in hexadecimal.
    text = tmp_path / "chart.hex"
    text.write_text("41 42 // AB\n/* two\nlines */ 4\n@8 fF\n@06 10 11")
    assert read_image(text) == b"AB\x04\xff\xff\xff\x10\x11\xff"


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("a.bin", b"", "the image holds no bytes; give 1 to 32768"),
        ("a.hex", b"// nothing", "the image holds no bytes"),
        ("a.bin", b"x" * 32769, "the image holds more than 32768 bytes"),
        ("a.hex", b"41\n42 4g", 'line 2: "4g" is no byte; write bytes of two hexadecimal digits'),
        ("a.hex", b"/* a\nb */\n123", 'line 3: "123" is no byte'),
        ("a.hex", b"@8000 41", "line 1: a byte at 8000h; addresses are 0 to 7fffh"),
        ("a.hex", b"\xff\xfe", "cannot be read"),
    ],
)
def test_images_that_cannot_be_used(tmp_path: Path, name: str, content: bytes, message: str) -> None:
    (tmp_path / name).write_bytes(content)
    with pytest.raises(SourceError) as error:
        read_image(tmp_path / name)
    assert message in str(error.value) and str(tmp_path / name) in str(error.value)
