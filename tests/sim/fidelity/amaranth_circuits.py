"""Circuits in Amaranth, one for each kind of thing that its language and library have."""

from __future__ import annotations

from amaranth.hdl import (
    Array,
    Cat,
    ClockSignal,
    Const,
    DomainRenamer,
    EnableInserter,
    Module,
    Mux,
    ResetInserter,
    Signal,
    signed,
    unsigned,
)
from amaranth.lib import data, enum
from amaranth.lib.cdc import FFSynchronizer, PulseSynchronizer
from amaranth.lib.crc import Algorithm
from amaranth.lib.fifo import AsyncFIFO, SyncFIFOBuffered
from amaranth.lib.memory import Memory

from .amaranth_bench import Bench, Circuit


def counter(bench: Bench) -> None:
    """Up, down, load, in a word of 24 bits."""
    bench.domain()
    m, count = bench.m, Signal(24, init=0xFFFF0)
    up, go, load = (bench.takes(name, 1) for name in ("up", "go", "load"))
    d = bench.takes("d", 24)
    with m.If(load):
        m.d.sync += count.eq(d)
    with m.Elif(go):
        m.d.sync += count.eq(Mux(up, count + 1, count - 1))
    bench.shows(count=count, zero=count == 0, wrapped=count.all())


def arithmetic(bench: Bench) -> None:
    """Operators of mixed signs and widths; a division by zero is 0."""
    bench.domain()
    a, b, u = bench.takes("a", 9).as_signed(), bench.takes("b", 5).as_signed(), bench.takes("u", 6)
    held = Signal(signed(16))
    bench.m.d.sync += held.eq(a * b + u)
    bench.shows(
        held=held, sum=a + u, difference=b - u, product=a * u, negative=-a, size=abs(a), inverse=~b,
        quotient=a // b, rest=a % b, unsigned_quotient=u // b.as_unsigned(), unsigned_rest=u % b.as_unsigned(),
        less=a < b, mixed=b < u, same=a == u, at_least=u >= a, left=b << u[:4], right=a >> u[:3],
    )  # fmt: skip


def selections(bench: Bench) -> None:
    """Bits and words chosen by a variable, reductions, rotations, matches."""
    d, at = bench.takes("d", 21), bench.takes("at", 5)
    bench.shows(
        bits=d.bit_select(at, 4), words=d.word_select(at[:3], 5), signs=d.as_signed()[3:9].as_signed() >> 1,
        turned=d.rotate_left(7), moved=d.shift_right(3), every=d.all(), some=d.any(), odd=d.xor(),
        fits=d[:6].matches("01--1-", "1-0-00"), joined=Cat(d[::3], at, Const(5, 3)), again=at.replicate(3),
    )  # fmt: skip


def parts(bench: Bench) -> None:
    """Assignments to chosen bits and words of a register, later ones over earlier ones."""
    bench.domain()
    m, at, d = bench.m, bench.takes("at", 4), bench.takes("d", 6)
    word, bits = Signal(30, init=0x2AAAAAA), Signal(12)
    m.d.sync += word.word_select(at[:3], 5).eq(d)
    m.d.sync += bits.bit_select(at, 3).eq(d)
    with m.If(d[0]):
        m.d.sync += Cat(bits[0], word[29], bits[5:7]).eq(d)
    bench.shows(word=word, bits=bits)


def patterns(bench: Bench) -> None:
    """A switch with patterns, several a case, one that never fits, a default; switches one inside the other."""
    bench.domain()
    m, op, d = bench.m, bench.takes("op", 6), bench.takes("d", 8)
    value, kind, held = Signal(8), Signal(3), Signal(20)
    with m.Switch(op):
        with m.Case("000---", "1-1-1-"):
            m.d.comb += value.eq(d)
        with m.Case("0010--"):
            m.d.comb += [value.eq(~d), kind.eq(1)]
        with m.Case(13, 17, 44), m.Switch(d[:2]):
            with m.Case(1):
                m.d.comb += kind.eq(2)
                m.d.sync += held.eq(held + d)
            with m.Case(2):
                m.d.comb += kind.eq(3)
            with m.Default():
                m.d.sync += held.eq(Cat(d, held))
        with m.Case():
            m.d.comb += kind.eq(7)
        with m.Default():
            m.d.comb += kind.eq(4)
    bench.shows(value=value, kind=kind, held=held)


