"""What is proved of memories, small ones and large ones: held to random power-ups, and known where it must be."""

import random
from dataclasses import dataclass

import pytest
from forelight.sim import Netlist, Simulation
from forelight.sim.compile.compiled import Compiled
from forelight.sim.gates import memories as gate_memories
from forelight.sim.netlist import Cell, Const, Memory, Register, Slice, Word, WritePort
from forelight.sim.proof.memories import LOSSES
from forelight.sim.proof.ternary import Proof

from tests.sizes import sized

ROWS, WIDTH, ADDRESS = 4, 2, 2
#: Bits of one port: address, data, enable (one for each bit of a word).
PORT = ADDRESS + 2 * WIDTH
POWER_UPS, STEPS = sized(50, 100), 40


@pytest.fixture(params=["small", "large"])
def large(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> bool:
    """Whether the memories of a test are taken as large ones, however small they are."""
    if request.param == "large":
        monkeypatch.setattr(gate_memories, "MOST_BITS", 0)
    return bool(request.param == "large")


@dataclass(frozen=True)
class Kind:
    """Ports of a memory: the clock line of each write port, and whether a read port shows what is just written."""

    clocks: tuple[int, ...]
    transparent: bool = False
    rows: int = ROWS
    offset: int = 0


def memory_netlist(kind: Kind) -> Netlist:
    """A memory whose operands are bits of `level`, or where `mask` is 1 what a register held at power-up.

    `level` has the bits of each write port, then a read address; `clocks` has a line for each clock, bit 0 for the
    read register. Outputs are `y`, read at once, and `z`, read at a rise of bit 0.
    """
    total = PORT * len(kind.clocks) + ADDRESS
    level, mask, clocks, state, read, now, passed = range(7)
    widths = [total, total, 3, total, WIDTH, WIDTH, WIDTH]
    cells: list[Cell] = []

    def cell(name: str, width: int, *operands: Word) -> Word:
        widths.append(width)
        cells.append(Cell(name, len(widths) - 1, operands))
        return Word.value(len(widths) - 1, width)

    whole = [Word.value(value, total) for value in (level, mask, state)]
    known = cell("$and", total, whole[0], cell("$not", total, whole[1]))
    mixed = cell("$or", total, known, cell("$and", total, whole[2], whole[1]))
    ports = []
    for number, line in enumerate(kind.clocks):
        at = number * PORT
        clock = Word.of([Slice(clocks, line, 1)])
        address, data = mixed.cut(at, ADDRESS), mixed.cut(at + ADDRESS, WIDTH)
        ports.append(WritePort(clock, True, address, data, mixed.cut(at + ADDRESS + WIDTH, WIDTH)))
    where = mixed.cut(total - ADDRESS, ADDRESS)
    cells.append(Cell("read", read, (where,), {"memory": 0}))
    shown = Word.value(read, WIDTH)
    if kind.transparent:
        for port in ports:
            hit = cell("$eq", 1, port.address, where)
            taken = cell("$and", WIDTH, port.enable, Word.of(hit.parts * WIDTH))
            shown = cell("$bwmux", WIDTH, shown, port.data, taken)
    cells.append(Cell("$pos", passed, (shown,)))
    first, undefined = Word.of([Slice(clocks, 0, 1)]), Const(0, total, (1 << total) - 1)
    registers = (
        Register(state, total, Word.of([Slice(clocks, 2, 1)]), True, whole[0], (), undefined, "state"),
        Register(now, WIDTH, first, True, Word.value(passed, WIDTH), (), Const(0, WIDTH), "now"),
    )
    contents = tuple(Const(row, WIDTH) for row in range(kind.rows))
    store = Memory("store", WIDTH, kind.rows, kind.offset, contents, tuple(ports))
    outputs = {"y": Word.value(read, WIDTH), "z": Word.value(now, WIDTH)}
    inputs = {"level": level, "mask": mask, "clocks": clocks}
    return Netlist("store", tuple(widths), inputs, outputs, tuple(cells), registers, (store,))


@pytest.mark.parametrize("seed", range(sized(2, 8)))
@pytest.mark.parametrize(
    "kind",
    [
        Kind((0,)),
        Kind((0,), transparent=True, rows=3),
        Kind((0,), rows=3, offset=1),
        Kind((0, 0)),
        Kind((0, 0), transparent=True),
        Kind((0, 1)),
        Kind((1,)),
    ],
    ids=str,
)
def test_no_power_up_contradicts(kind: Kind, seed: int, large: bool) -> None:
    """Operands partly unknown, clocks by themselves, and now and then all at one instant in orders by chance."""
    print("seed", seed)
    rng = random.Random(f"{kind} {seed}")
    netlist = memory_netlist(kind)
    proof, compiled = Proof(netlist), Compiled(netlist)
    sims = [
        Simulation(netlist, random.Random(rng.getrandbits(32)), compiled=compiled) for _ in range(POWER_UPS)
    ]
    proof.update({})
    for sim in sims:
        sim.settle()
    total, now, claims = netlist.widths[0], {"level": 0, "mask": 0, "clocks": 0}, 0
    for _ in range(STEPS):
        mask = rng.getrandbits(total) & rng.getrandbits(total) & rng.getrandbits(total)
        operands = {"level": rng.getrandbits(total), "mask": mask if rng.random() < 0.6 else 0}
        clocked = {"clocks": now["clocks"] ^ 1 << rng.randrange(2)}
        for moves in [operands, clocked] if rng.random() < 0.9 else [operands | clocked]:
            proof.update(moves)
            for sim in sims:
                for port in rng.sample(sorted(moves), len(moves)):
                    sim.set(port, moves[port])
                    sim.settle()
            now |= moves
            for port in netlist.outputs:
                value, known = proof.get(port)
                claims += known.bit_count()
                assert all((sim.get(port) ^ value) & known == 0 for sim in sims), port
    assert claims or (large and len(set(kind.clocks)) > 1)


class Store:
    """A proof of a memory of one kind, driven port by port."""

    def __init__(self, *clocks: int, known_start: bool = False) -> None:
        self.kind = Kind(clocks or (0,))
        self.proof = Proof(memory_netlist(self.kind), known_start=known_start)
        self.proof.update({})

    def write(self, *ports: tuple[str, str, str], line: int = 0) -> None:
        """Address, data and enable of each port, highest bit first, x where unknown; then a clock."""
        level = mask = 0
        for number, bits in enumerate(ports):
            text = "".join(reversed(bits))  # enable, data, address
            level |= int(text.replace("x", "0"), 2) << number * PORT
            mask |= int("".join(str(int(bit == "x")) for bit in text), 2) << number * PORT
        self.proof.update({"level": level, "mask": mask})
        self.proof.update({"clocks": 1 << line})
        self.proof.update({"clocks": 0})

    def fill(self, data: str) -> None:
        for row in range(ROWS):
            self.write((f"{row:02b}", data, "11"))

    def read(self, address: str) -> str:
        at = PORT * len(self.kind.clocks)
        level = int(address.replace("x", "0"), 2)
        mask = int("".join(str(int(bit == "x")) for bit in address), 2)
        self.proof.update({"level": level << at, "mask": mask << at})
        value, known = self.proof.get("y")
        return "".join(str(value >> bit & 1) if known >> bit & 1 else "x" for bit in reversed(range(WIDTH)))

    def rows(self) -> list[str]:
        return [self.read(f"{row:02b}") for row in range(ROWS)]


def test_declared_contents_count_only_where_they_are_what_it_starts_with(large: bool) -> None:
    store = Store(known_start=True)
    assert store.rows() == ["00", "01", "10", "11"]
    store.write(("xx", "10", "11"))
    assert store.rows() == (["xx"] * ROWS if large else ["x0", "xx", "10", "1x"])
    assert Store().rows() == ["xx"] * ROWS


def test_what_is_written_is_known_and_the_rest_is_not(large: bool) -> None:
    store = Store()
    store.write(("01", "10", "11"))
    assert store.rows() == ["xx", "10", "xx", "xx"]
    assert not store.proof.settled
    store.write(("11", "0x", "11"))
    store.write(("10", "11", "01"))
    assert store.rows() == ["xx", "10", "x1", "0x"]


def test_an_unknown_enable_keeps_what_old_and_new_agree_on(large: bool) -> None:
    store = Store()
    store.fill("10")
    store.write(("01", "11", "xx"))
    store.write(("10", "00", "x1"))
    assert store.rows() == ["10", "1x", "x0", "10"]


def test_a_write_somewhere(large: bool) -> None:
    """A small memory joins row by row those that it may hit; a large one loses all until they are written again."""
    store = Store()
    store.fill("10")
    store.write(("0x", "11", "11"))
    assert store.rows() == (["xx"] * ROWS if large else ["1x", "1x", "10", "10"])
    store.write(("01", "11", "11"))
    assert store.rows()[1] == "11"
    store.write(("10", "00", "01"))
    assert store.rows()[2] == ("x0" if large else "10")
    store.write(("xx", "11", "00"))  # which writes nothing
    assert store.rows()[1] == "11"


def test_a_read_somewhere_of_rows_that_are_alike(large: bool) -> None:
    store = Store()
    store.fill("10")
    assert store.read("xx") == ("xx" if large else "10")
    store.write(("11", "11", "11"))
    assert store.read("xx") == ("xx" if large else "1x")
    assert store.read("0x") == ("xx" if large else "10")


def test_the_later_port_wins(large: bool) -> None:
    store = Store(0, 0)
    store.write(("01", "10", "11"), ("01", "01", "01"))
    assert store.rows() == ["xx", "11", "xx", "xx"]
    store.write(("01", "00", "11"), ("10", "11", "11"))
    assert store.rows() == ["xx", "00", "11", "xx"]
    store.write(("0x", "11", "11"), ("01", "10", "11"))
    assert store.rows() == (["xx"] * ROWS if large else ["xx", "10", "11", "xx"])


def test_two_clocks(large: bool) -> None:
    """Found by rounds; a large one is unknown, and words say so."""
    store = Store(0, 1)
    store.write(("01", "10", "11"), ("11", "01", "11"))
    assert store.rows() == (["xx"] * ROWS if large else ["xx", "10", "xx", "xx"])
    store.write(("01", "00", "11"), ("11", "01", "11"), line=1)
    assert store.rows() == (["xx"] * ROWS if large else ["xx", "10", "xx", "01"])
    assert store.proof.in_rounds is not large
    told = ("memory store has 8 bits, so what it holds counts as unknown",)
    assert store.proof.left_open == (told if large else ())


def test_a_memory_of_which_nothing_is_known_may_be_a_clock() -> None:
    """8192 rows of a bit, which clocks a register that takes it; what that holds goes on to one on a line."""
    clock, address, bit = (Word.of([Slice(0, at, 1)]) for at in range(3))
    port = WritePort(clock, True, address, bit, Word.const(1, 1))
    memory = Memory("store", 1, 8192, 0, (Const(0, 1),) * 8192, (port,))
    read, first, second = (Word.value(value, 1) for value in (1, 2, 3))
    registers = (
        Register(2, 1, read, True, read, (), Const(0, 1), "first"),
        Register(3, 1, clock, True, first, (), Const(0, 1), "second"),
        Register(4, 1, clock, True, bit, (), Const(0, 1), "third"),
    )
    cells = (Cell("read", 1, (address,), {"memory": 0}),)
    outputs = {"outputs": read + first + second + Word.value(4, 1)}
    netlist = Netlist("clock", (3, 1, 1, 1, 1), {"inputs": 0}, outputs, cells, registers, (memory,))
    proof = Proof(netlist, known_start=True)
    assert proof.in_rounds
    for value in (0b000, 0b100, 0b101, 0b110, 0b111):
        proof.update({"inputs": value})
    assert proof.get("outputs") == (0b1000, 0b1000)


def test_losses_without_end(large: bool) -> None:
    """Before anything is known nothing can be lost; after `LOSSES` of what was known it is given up."""
    store = Store()
    for _ in range(2 * LOSSES):
        store.write(("xx", "10", "11"))
    for _ in range(LOSSES):
        store.write(("01", "10", "11"))
        assert store.read("01") == "10"
        store.write(("xx", "01", "11"))
        assert store.read("01") == "xx"
    store.write(("01", "10", "11"))
    assert store.read("01") == ("xx" if large else "10")


def test_a_write_that_races_with_its_address_is_somewhere(large: bool) -> None:
    store = Store()
    store.fill("10")
    store.proof.update({"level": 0b11_01_00, "mask": 0})
    store.proof.update({"level": 0b11_01_01, "clocks": 1})
    store.proof.update({"clocks": 0})
    assert store.rows() == (["xx"] * ROWS if large else ["xx", "xx", "10", "10"])
    assert store.proof.races[-1].registers == ("store",)
