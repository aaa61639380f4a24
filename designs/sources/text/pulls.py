"""`tri0` and `tri1`: nets that rest at a level while nothing drives them, as one more driver that is on just then.

Source: IEEE 1364-2005, 4.6.6. Yosys 0.70 has no such nets.
"""

from __future__ import annotations

from .gates import terminals
from .tokens import Verilog, declared

#: For each three-state primitive, what its enable is while it drives.
_DRIVES = {"bufif1": "({})", "notif1": "({})", "bufif0": "!({})", "notif0": "!({})"}


def rewrite_pulls(verilog: Verilog) -> None:
    """Raises SourceError where it cannot be seen what drives such a net, and when."""
    for _, start, end in list(verilog.modules()):
        for at, name, last in list(declared(verilog, start, end, ("tri0", "tri1"))):
            level = verilog.word(at)[-1]
            bounds = verilog.source(at + 1, name)
            verilog.instead(at, at + 1, "wire")
            for first, _ in verilog.parts(name, last):
                if verilog.word(at - 1) in ("output", "inout", "input"):
                    raise verilog.refused(
                        at, f"a port of kind {verilog.word(at)} is not supported", "pull a net inside instead"
                    )
                _pull(verilog, first, bounds, level, start, end)


def _pull(verilog: Verilog, declaration: int, bounds: str, level: str, start: int, end: int) -> None:
    """Let the three-state drivers of a net drive a net of their own, and the pull with them."""
    net = verilog.word(declaration)
    enables: list[str] = []
    outputs: list[int] = []
    for at in range(start, end):
        if verilog.word(at) in _DRIVES:
            for _, opening, closing in terminals(verilog, at):
                parts = verilog.parts(opening + 1, closing)
                if verilog.word(parts[0][0]) == net:
                    outputs.append(parts[0][0])
                    enables.append(_DRIVES[verilog.word(at)].format(verilog.source(*parts[-1])))
        elif verilog.word(at) == "assign":
            for first, last in verilog.parts(at + 1, verilog.until(at, ";")):
                if verilog.word(first) == net:
                    outputs.append(first)
                    enables.append(_enable(verilog, first, last))
    if any(verilog.word(at + 1) == "[" for at in outputs) or _in_instance(verilog, net, start, end):
        raise verilog.refused(
            declaration,
            f"it cannot be seen what drives {net}, which is pulled",
            "drive all of it in this module",
        )
    if "1'b1" in enables:
        return  # something drives it always
    shared = verilog.unique(f"{net}_shared".removeprefix("\\"))
    count = f"({bounds[1:-1].replace(':', ')-(')})+1" if bounds else "1"
    for at in outputs:
        verilog.instead(at, at + 1, shared)
    idle = " && ".join(f"!({enable})" for enable in enables) or "1'b1"
    pull = f"({idle}) ? {{({count}){{1'b{level}}}}} : {{({count}){{1'bz}}}}"
    verilog.after(verilog.until(declaration, ";"), f"wire {bounds} {shared};")
    # A buffer, so that what reads the net reads what never floats.
    buffer = f"(* keep *) \\$buf #(.WIDTH({count})) {verilog.unique('pull')} (.A({shared}), .Y({net} ));"
    verilog.before(end, f"{buffer} assign {shared} = {pull};")


def _enable(verilog: Verilog, first: int, last: int) -> str:
    """When an assignment drives its net: always, or as its one condition says."""
    parts = verilog.parts(first, last, "?")
    equals = next(at for at in range(first, last) if verilog.word(at) == "=")
    if len(parts) == 1:
        return "1'b1"
    yes, no = [*verilog.parts(parts[1][0], last, ":"), (last, last)][:2]
    off = ["'" in verilog.word(at) and verilog.word(at).lower().endswith("z") for at in (yes[0], no[0])]
    if len(parts) > 2 or all(off) or not any(off):
        return "1'b1"
    condition = verilog.source(equals + 1, parts[0][1])
    return f"!({condition})" if off[0] else f"({condition})"


def _in_instance(verilog: Verilog, net: str, start: int, end: int) -> bool:
    """Whether a net stands among the ports of an instance of a module."""
    for at in range(start, end):
        if verilog.word(at) == "(" and verilog.tokens[at - 1].is_name() and verilog.tokens[at - 2].is_name():
            words = ("module", "macromodule", "function", "task", "assign", "always", "initial", *_GATES)
            if verilog.word(at - 2) not in words:
                inside = range(at, verilog.close(at))
                if any(verilog.word(index) == net for index in inside):
                    return True
    return False


_GATES = ("and", "nand", "or", "nor", "xor", "xnor", "not", "buf", *_DRIVES, "begin", "end", "else")