def lock(bench: Bench) -> None:
    """A state machine with a timer: a gate that opens to a sequence of keys."""
    bench.domain()
    m, key, timer, opened = bench.m, bench.takes("key", 2), Signal(6), Signal(16, init=0xFFF0)
    with m.FSM(init="closed") as machine:
        with m.State("closed"), m.If(key == 2):
            m.next = "first"
        with m.State("first"):
            with m.If(key == 1):
                m.next = "open"
                m.d.sync += [timer.eq(12), opened.eq(opened + 1)]
            with m.Elif(key != 2):
                m.next = "closed"
        with m.State("open"):
            m.d.sync += timer.eq(timer - 1)
            with m.If(timer == 0):
                m.next = "closed"
    bench.shows(timer=timer, opened=opened, open=machine.ongoing("open"), closed=machine.ongoing("closed"))


def memory(bench: Bench) -> None:
    """A memory with an enable for each nibble, a reader that sees what is written and one that does not."""
    bench.domain(reset_less=True)  # see test_differences.py
    m = bench.m
    m.submodules.memory = store = Memory(shape=unsigned(12), depth=10, init=[7 * k for k in range(10)])
    write = store.write_port(granularity=4)
    seeing = store.read_port(transparent_for=(write,))
    other = store.read_port()
    now = store.read_port(domain="comb")
    m.d.comb += [write.addr.eq(bench.takes("wa", 4)), write.data.eq(bench.takes("wd", 12))]
    m.d.comb += [write.en.eq(bench.takes("we", 3)), seeing.en.eq(bench.takes("re", 1))]
    m.d.comb += [port.addr.eq(bench.takes(f"a{k}", 4)) for k, port in enumerate((seeing, other, now))]
    bench.shows(seeing=seeing.data, other=other.data, now=now.data)


def queue(bench: Bench) -> None:
    """The library's buffered queue."""
    bench.domain(reset_less=True)  # see test_differences.py
    bench.m.submodules.queue = queue = SyncFIFOBuffered(width=9, depth=6)
    for name, line in (("d", queue.w_data), ("put", queue.w_en), ("get", queue.r_en)):
        bench.m.d.comb += line.eq(bench.takes(name, len(line)))
    bench.shows(q=queue.r_data, full=~queue.w_rdy, ready=queue.r_rdy, level=queue.level)


def checksum(bench: Bench) -> None:
    """The library's CRC processor: CRC-24/OPENPGP over words of 8 bits."""
    bench.domain()
    algorithm = Algorithm(
        crc_width=24,
        polynomial=0x864CFB,
        initial_crc=0xB704CE,
        reflect_input=False,
        reflect_output=False,
        xor_output=0,
    )
    bench.m.submodules.crc = crc = algorithm(data_width=8).create()
    for name, line in (("d", crc.data), ("valid", crc.valid), ("start", crc.start)):
        bench.m.d.comb += line.eq(bench.takes(name, len(line)))
    bench.shows(crc=crc.crc)


class Flag(enum.Enum, shape=3):  # type: ignore[misc, call-arg]
    """What a berth says."""

    FREE = 1
    TAKEN = 2
    CLOSED = 6


def records(bench: Bench) -> None:
    """Structures, arrays and enumerations of the library, in one register."""
    bench.domain()
    m, d, at = bench.m, bench.takes("d", 10), bench.takes("at", 2)
    layout = data.StructLayout({"flag": Flag, "depth": signed(5), "marks": data.ArrayLayout(unsigned(4), 4)})
    berth = Signal(layout)
    m.d.sync += [berth.depth.eq(berth.depth + d[:3].as_signed()), berth.marks[at].eq(d[4:8])]
    with m.If(d[9]):
        m.d.sync += berth.flag.eq(Mux(d[8], Flag.CLOSED, Flag.TAKEN))
    with m.Elif(berth.flag.as_value() == 0):
        m.d.sync += berth.flag.eq(Flag.FREE)
    bench.shows(
        all=berth.as_value(), mark=berth.marks[at], depth=berth.depth, closed=berth.flag == Flag.CLOSED
    )


def arrays(bench: Bench) -> None:
    """An array of registers read and written by an index that may be beyond its end."""
    bench.domain()
    m, at, d, we = bench.m, bench.takes("at", 3), bench.takes("d", 5), bench.takes("we", 1)
    cells = Array(Signal(5, name=f"cell{k}", init=3 * k) for k in range(5))
    with m.If(we):
        m.d.sync += cells[at].eq(d)
    bench.shows(found=cells[at], last=cells[4], sum=sum(cells))


