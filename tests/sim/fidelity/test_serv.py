"""The SERV core (PyPI `pythondata-cpu-serv`) runs a program, as under Icarus Verilog, and prints what it
should."""

from __future__ import annotations

import random
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path

import pytest
from forelight.designs import read
from forelight.sim import Simulation
from forelight.sim.netlist import Netlist

from ..icarus import needs_icarus
from .comparison import Design, compare, undefined_registers
from .riscv import Line, alu, alui, assemble, branch, csrw, jal, jalr, li, load, mret, store
from .stimulus import Drive, rows

serv = pytest.importorskip("pythondata_cpu_serv", reason="the core comes from PyPI: pythondata-cpu-serv")

FOLDER = Path(__file__).parent / "serv"
#: Clears the register file at the start, as a chip's boot code would: both simulators begin alike.
DEFINE = {"SERV_CLEAR_RAM": 1}
TEXT = b"123456789"
DATA, PORT = 0x200, 0x80000000
CYCLES = 45_000
FIRST_INTERRUPT = 0x5EA00000
MTVEC, MIE, MSTATUS = 0x305, 0x304, 0x300


def sources() -> list[Path]:
    rtl = Path(serv.data_location) / "rtl"
    return [FOLDER / "board.v", *sorted(f for f in rtl.glob("serv_*.v") if f.name != "serv_synth_wrapper.v")]


def program() -> list[Line]:
    """Fibonacci numbers, a CRC-32, and what signs, bytes and half words do; x10 points to the port, x11 to
    data."""
    a, b, c, n, bit, crc, poly, one = 1, 2, 3, 4, 5, 6, 7, 8
    return [
        *li(10, PORT),
        *li(11, DATA),
        *(alui("add", a, 0, 0), alui("add", b, 0, 1), alui("add", n, 0, 12)),
        "fibonacci",
        *(store("sw", a, 0, 10), alu("add", c, a, b), alui("add", a, b, 0), alui("add", b, c, 0)),
        *(alui("add", n, n, -1), branch("bne", n, 0, "fibonacci")),
        *(*li(crc, 0xFFFFFFFF), *li(poly, zlib_polynomial()), alui("add", n, 0, len(TEXT))),
        "byte",
        *(load("lbu", a, 0, 11), alu("xor", crc, crc, a), alui("add", bit, 0, 8)),
        "bit",
        *(alui("and", one, crc, 1), alui("srl", crc, crc, 1), branch("beq", one, 0, "even")),
        alu("xor", crc, crc, poly),
        "even",
        *(alui("add", bit, bit, -1), branch("bne", bit, 0, "bit")),
        *(alui("add", 11, 11, 1), alui("add", n, n, -1), branch("blt", 0, n, "byte")),
        *(alui("xor", crc, crc, -1), store("sw", crc, 0, 10)),
        *(*li(11, DATA + 0x20), *li(a, 0x8091A2B3), store("sw", a, 0, 11), store("sb", a, 5, 11)),
        *(store("sh", a, 6, 11), load("lh", b, 2, 11), load("lb", c, 3, 11), load("lhu", n, 0, 11)),
        *(store("sw", b, 0, 10), store("sw", c, 0, 10), store("sw", n, 0, 10)),
        *(load("lw", c, 4, 11), store("sw", c, 0, 10), alui("sra", c, a, 7), store("sw", c, 0, 10)),
        *(alu("slt", c, a, 10), alu("sltu", b, a, 10), alu("sub", n, a, c), alu("sll", n, n, b)),
        *(store("sw", n, 0, 10), jal(1, "double"), jal(1, "double"), store("sw", n, 0, 10)),
        "end",
        jal(0, "end"),
        "double",
        *(alu("add", n, n, n), jalr(0, 1, 0)),
    ]


def interrupted(lines: list[Line]) -> list[Line]:
    """The program behind a handler of the timer interrupt (at address 4) that writes a number of its own."""
    count, port, any_ = 12, 13, 9
    return [
        jal(0, "start"),
        *(alui("add", count, count, 1), store("sw", count, 0, port), mret()),
        "start",
        *(*li(port, PORT), *li(count, FIRST_INTERRUPT), alui("add", any_, 0, 4), csrw(MTVEC, any_)),
        *(alui("add", any_, 0, 128), csrw(MIE, any_), alui("add", any_, 0, 8), csrw(MSTATUS, any_)),
        *lines,
    ]


