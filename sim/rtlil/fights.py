"""Nets with several drivers: what they show is undefined wherever these do not agree, and each is a warning.

IEEE 1364-2005, 4.6.1: two strong drivers that differ make x, and one that is off (z) leaves the net to the other. On a
chip they fight, and draw current for as long as they do.
"""

from __future__ import annotations

from ..errors import NetlistError
from ..netlist import REASON
from .lower import Design
from .nets import NOTHING, Nets
from .records import FIRST, UNDEFINED

_REASON = {REASON: "drivers that fight"}
_UNSIGNED = {"A_SIGNED": 0, "B_SIGNED": 0}


def settle_fights(design: Design) -> tuple[str, ...]:
    """Join the drivers of each net that has several, once all is connected; a line for each such net."""
    nets, warnings = design.nets, dict[str, None]()
    for target, first, second in nets.doubles:
        (one, last), (other, further) = _driver(nets, first), _driver(nets, second)
        if one == other:
            continue  # the same net twice
        if NOTHING in (one, other):
            nets.drive[last if one == NOTHING else further] = max(one, other)
            continue
        said, src = nets.fight(target, first, second)
        if min(one, other) < FIRST:  # what reads the net may have been given the constant in its place
            raise NetlistError(said, place=src, remedy="leave one")
        warnings[f"{said}; where they differ it is unsettled, and on a chip they draw current: leave one"] = (
            None
        )
        bit = _joined(design, one, other, src)
        for wire in (target, last, further):
            if nets.drive[wire] != wire:
                nets.drive[wire] = bit
    return tuple(warnings)


def _driver(nets: Nets, bit: int) -> tuple[int, int]:
    """What drives a bit in the end, and the last wire on the way there."""
    last, seen = bit, set[int]()
    while nets.drive[bit] != bit:
        if nets.drive[bit] == NOTHING or bit in seen:
            return NOTHING, bit
        seen.add(bit)
        last, bit = bit, nets.drive[bit]
    return bit, last


def _joined(design: Design, one: int, other: int, src: str) -> int:
    """A bit that shows both drivers where they agree; one that is off leaves it to the other."""
    off = {cell.value: cell for cell in design.cells if cell.kind == "$tribuf"}
    for bit, strong in ((one, other), (other, one)):
        place = design.nets.value_bit(bit)
        if place is not None and place[0] in off:
            value, enable = off[place[0]].operands
            fought = _fought(design, value[place[1]], strong, src)
            return design.emit("$mux", ((strong,), (fought,), enable), 1, src=src)[0]
    return _fought(design, one, other, src)


def _fought(design: Design, one: int, other: int, src: str) -> int:
    unlike = design.emit("$xor", ((one,), (other,)), 1, _UNSIGNED, src=src)
    return design.emit("$bwmux", ((one,), (UNDEFINED,), unlike), 1, _REASON, src=src)[0]
