"""What three independent readers find in a value change dump: Forelight, pyvcd (0.4) and vcdvcd (2.6)."""

from __future__ import annotations

import io
from fractions import Fraction

from forelight.sim.traces import dump, vcd
from vcd.reader import ScalarChange, TokenKind, VectorChange, tokenize
from vcdvcd import VCDVCD

#: By signal: the instants in seconds at which it changes, and to which bits.
Found = dict[str, list[tuple[Fraction, str]]]
SECONDS = {unit: Fraction(1, 1000**power) for power, unit in enumerate(("s", "ms", "us", "ns", "ps", "fs"))}


def forelight(text: str) -> Found:
    trace, unit = vcd.read(text), dump.scan(text.encode(), "").unit
    assert unit is not None
    found: Found = {}
    for name, width in trace.widths.items():
        values = trace.values[name].tolist()
        unknown = trace.unknown[name].tolist() if name in trace.unknown else [0] * len(values)
        changes: list[tuple[Fraction, str]] = []
        for time, value, mask in zip(trace.times.tolist(), values, unknown, strict=True):
            places = range(width - 1, -1, -1)
            bits = "".join("x" if mask >> place & 1 else str(value >> place & 1) for place in places)
            if not changes or changes[-1][1] != bits:
                changes.append((time * unit, bits))
        found[name] = changes
    return found


def pyvcd(text: str) -> Found:
    names: dict[str, tuple[str, int]] = {}
    found: Found = {}
    unit = now = Fraction(0)
    for token in tokenize(io.BytesIO(text.encode())):
        if token.kind is TokenKind.TIMESCALE:
            unit = token.timescale.magnitude.value * SECONDS[token.timescale.unit.value]
        elif token.kind is TokenKind.VAR:
            names[token.var.id_code] = token.var.reference, token.var.size
            found[token.var.reference] = []
        elif token.kind is TokenKind.CHANGE_TIME:
            now = token.time_change * unit
        elif isinstance(token.data, ScalarChange | VectorChange):
            name, width = names[token.data.id_code]
            value = token.data.value
            found[name].append((now, _whole(f"{value:b}" if isinstance(value, int) else value, width)))
    return found


def vcdvcd(text: str) -> Found:
    read = VCDVCD(vcd_string=text)
    unit = Fraction(read.timescale["timescale"])
    return {
        vcd.bare(path.rpartition(".")[2]): [
            (time * unit, _whole(bits, int(read[path].size))) for time, bits in read[path].tv
        ]
        for path in read.references_to_ids
    }


def _whole(bits: str, width: int) -> str:
    """With the bits that the file may leave out (IEEE 1364-2005, 18.2.1)."""
    return bits.rjust(width, "0" if bits[0] == "1" else bits[0])
