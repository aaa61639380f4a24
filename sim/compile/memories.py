"""Memory reads and writes as LLVM text, without branches.

A memory has two rows more than it needs (see `layout.Rows`): a read out of range takes the row that is always
0, a write
that is out of range or not enabled goes to the row that nobody reads.
"""

from __future__ import annotations

from ..frozen import frozen
from ..netlist import Memory, Word, WritePort
from .layout import Rows
from .words import Scope


@frozen
class Write:
    """A write that is ready to be stored: LLVM names of the row index (i64), the data and, if partial, the mask."""

    index: str
    data: str
    mask: str | None


def row_index(scope: Scope, memory: Memory, address: Word, outside: int) -> str:
    """The row (i64) that an address means, `outside` if it is out of range."""
    text = scope.text
    width = max(address.width, (memory.offset + memory.size).bit_length() + 1, 64)
    constant = scope.resolve(address).as_const()
    if constant is not None:
        row = constant.bits - memory.offset
        return str(row if 0 <= row < memory.size else outside)
    at = scope.extended(address, width, False)
    if memory.offset:
        at = text.op(f"sub i{width} {at}, {memory.offset}")
    if memory.offset or 1 << address.width > memory.size:
        inside = text.op(f"icmp ult i{width} {at}, {memory.size}")
        at = text.op(f"select i1 {inside}, i{width} {at}, i{width} {outside}")
    return scope.resize(at, width, 64)


def _pointer(scope: Scope, rows: Rows, index: str, base: str) -> str:
    offset = scope.text.op(f"mul i64 {index}, {rows.first.size}")
    moved = scope.text.op(f"add i64 {offset}, {rows.first.offset}")
    return scope.text.op(f"getelementptr i8, ptr {base}, i64 {moved}")


def load(scope: Scope, rows: Rows, index: str, base: str) -> str:
    """The row, in the state at `base`, as an integer of the memory's width."""
    kind, align = f"i{rows.first.bits}", min(rows.first.size, 8)
    found = scope.text.op(f"load {kind}, ptr {_pointer(scope, rows, index, base)}, align {align}")
    return scope.resize(found, rows.first.bits, rows.first.width)


def store(scope: Scope, rows: Rows, write: Write) -> None:
    """Carry out a write; bits outside its mask keep what is stored."""
    width, data = rows.first.width, write.data
    if write.mask is not None:
        old = load(scope, rows, write.index, "%state")
        kept = scope.text.op(f"and i{width} {old}, {scope.text.op(f'xor i{width} {write.mask}, -1')}")
        data = scope.text.op(f"or i{width} {kept}, {scope.text.op(f'and i{width} {data}, {write.mask}')}")
    whole = scope.resize(data, width, rows.first.bits)
    align = min(rows.first.size, 8)
    scope.text.do(
        f"store i{rows.first.bits} {whole}, ptr {_pointer(scope, rows, write.index, '%state')}, align {align}"
    )


def read(scope: Scope, memory: Memory, rows: Rows, address: Word) -> str:
    """An asynchronous read."""
    return load(scope, rows, row_index(scope, memory, address, rows.zero), scope.base)


def write(scope: Scope, memory: Memory, rows: Rows, port: WritePort) -> Write:
    """What a port would write now, leaving aside whether its clock has an edge."""
    index = row_index(scope, memory, port.address, rows.spill)
    data = scope.word(port.data)
    bits = set(scope.resolve(port.enable).bits())
    if len(bits) > 1:
        return Write(index, data, scope.word(port.enable))
    (enable,) = bits
    constant = enable.as_const()
    if constant is None:
        index = scope.text.op(f"select i1 {scope.word(enable)}, i64 {index}, i64 {rows.spill}")
    elif not constant.bits:
        index = str(rows.spill)
    return Write(index, data, None)
