"""Writes what one clock edge moves, region by region (see `regions.py`), in a netlist whose state lies in memory."""

from __future__ import annotations

from collections.abc import Sequence

from ..netlist import Register, Word
from .in_memory import Resident, put
from .regions import Divider, Region, Take
from .words import Scope


def commit(here: Resident, scope: Scope, divider: Divider, region: Region) -> str:
    """Commit one region: everything it takes is computed first, then its branches run, then it is stored."""
    text = here.text
    stores = _takes(here, scope, region.takes)
    conditions = here.words([bit for (bit, _), _ in region.branches], scope)
    _preload(here, scope, divider, region)
    wakes = "1" if region.wakes else "0"
    for name, ((_, level), inner) in zip(conditions, region.branches, strict=True):
        inside, after, origin = text.name("in"), text.name("out"), text.here
        yes, no = (inside, after) if level else (after, inside)
        text.do(f"br i1 {name}, label %{yes}, label %{no}")
        text.block(inside)
        woken = commit(here, scope.child(), divider, inner)
        last = text.here
        text.do(f"br label %{after}")
        text.block(after)
        if woken != "0":
            woke = text.phi("i1", "0", origin)
            text.arm(woke, woken, last)
            wakes = text.op(f"or i1 {wakes}, {woke}")
    for offset, bits, name in stores:
        put(text, offset, bits, name)
    return wakes


def _preload(here: Resident, scope: Scope, divider: Divider, region: Region) -> None:
    """Load what a branch reads after an earlier one has written it."""
    written: set[int] = set()
    for condition, inner in region.branches:
        late = divider.reads(condition, inner) & written
        registers = [here.program.netlist.registers[index] for index in sorted(late)]
        here.words([Word.value(register.output, register.width) for register in registers], scope)
        written |= divider.writes(inner)


def _takes(here: Resident, scope: Scope, takes: Sequence[Take]) -> list[tuple[int, int, str]]:
    """The stores (offset, bits, name) that a region owes, wide registers 64 bits at a time."""
    found: dict[tuple[int, int], tuple[int, int, str]] = {}
    here.emit(here.program.needs(w for t in takes for w in (t.data, *(bit for bit, _ in t.rest))), scope)
    for take in takes:
        register = here.program.netlist.registers[take.register]
        place = here.program.layout.registers[take.register]
        met = _met(scope, take)
        for low in range(0, register.width, 64) if not register.overrides else (0,):
            width = register.width if register.overrides else min(64, register.width - low)
            bits = place.bits if place.bits <= 64 or register.overrides else 64
            name = scope.resize(scope.word(take.data.cut(low, width)), width, bits)
            if met != "1":
                earlier = found.get((take.register, low))
                old = earlier[2] if earlier else _old(here, scope, register, low, width, bits)
                name = scope.text.select(met, f"i{bits}", name, old)
            found[take.register, low] = (place.offset + low // 8, bits, name)
    return [_forced(here, scope, *item) for item in found.items()]


def _old(here: Resident, scope: Scope, register: Register, low: int, width: int, bits: int) -> str:
    word = Word.value(register.output, register.width).cut(low, width)
    return scope.resize(here.words([word], scope)[0], width, bits)


def _forced(
    here: Resident, scope: Scope, key: tuple[int, int], store: tuple[int, int, str]
) -> tuple[int, int, str]:
    """The store as the register's overrides make it."""
    register = here.program.netlist.registers[key[0]]
    offset, bits, name = store
    if register.overrides:
        here.words(register.forcing, scope)
        name = here.forced(key[0], scope.resize(name, bits, register.width), scope)
        name = scope.resize(name, register.width, bits)
    return offset, bits, name


def _met(scope: Scope, take: Take) -> str:
    met = "1"
    for bit, level in take.rest:
        name = scope.word(bit)
        if not level:
            name = scope.text.op(f"xor i1 {name}, 1")
        met = name if met == "1" else scope.text.op(f"and i1 {met}, {name}")
    return met
