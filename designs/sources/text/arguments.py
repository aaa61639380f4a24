"""Arguments of functions that are constants worked out: they are as wide as what takes them.

Source: IEEE 1364-2005, 10.4.3 and 5.4: an argument is assigned to the input. Yosys 0.70 works such a constant out in
its own width before: `f(4'd9 + 4'd9)` gives 2, whatever the function takes.
"""

from __future__ import annotations

from .tokens import Verilog, declared


def rewrite_arguments(verilog: Verilog) -> None:
    """Add a 0 of the input's width, which keeps the sign of the argument."""
    takes: dict[str, list[str]] = {}
    for at in verilog.where("function"):
        name, widths = _taken(verilog, at)
        takes[name] = widths if takes.get(name, widths) == widths else []
    for _, start, end in verilog.modules() if takes else ():
        constants = {
            verilog.word(first)
            for _, name, last in declared(verilog, start, end, ("parameter", "localparam"))
            for first, _ in verilog.parts(name, last)
        }
        for at in verilog.where(*takes, start=start, end=end):
            if verilog.word(at + 1) != "(" or verilog.word(at - 1) in (
                "function",
                "]",
                "automatic",
                "signed",
            ):
                continue
            arguments = verilog.parts(at + 2, verilog.close(at + 1))
            for (first, last), width in zip(arguments, takes[verilog.word(at)], strict=False):
                if width and last > first + 1 and _is_constant(verilog, first, last, constants):
                    verilog.before(first, "(")
                    verilog.after(last - 1, f") + $signed({{({width}){{1'b0}}}})")


def _is_constant(verilog: Verilog, first: int, last: int, constants: set[str]) -> bool:
    kinds = (verilog.tokens[at] for at in range(first, last))
    return all(token.kind in ("number", "sign") or token.text in constants for token in kinds)


def _taken(verilog: Verilog, at: int) -> tuple[str, list[str]]:
    """The name of a function, and the widths of its inputs as text; empty for one that is not a plain vector."""
    header = verilog.until(at, ";")
    opening = next((n for n in range(at, header) if verilog.word(n) == "("), header)
    widths: list[str] = []
    if opening < header:
        width = "1"
        for first, last in verilog.parts(opening + 1, verilog.close(opening)):
            if last > first + 1:
                width = _width(verilog, first, last)
            widths.append(width)
        return verilog.word(opening - 1), widths
    for begin in verilog.where("input", start=header, end=verilog.until_word(at, "endfunction")):
        parts = verilog.parts(begin, verilog.until(begin, ";"))
        widths += [_width(verilog, *parts[0])] * len(parts)
    return verilog.word(header - 1), widths


def _width(verilog: Verilog, first: int, last: int) -> str:
    """The width in `input signed [7:0] x`."""
    at = first
    while verilog.word(at) in ("input", "signed", "unsigned", "reg", "logic", "bit", "var"):
        at += 1
    if verilog.word(at) in ("integer", "int"):
        return "32"
    if verilog.word(at) != "[":
        return "1" if at == last - 1 else ""
    closing = verilog.close(at)
    bounds = verilog.parts(at + 1, closing, ":")
    if len(bounds) != 2 or closing + 2 != last:
        return ""
    high, low = (verilog.source(*bound) for bound in bounds)
    return f"(({high}) < ({low}) ? ({low}) - ({high}) : ({high}) - ({low})) + 1"
