"""Gate primitives and nets that Yosys lacks or reads wrongly: `buf`, `notif0`, `supply0`, `supply1`.

Source: IEEE 1364-2005, clauses 4.6 (nets) and 7 (gates).
"""

from __future__ import annotations

from collections.abc import Iterator

from .tokens import Verilog, declared

_STRENGTHS = {
    f"{strength}{level}" for strength in ("supply", "strong", "pull", "weak", "highz") for level in "01"
}


def rewrite_gates(verilog: Verilog) -> None:
    """Buffers stay as they are drawn; the other primitive and the nets become what says the same."""
    for at in verilog.where("buf"):
        _draw_buffers(verilog, at, list(terminals(verilog, at)))
    for at in verilog.where("notif0"):
        _invert_enables(verilog, at, list(terminals(verilog, at)))
    for _, start, end in verilog.modules():
        for at, name, last in list(declared(verilog, start, end, ("supply0", "supply1"))):
            _tie(verilog, at, name, last)


def terminals(verilog: Verilog, at: int) -> Iterator[tuple[int, int, int]]:
    """Of each gate that the primitive at `at` makes: its first token, the brackets around its terminals."""
    at += 1
    if verilog.word(at) == "(" and verilog.word(at + 1) in _STRENGTHS:
        at = verilog.close(at) + 1
    if verilog.word(at) == "#":
        at = verilog.control_end(at) + 1
    for begin, end in verilog.parts(at, verilog.until(at, ";")):
        opening = begin if verilog.word(begin) == "(" else begin + 1
        if verilog.word(opening) == "[":  # an array of gates
            opening = verilog.close(opening) + 1
        if verilog.word(opening) == "(" and verilog.close(opening) == end - 1:
            yield begin, opening, end - 1


def _draw_buffers(verilog: Verilog, at: int, gates: list[tuple[int, int, int]]) -> None:
    """Yosys would make two buffers of one net one net; a cell of its library with `keep` stays.

    An array of buffers stays as it is.
    """
    cells = []
    for begin, opening, closing in gates:
        if opening > begin + 1:
            return
        *outputs, source = [verilog.source(*part) for part in verilog.parts(opening + 1, closing)]
        for number, output in enumerate(outputs):
            name = verilog.word(begin) if opening > begin and not number else verilog.unique("buf")
            cells.append(f"(* keep *) \\$buf #(.WIDTH(1)) {name} (.A({source}), .Y({output}));")
    if gates:
        verilog.instead(at, gates[-1][2] + 2, " ".join(cells))


def _invert_enables(verilog: Verilog, at: int, gates: list[tuple[int, int, int]]) -> None:
    """Yosys 0.70 takes `notif0` for `notif1`."""
    verilog.instead(at, at + 1, "notif1")
    for _, opening, closing in gates:
        first, last = verilog.parts(opening + 1, closing)[-1]
        verilog.before(first, "~(")
        verilog.after(last - 1, ")")


def _tie(verilog: Verilog, at: int, name: int, last: int) -> None:
    """A net that is always 0 or 1, of any width."""
    level = "1'b0" if verilog.word(at) == "supply0" else "~1'b0"
    verilog.instead(at, at + 1, "wire")
    for _, end in verilog.parts(name, last):
        verilog.after(end - 1, f"= {level}")
