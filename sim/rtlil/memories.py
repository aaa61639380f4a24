"""Yosys' memory cells to memory records, with read cells, read registers and bypasses.

Sources: the ports and parameters of Yosys' cell library (`simlib.v`, `mem.h`). A wide port (several words at
once) is taken apart into ports of one word, whose addresses differ in the low bits.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from ..errors import RtlilError, UnsupportedError
from ..netlist import Const
from .lower import Design, PendingRegister, PlacedCell
from .nets import Nets
from .records import ONE, UNDEFINED, ZERO, Bits, constant, digits, public

#: Of one memory. The netlist keeps a record of each word.
MOST_WORDS, MOST_BITS = 1 << 24, 1 << 28


@dataclass(slots=True)
class PendingWrite:
    """One write port of one word; `port` is the number that transparency masks use."""

    clock: Bits | None
    rising: bool
    address: Bits
    data: Bits
    enable: Bits
    src: str
    port: int


@dataclass(slots=True)
class PendingRead:
    """One read port of one word; `through` are the write ports whose data it shows at once."""

    clock: Bits | None
    rising: bool
    address: Bits
    data: Bits
    enable: Bits
    through: Sequence[int]
    site: PlacedCell
    low: int  # the first bit of the word in the port's reset and initial values
    arst: Bits = (ZERO,)
    srst: Bits = (ZERO,)
    values: dict[str, Bits] = field(default_factory=dict)
    enable_first: bool = False


@dataclass(slots=True)
class PendingInit:
    address: Bits
    data: Bits
    enable: Bits
    order: int
    site: PlacedCell


@dataclass(slots=True)
class PendingMemory:
    """A memory and its ports, as its cells are met."""

    name: str
    width: int
    size: int
    offset: int
    src: str
    reads: list[PendingRead] = field(default_factory=list)
    writes: list[PendingWrite] = field(default_factory=list)
    inits: list[PendingInit] = field(default_factory=list)
    rows: str = ""  # initial contents as digits, last word first

    def __post_init__(self) -> None:
        if self.size > MOST_WORDS or self.size * self.width > MOST_BITS:
            raise UnsupportedError(
                f"memory {self.name} has {self.size} words of {self.width} bits",
                place=self.src,
                remedy=f"at most {MOST_WORDS} words and {MOST_BITS} bits are supported: make it smaller",
            )


def lower_port(memory: PendingMemory, site: PlacedCell) -> None:
    """A `$memrd`, `$memwr` or `$meminit` cell, old or new."""
    if site.kind.startswith("$memrd"):
        _add_read(memory, site)
    elif site.kind.startswith("$memwr"):
        _add_write(memory, site)
    else:
        count = site.number("WORDS")
        data = site.port("DATA", count * memory.width)
        enable = site.port("EN", memory.width) if "EN" in site.cell.ports else (ONE,) * memory.width
        order = site.number("PRIORITY", 0)
        memory.inits.append(PendingInit(site.port("ADDR"), data, enable, order, site))


def _split(memory: PendingMemory, site: PlacedCell, address: Bits, width: int) -> list[tuple[int, Bits]]:
    """For each word of a port of `width` bits: its first bit and its address."""
    count = width // memory.width if memory.width else 1
    if count * memory.width != width or count & (count - 1):
        raise RtlilError(
            f"{site.title} is {width} bits wide, its memory {memory.name} {memory.width}",
            place=site.place,
            remedy="a power of two of words at once can be read",
        )
    fixed = count.bit_length() - 1
    return [(n * memory.width, constant(f"{n:0{fixed}b}")[:fixed] + address[fixed:]) for n in range(count)]


def _add_read(memory: PendingMemory, site: PlacedCell) -> None:
    width = site.number("WIDTH")
    data = site.port("DATA", width)
    clocked = site.number("CLK_ENABLE") != 0
    old = site.kind == "$memrd"
    if old and site.number("TRANSPARENT", 0):
        raise site.refuse(_TRANSPARENT)
    mask = digits(site.cell.params.get("TRANSPARENCY_MASK", "0"))[::-1]
    through = [n for n, flag in enumerate(mask) if flag == "1"]
    for low, address in _split(memory, site, site.port("ADDR"), width):
        port = PendingRead(
            site.port("CLK", 1) if clocked else None,
            site.number("CLK_POLARITY", 1) == 1,
            address,
            data[low : low + memory.width],
            site.port("EN", 1) if clocked else (ONE,),
            through,
            site,
            low,
        )
        if clocked and not old:
            port.arst, port.srst = site.port("ARST", 1), site.port("SRST", 1)
            port.enable_first = site.number("CE_OVER_SRST", 0) == 1
            for name in ("ARST", "SRST", "INIT"):
                port.values[name] = _value(site.cell.params.get(f"{name}_VALUE", "0"), low, memory.width)
        memory.reads.append(port)


def _value(text: str, low: int, width: int) -> Bits:
    bits = constant(digits(text))[low : low + width]
    return bits + (UNDEFINED,) * (width - len(bits))


def _add_write(memory: PendingMemory, site: PlacedCell) -> None:
    width = site.number("WIDTH")
    data, enable = site.port("DATA", width), site.port("EN", width)
    clocked = site.number("CLK_ENABLE") != 0
    port = site.number("PORTID", site.number("PRIORITY", 0))
    for low, address in _split(memory, site, site.port("ADDR"), width):
        memory.writes.append(
            PendingWrite(
                site.port("CLK", 1) if clocked else None,
                site.number("CLK_POLARITY", 1) == 1,
                address,
                data[low : low + memory.width],
                enable[low : low + memory.width],
                site.src,
                port,
            )
        )


def whole_memory(site: PlacedCell) -> PendingMemory:
    """A `$mem` or `$mem_v2` cell, which has all its ports on itself."""
    width, size = site.number("WIDTH"), site.number("SIZE")
    memory = PendingMemory(
        site.scope.path + public(site.text("MEMID")),
        width,
        size,
        site.number("OFFSET", 0),
        site.src,
    )
    memory.rows = digits(site.cell.params.get("INIT", "0'"))
    abits, reads, writes = site.number("ABITS"), site.number("RD_PORTS"), site.number("WR_PORTS")

    def slices(name: str, count: int, size: int) -> list[Bits]:
        bits = site.port(name, count * size) if count else ()
        return [bits[n * size : (n + 1) * size] for n in range(count)]

    clocked, rising = site.flags("WR_CLK_ENABLE", writes), site.flags("WR_CLK_POLARITY", writes)
    clocks, addresses = slices("WR_CLK", writes, 1), slices("WR_ADDR", writes, abits)
    data, enables = slices("WR_DATA", writes, width), slices("WR_EN", writes, width)
    for n in range(writes):
        clock = clocks[n] if clocked[n] == "1" else None
        memory.writes.append(
            PendingWrite(clock, rising[n] == "1", addresses[n], data[n], enables[n], site.src, n)
        )
    old = site.kind == "$mem"
    clocked, rising = site.flags("RD_CLK_ENABLE", reads), site.flags("RD_CLK_POLARITY", reads)
    transparent = site.flags("RD_TRANSPARENT", reads)
    masks = site.flags("RD_TRANSPARENCY_MASK", reads * writes)
    first = site.flags("RD_CE_OVER_SRST", reads)
    clocks, addresses = slices("RD_CLK", reads, 1), slices("RD_ADDR", reads, abits)
    data, enables = slices("RD_DATA", reads, width), slices("RD_EN", reads, 1)
    resets: list[tuple[Bits, Bits]] = [((ZERO,), (ZERO,))] * reads
    if not old:
        resets = [
            (a, s) for a, s in zip(slices("RD_ARST", reads, 1), slices("RD_SRST", reads, 1), strict=True)
        ]
    for n in range(reads):
        if old and transparent[n] == "1":
            raise site.refuse(_TRANSPARENT)
        through = [w for w in range(writes) if masks[n * writes + w] == "1"]
        clock = clocks[n] if clocked[n] == "1" else None
        port = PendingRead(
            clock, rising[n] == "1", addresses[n], data[n], enables[n], through, site, 0, *resets[n]
        )
        port.enable_first = first[n] == "1"
        if not old:
            for name in ("ARST", "SRST", "INIT"):
                text = site.cell.params.get(f"RD_{name}_VALUE", "0")
                port.values[name] = _value(text, n * width, width)
        memory.reads.append(port)
    return memory


def lower_memory(design: Design, memory: PendingMemory, number: int) -> None:
    """Give every read port of a memory its cells; the memory is number `number` of the netlist."""
    memory.writes.sort(key=lambda write: write.port)
    for port in memory.reads:
        site = port.site
        name = f"read port {site.name}"
        found = design.emit(
            "read", (port.address,), memory.width, {"memory": number}, name=name, src=site.src
        )
        if port.clock is not None:
            found = _registered(design, memory, port, found)
        design.nets.connect(port.data, found)


def _registered(design: Design, memory: PendingMemory, port: PendingRead, data: Bits) -> Bits:
    """The register of a synchronous read port, and what leads to it."""
    src = port.site.src
    number, out = design.nets.value(memory.width, f"read register {port.site.name}", src)
    for write in memory.writes:
        if write.port not in port.through:
            continue
        hit = design.emit("$eq", (port.address, write.address), 1, {"A_SIGNED": 0, "B_SIGNED": 0}, src=src)
        writes = design.emit("$and", (write.enable, hit * memory.width), memory.width, _UNSIGNED, src=src)
        data = design.emit("$bwmux", (data, write.data, writes), memory.width, src=src)
    if not port.enable_first and port.enable != (ONE,):
        data = design.choose(port.enable, out, data, src)
    if port.srst != (ZERO,):
        data = design.choose(port.srst, data, port.values["SRST"], src)
    if port.enable_first and port.enable != (ONE,):
        data = design.choose(port.enable, out, data, src)
    overrides = () if port.arst == (ZERO,) else ((port.arst * memory.width, port.values["ARST"]),)
    name = f"{memory.name}.{port.site.name}"
    design.registers.append(
        PendingRegister(
            number, memory.width, port.clock, port.rising, data, overrides, name, src, port.values.get("INIT")
        )
    )
    return out


_UNSIGNED = {"A_SIGNED": 0, "B_SIGNED": 0}
_TRANSPARENT = "a transparent port in the old form: let Yosys' `memory_collect` write it anew"


def contents(nets: Nets, memory: PendingMemory) -> tuple[Const, ...]:
    """The initial word of each row, after settling."""
    width = memory.width
    blank = Const(0, width, (1 << width) - 1)
    unwritten = "x" * width
    rows = [blank] * memory.size
    for row in range(min(memory.size, len(memory.rows) // width if width else 0)):
        end = len(memory.rows) - row * width
        shown = memory.rows[end - width : end]
        if shown != unwritten:
            rows[row] = _const(shown)
    for init in sorted(memory.inits, key=lambda init: init.order):
        address, enable = nets.word(init.address).as_const(), nets.word(init.enable).as_const()
        word = nets.word(init.data)
        if address is None or enable is None or word.as_const() is None:
            raise init.site.refuse("initial contents must be constants")
        start = address.bits - memory.offset
        for at in range(len(init.data) // width if width else 0):
            if 0 <= start + at < memory.size:
                value = word.cut(at * width, width).as_const()
                assert value is not None
                rows[start + at] = _blend(rows[start + at], value, enable.bits)
    return tuple(rows)


def _blend(old: Const, new: Const, mask: int) -> Const:
    keep = ((1 << old.width) - 1) & ~mask
    return Const(old.bits & keep | new.bits & mask, old.width, old.undefined & keep | new.undefined & mask)


def _const(shown: str) -> Const:
    defined = shown.translate(_DEFINED)
    undefined = int(shown.translate(_UNDEFINED), 2)
    return Const(int(defined, 2), len(shown), undefined)


_DEFINED = str.maketrans("xzm-", "0000")
_UNDEFINED = str.maketrans("01xzm-", "001111")
