"""Draws for what is open: registers in the place of undefined constants, which each power-up gives other values."""

from __future__ import annotations

from dataclasses import replace

from ..gates.without import rewritten
from ..netlist import Cell, Const, Netlist, Override, Part, Register, Slice, Word

#: The output of a netlist with draws that has a bit for each place, which is 1 while the value there is open.
OPEN = "open"
#: Parities of which each undefined bit takes one.
_PARITIES = 8


def with_draws(netlist: Netlist, conditions: Word) -> Netlist:
    """The netlist with the output `OPEN`, which shows `conditions`, and registers that decide what is undefined.

    They stand behind all others.
    """
    widths, free, cells = list(netlist.widths), list[Register](), list[Cell]()

    def value(width: int) -> Word:
        widths.append(width)
        return Word.value(len(widths) - 1, width)

    def drawn(width: int) -> Word:
        own, nothing = value(width), Word.const(0, width)
        kept = Override(nothing, nothing)
        number = len(widths) - 1
        free.append(Register(number, width, None, True, own, (kept,), Const(0, width), "undefined"))
        return own

    def made(kind: str, width: int, *operands: Word) -> Word:
        found = value(width)
        cells.append(Cell(kind, len(widths) - 1, operands, {"A_SIGNED": 0, "B_SIGNED": 0}))
        return found

    state = _state(netlist)
    odd = [
        made("$reduce_xor", 1, made("$and", state.width, state, drawn(state.width))) for _ in range(_PARITIES)
    ]

    def decided(part: Part) -> Word:
        if isinstance(part, Slice) or not part.undefined:
            return Word.of((part,))
        parities = Word.of(p for n in range(part.width) for p in odd[(len(free) + n) % _PARITIES].parts)
        bits = zip(
            Word.of((part,)).bits(),
            made("$xor", part.width, drawn(part.width), parities).bits(),
            strict=True,
        )
        return Word.of(p for n, pair in enumerate(bits) for p in pair[part.undefined >> n & 1].parts)

    changed = rewritten(netlist, decided)
    return replace(
        netlist,
        cells=(*changed.cells, *cells),
        registers=(*changed.registers, *free),
        memories=changed.memories,
        outputs={**changed.outputs, OPEN: conditions},
        widths=tuple(widths),
    )


def _state(netlist: Netlist) -> Word:
    """All inputs, and the registers that follow nothing but clocks and inputs."""
    inputs = set(netlist.inputs.values())
    values = [
        *inputs,
        *(
            r.output
            for r in netlist.registers
            if r.clock is not None and inputs.issuperset(v for word in r.forcing for v in word.values())
        ),
    ]
    return Word.of(p for v in values for p in Word.value(v, netlist.widths[v]).parts)