def zlib_polynomial() -> int:
    """The polynomial of IEEE 802.3, lowest power first."""
    return 0xEDB88320


def expected() -> list[int]:
    numbers = [0, 1]
    while len(numbers) < 12:
        numbers.append(numbers[-1] + numbers[-2])
    a = 0x8091A2B3
    signed = a - (1 << 32)
    last = (a - (signed < PORT - (1 << 32))) << (a < PORT)
    words = [zlib.crc32(TEXT), 0xFFFF8091, 0xFFFFFF80, 0xA2B3, 0xA2B3B300, signed >> 7, last, last << 2]
    return [word & 0xFFFFFFFF for word in [*numbers, *words]]


@pytest.fixture
def board(tmp_path: Path) -> Callable[[list[Line]], Netlist]:
    def build(lines: list[Line]) -> Netlist:
        words = dict(enumerate(assemble(lines)))
        assert max(words) < DATA // 4
        padded = TEXT + bytes(-len(TEXT) % 4)
        words |= {
            DATA // 4 + i: int.from_bytes(padded[4 * i : 4 * i + 4], "little")
            for i in range(len(padded) // 4)
        }
        text = "".join(f"store[{at}] = 32'h{word:08x};\n" for at, word in words.items())
        (tmp_path / "program.vh").write_text(text)
        return read(sources(), top="board", include=[tmp_path], define=DEFINE)

    return build


def design(netlist: Netlist, folder: Path) -> Design:
    # IEEE 1364-2005, 12.4.3, numbers unnamed generate constructs; Icarus 11 counts every `else` branch as well.
    cleared = [name.replace("genblk3.csr", "genblk5.csr") for name in undefined_registers(netlist)]
    return Design(sources(), "board", [folder], DEFINE, cleared)


def cycles(count: int) -> Iterator[dict[str, int]]:
    for cycle in range(count):
        for clk in (0, 1):
            yield {"clk": clk, "rst": int(cycle < 4), "irq": 0}


def test_encoder() -> None:
    """Worked encodings: NOP and RET of the manual (chapter 25), and the canonical ebreak-free loop to
    itself."""
    words = assemble(
        [alui("add", 0, 0, 0), jalr(0, 1, 0), "here", jal(0, "here"), branch("beq", 0, 0, "here")]
    )
    assert [f"{word:08x}" for word in words] == ["00000013", "00008067", "0000006f", "fe000ee3"]


def written(netlist: Netlist, driven: Iterable[Mapping[str, int]]) -> list[int]:
    """What the program writes to the port."""
    sim = Simulation(netlist, power_up="init")
    found, before = [], 0
    for row in driven:
        sim.set_many(row)
        sim.settle()
        if row["clk"] > before and sim.get("wrote"):
            found.append(sim.get("shown"))
        before = row["clk"]
    return found


def test_program(board: Callable[[list[Line]], Netlist]) -> None:
    assert written(board(program()), cycles(CYCLES)) == expected()


@pytest.mark.slow
@needs_icarus
def test_program_as_under_icarus(
    board: Callable[[list[Line]], Netlist], tmp_path: Path, tallied: Callable[..., None]
) -> None:
    netlist = board(program())
    tallied(compare(netlist, design(netlist, tmp_path), list(cycles(CYCLES)), tmp_path))


@pytest.mark.slow
@needs_icarus
def test_interrupts_and_restarts_as_under_icarus(
    board: Callable[[list[Line]], Netlist], tmp_path: Path, seed: int, tallied: Callable[..., None]
) -> None:
    """Interrupts come when they like, and the core is now and then restarted in the midst of an instruction."""
    netlist = board(interrupted(program()))
    drive = Drive(("clk",), {"rst": 0.0005, "irq": 0.5}, {"rst": 1}, hold=3)
    widths = {port: netlist.widths[value] for port, value in netlist.inputs.items()}
    driven = [dict(row) for row in rows(random.Random(seed), widths, drive, 10_000)]
    assert {FIRST_INTERRUPT + count for count in range(1, 6)} <= set(written(netlist, driven))
    tallied(compare(netlist, design(netlist, tmp_path), driven, tmp_path))
