"""What independent readers find in a value change dump of any writer: vcdvcd (2.6), pywellen (0.25) and pyvcd (0.4).

pywellen is a binding of Wellen, which is written in Rust. Levels are 0, 1 and x (whatever is neither), vectors have all
their bits, and of the changes at one instant the last one counts.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterable, Mapping
from fractions import Fraction
from pathlib import Path

import pywellen
from forelight.sim.traces import dump
from vcd.reader import ScalarChange, TokenKind, VCDParseError, VectorChange, tokenize
from vcdvcd import VCDVCD

#: The changes of one variable: instants in the file's time unit, and bits.
Changes = list[tuple[Fraction, str]]
LEVELS = {"0": "0", "l": "0", "1": "1", "h": "1"}


def _stride(width: int) -> int:
    """All bits are compared, or every hundredth or so of very wide variables."""
    return 1 if width <= 4096 else 101


def settled(rows: Iterable[tuple[Fraction, str]], width: int, stride: int = 0) -> Changes:
    """Changes as this file has them: whole vectors, the last one of an instant, and none that changes nothing."""
    last: dict[Fraction, str] = {}
    for time, bits in rows:
        whole = bits.lower().rjust(
            width, "0" if bits[0] in "01" else bits[0].lower()
        )  # IEEE 1364-2005, 18.2.1
        last[time] = "".join(LEVELS.get(bit, "x") for bit in whole[:: stride or _stride(width)])
    found: Changes = []
    for time, bits in last.items():
        if not found or found[-1][1] != bits:
            found.append((time, bits))
    return found


def forelight(data: bytes) -> dict[str, tuple[dump.Variable, Changes]]:
    """By identifier and name: each variable that holds bits."""
    read = dump.scan(data)
    found = {}
    for variable in read.variables:
        if not variable.holds_bits:
            continue
        bits = [read.levels(variable, bit) for bit in range(variable.width - 1, -1, -_stride(variable.width))]
        levels = zip(*(levels.tolist() for _, levels in bits), strict=True)
        rows = zip(bits[0][0].tolist(), levels, strict=True)
        changes = [(time * read.part, "".join("01x"[level] for level in row)) for time, row in rows]
        key = f"{variable.identifier.decode()} {variable.name}"
        found[key] = variable, settled(changes, len(bits), 1)
    return found


def vcdvcd(text: str) -> dict[str, Changes]:
    """By identifier."""
    data = VCDVCD(vcd_string=text).data
    return {
        key: settled([(Fraction(str(time)), bits) for time, bits in signal.tv], int(signal.size))
        for key, signal in data.items()
    }


def pyvcd(data: bytes) -> Mapping[str, Changes] | None:
    """By identifier; None for a dump that this reader refuses (it knows the standard's words alone)."""
    widths: dict[str, int] = {}
    rows: dict[str, list[tuple[Fraction, str]]] = {}
    now = Fraction(0)
    try:
        for token in tokenize(io.BytesIO(data)):
            if token.kind is TokenKind.VAR:
                widths[token.var.id_code] = token.var.size
                rows.setdefault(token.var.id_code, [])
            elif token.kind is TokenKind.CHANGE_TIME:
                now = Fraction(token.time_change)
            elif isinstance(token.data, ScalarChange | VectorChange):
                value = token.data.value
                bits = f"{value:b}" if isinstance(value, int) else value
                rows[token.data.id_code].append((now, bits))
    except (VCDParseError, ValueError):  # it knows no U, W, H, L and - in vectors
        return None
    return {key: settled(changes, widths[key]) for key, changes in rows.items()}


def wellen(path: Path) -> dict[str, list[Changes]]:
    """By stem of the name, for each variable of one stem."""
    found: dict[str, list[Changes]] = {}
    for variable in pywellen.Waveform(path=str(path)).all_vars():
        width = variable.bitwidth
        if not width:
            continue  # real numbers, strings and events
        rows = [
            (Fraction(time), f"{value:b}" if isinstance(value, int) else str(value))
            for time, value in variable.tv
        ]
        found.setdefault(stem(variable.full_name), []).append(settled(rows, width))
    return found


def stem(name: str) -> str:
    """A name without what readers write in different ways: indices, ranges and empty scopes."""
    return re.sub(r"\.?\[[^\]]*\]", "", name).strip(". ")


def bit_by_bit(variables: Iterable[Changes]) -> set[tuple[tuple[Fraction, str], ...]]:
    """The changes of each bit of these variables."""
    return {
        tuple(settled([(time, bits[place]) for time, bits in changes], 1))
        for changes in variables
        for place in range(len(changes[0][1]) if changes else 0)
    }
