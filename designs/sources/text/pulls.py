"""`tri0` and `tri1`: nets that rest at a level while nothing drives them, as one more driver that is on just then.

An input rests at it where an instance connects nothing. Source: IEEE 1364-2005, 4.6.6. Yosys 0.70 has no such nets.
"""

from __future__ import annotations

from collections.abc import Iterator

from .gates import terminals
from .tokens import Verilog, declared

#: For each three-state primitive, what its enable is while it drives.
_DRIVES = {"bufif1": "({})", "notif1": "({})", "bufif0": "!({})", "notif0": "!({})"}


def rewrite_pulls(verilog: Verilog) -> None:
    """Raises SourceError where it cannot be seen what drives such a net, and when."""
    resting: set[str] = set()  # inputs that rest at a level where nothing is connected to them
    for _, start, end in list(verilog.modules()):
        inputs = {
            verilog.word(first)
            for _, name, last in declared(verilog, start, end, ("input", "inout"))
            for first, _ in verilog.parts(name, last)
        }
        for at, name, last in list(declared(verilog, start, end, ("tri0", "tri1"))):
            level, port = verilog.word(at)[-1], verilog.word(at - 1)
            bounds = verilog.source(at + 1, name)
            verilog.instead(at, at + 1, "wire")
            for first in _names(verilog, name, last):
                if port == "input":
                    verilog.after(first, f"= {{({_count(bounds)}){{1'b{level}}}}}")
                    resting.add(verilog.word(first))
                elif port == "inout" or (port == ";" and verilog.word(first) in inputs):
                    raise verilog.refused(
                        at,
                        f"a port of kind {verilog.word(at)} is not supported",
                        "pull a net inside instead",
                    )
                else:
                    _pull(verilog, first, bounds, level, start, end)
    for rests in resting:
        _leave_out(verilog, rests)


def _names(verilog: Verilog, start: int, last: int) -> Iterator[int]:
    """The names of a declaration, which may stand among the ports of a module."""
    for first, end in verilog.parts(start, last):
        if verilog.word(first) in ("input", "output", "inout"):
            return
        yield first
        if verilog.where(")", start=first, end=end):
            return


def _count(bounds: str) -> str:
    return f"({bounds[1:-1].replace(':', ')-(')})+1" if bounds else "1"


def _leave_out(verilog: Verilog, name: str) -> None:
    """Ports that instances leave empty: Yosys gives those alone their level that are not named."""
    for at in verilog.where(name):
        if verilog.word(at - 1) == "." and verilog.word(at + 1) == "(" and verilog.word(at + 2) == ")":
            end = at + 4 if verilog.word(at + 3) == "," else at + 3
            start = at - 2 if end == at + 3 and verilog.word(at - 2) == "," else at - 1
            verilog.instead(start, end, "")


def _pull(verilog: Verilog, declaration: int, bounds: str, level: str, start: int, end: int) -> None:
    """Let the three-state drivers of a net drive a net of their own, and the pull with them."""
    net = verilog.word(declaration)
    floating = _floating(verilog, net, start, end)
    enables: list[str] = []
    assigned: list[tuple[int, int, str]] = []
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
                    enables.append(_enable(verilog, first, last, floating))
                    assigned.append((first, last, enables[-1]))
    if any(verilog.word(at + 1) == "[" for at in outputs) or _in_instance(verilog, net, start, end):
        raise verilog.refused(
            declaration,
            f"it cannot be seen what drives {net}, which is pulled",
            "drive all of it in this module",
        )
    if "1'b1" in enables:
        return  # something drives it always
    count = _count(bounds)
    if assigned and len(outputs) == 1:
        _split(verilog, *assigned[0], f"{{({count}){{1'b{level}}}}}")
        return  # it never floats
    shared = verilog.unique(f"{net}_shared".removeprefix("\\"))
    for at in outputs:
        verilog.instead(at, at + 1, shared)
    for first, last, enable in assigned:
        _split(verilog, first, last, enable, f"{{({count}){{1'bz}}}}")
    idle = " && ".join(f"!({enable})" for enable in enables) or "1'b1"
    pull = f"({idle}) ? {{({count}){{1'b{level}}}}} : {{({count}){{1'bz}}}}"
    verilog.after(verilog.until(declaration, ";"), f"wire {bounds} {shared};")
    # A buffer, so that what reads the net reads what never floats.
    buffer = f"(* keep *) \\$buf #(.WIDTH({count})) {verilog.unique('pull')} (.A({shared}), .Y({net} ));"
    verilog.before(end, f"{buffer} assign {shared} = {pull};")


def _split(verilog: Verilog, first: int, last: int, enable: str, idle: str) -> None:
    """Let one choice say when an assignment drives, as Yosys forgets a z within one; else it gives `idle`."""
    equals = next(at for at in range(first, last) if verilog.word(at) == "=")
    for at in range(equals + 1, last):
        if is_z(verilog.word(at)):
            width = verilog.word(at).partition("'")[0].strip() or "1"
            verilog.instead(at, at + 1, f"{width}'b0")
    verilog.before(equals + 1, f"({enable}) ? (")
    verilog.enclose(last - 1, f") : {idle}")


def _enable(verilog: Verilog, first: int, last: int, floating: set[str]) -> str:
    """When an assignment drives its net, as a condition; `1'b1` if it does so always."""
    equals = next(at for at in range(first, last) if verilog.word(at) == "=")
    return _drives(verilog, equals + 1, last, floating)


def _drives(verilog: Verilog, first: int, last: int, floating: set[str]) -> str:
    """When an expression gives a level, where one of its choices is z. Raises SourceError where that cannot be seen."""
    while verilog.word(first) == "(" and verilog.close(first) == last - 1:
        first, last = first + 1, last - 1
    parts = verilog.parts(first, last, "?")
    if len(parts) > 1:
        chosen = parts[0][1] + 1
        colon = verilog.colon(chosen, last)
        if colon == last:
            raise verilog.refused(last, "a `?` has no `:`", "add it")
        yes = _drives(verilog, chosen, colon, floating)
        no = _drives(verilog, colon + 1, last, floating)
        if yes == no:
            return yes
        return f"(({verilog.source(first, parts[0][1])}) ? {yes} : {no})"
    words = [verilog.word(at) for at in range(first, last)]
    if all(is_z(word) or word in "{}" or word.isdigit() for word in words) and any(map(is_z, words)):
        return "1'b0"
    if any(is_z(word) or word in floating for word in words):
        raise verilog.refused(
            first, "it cannot be seen when this drives a pulled net", "write z as a choice of `?` alone"
        )
    return "1'b1"


def is_z(word: str) -> bool:
    """Whether a number is all z."""
    digits = word.replace("_", "").replace(" ", "").lower().rpartition("'")[2].lstrip("sbodh")
    return "'" in word and bool(digits) and not digits.strip("z?")


def _floating(verilog: Verilog, net: str, start: int, end: int) -> set[str]:
    """Other names that are given a z somewhere."""
    found = set()
    for at in range(start, end):
        if is_z(verilog.word(at)):
            head = at
            while verilog.word(head) not in (";", "begin", "module", "") and head > start:
                head -= 1
            found |= {verilog.word(n) for n in range(head, at) if verilog.word(n + 1) in ("=", "<=")}
    return found - {net}


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