def edges(bench: Bench) -> None:
    """Registers on the falling edge, with an asynchronous reset, beside some on the rising edge of the same clock."""
    bench.domain(async_reset=True)
    m, d = bench.m, bench.takes("d", 10)
    bench.domain("fall", clk_edge="neg", reset_less=True)
    rising, falling = Signal(10, init=0x155), Signal(10)
    m.d.sync += rising.eq(rising + d)
    m.d.fall += falling.eq(falling ^ d.rotate_left(3))
    bench.shows(rising=rising, falling=falling)


def inserters(bench: Bench) -> None:
    """One module used three times: with an enable, with a reset, in another clock domain."""
    bench.domain()
    bench.domain("slow")
    go, clear = bench.takes("go", 1), bench.takes("clear", 1)
    shown = {}
    for name, change in (
        ("gated", EnableInserter(go)),
        ("cleared", ResetInserter(clear)),
        ("slow", DomainRenamer("slow")),
    ):
        inner, count = Module(), Signal(9, name=name, init=5)
        inner.d.sync += count.eq(count * 3 + 1)
        bench.m.submodules[name] = change(inner)
        shown[name] = count
    bench.shows(**shown, clock=ClockSignal("sync"))


def crossing(bench: Bench) -> None:
    """Synchronisers between two clocks."""
    bench.domain("a")
    bench.domain("b")
    level, pulse = bench.takes("level", 4), bench.takes("pulse", 1)
    seen, counted = Signal(4), Signal(16)
    bench.m.submodules.level = FFSynchronizer(level, seen, o_domain="b", stages=3)
    bench.m.submodules.pulse = crossed = PulseSynchronizer("a", "b")
    bench.m.d.comb += crossed.i.eq(pulse)
    bench.m.d.b += counted.eq(counted + crossed.o)
    bench.shows(seen=seen, counted=counted[:6], crossed=crossed.o)


def two_clock_queue(bench: Bench) -> None:
    """The library's queue between two clocks, which counts in Gray code."""
    bench.domain("write")
    bench.domain("read")
    bench.m.submodules.queue = queue = AsyncFIFO(width=7, depth=8, w_domain="write", r_domain="read")
    for name, line in (("d", queue.w_data), ("put", queue.w_en), ("get", queue.r_en)):
        bench.m.d.comb += line.eq(bench.takes(name, len(line)))
    bench.shows(q=queue.r_data, ready=queue.r_rdy, room=queue.w_rdy, level=queue.r_level)


def wide(bench: Bench) -> None:
    """Sums, products and shifts of a hundred bits."""
    bench.domain()
    m, a, b, n = bench.m, bench.takes("a", 100), bench.takes("b", 100), bench.takes("n", 7)
    total = Signal(100, init=(1 << 99) - 1)
    with m.Switch(n[:2]):
        with m.Case(0):
            m.d.sync += total.eq(total + a)
        with m.Case(1):
            m.d.sync += total.eq(a * b)
        with m.Case(2):
            m.d.sync += total.eq(total.as_signed() >> n)
        with m.Default():
            m.d.sync += total.eq((b << n)[:100])
    bench.shows(total=total, less=a < b, close=(a - b).as_signed() < 1000)


RARE = {"sync_rst": 0.0005}
CIRCUITS = {
    "counter": Circuit(counter, odds={**RARE, "load": 0.02, "d": 0.5}),
    "arithmetic": Circuit(arithmetic),
    "selections": Circuit(selections, clocks=()),
    "parts": Circuit(parts),
    "patterns": Circuit(patterns),
    "lock": Circuit(lock, odds=RARE),
    "memory": Circuit(memory),
    "queue": Circuit(queue),
    "checksum": Circuit(checksum, odds={"start": 0.01}),
    "records": Circuit(records),
    "arrays": Circuit(arrays),
    "edges": Circuit(edges, late=True),
    "inserters": Circuit(inserters, ("sync_clk", "slow_clk"), {"clear": 0.05}),
    "crossing": Circuit(crossing, ("a_clk", "b_clk")),
    "two_clock_queue": Circuit(two_clock_queue, ("write_clk", "read_clk")),
    "wide": Circuit(wide),
}
