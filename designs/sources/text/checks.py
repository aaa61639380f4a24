"""What a text holds that no chip has, or that is refused: delays, both edges of a clock, user-defined primitives."""

from __future__ import annotations

from collections.abc import Iterator

from .tokens import Verilog, declared
from .unsupported import GATES

_DELAYED_WORDS = (
    "and nand or nor xor xnor not buf bufif0 bufif1 notif0 notif1 wire tri wand wor tri0 tri1 assign begin end else"
    " always initial forever do"
)
_DELAYED = frozenset(_DELAYED_WORDS.split())
#: Words of IEEE 1800-2017 that IEEE 1364-2005 leaves to its users, and that give SystemVerilog away.
_SYSTEM_VERILOG_WORDS = (
    "logic bit byte int shortint longint always_ff always_comb always_latch typedef enum struct union interface"
    " modport package import endpackage return break continue unique priority foreach inside"
)
#: Of a register and a clock: for each part of the register, the edge that it takes.
Edges = dict[tuple[str, str], dict[str, str]]
_SYSTEM_VERILOG = frozenset(_SYSTEM_VERILOG_WORDS.split())


def check(verilog: Verilog) -> None:
    """Raises SourceError for what Yosys cannot read at all, and notes what is left out."""
    for at in verilog.where("primitive"):
        raise verilog.refused(
            at, f"the user-defined primitive {verilog.word(at + 1)} is not supported", "write it as a module"
        )
    for at in verilog.words_like("\\$"):
        _refuse_own_cell(verilog, at)
    for name, start, end in verilog.modules():
        _note_delays(verilog, name, start, end)
        _note_lists(verilog, name, start, end)
        if verilog.where("#", start=start, end=end):
            _note_clocks(verilog, name, start, end)


def _refuse_own_cell(verilog: Verilog, at: int) -> None:
    instance = verilog.word(at + 1) == "#" or (
        verilog.word(at + 2) == "(" and verilog.tokens[at + 1].is_name()
    )
    if instance:
        raise verilog.refused(
            at, f"no module is named {verilog.word(at)}", "cells of Yosys' own library have no Verilog text"
        )


def _note_lists(verilog: Verilog, module: str, start: int, end: int) -> None:
    """Blocks that read what their list of events leaves out (IEEE 1364.1-2002, 5.1.2): a chip follows all of it."""
    nets = {
        verilog.word(first)
        for _, name, last in declared(verilog, start, end, ("input", "wire", "reg", "logic"))
        for first, _ in verilog.parts(name, last)
    }
    for at in verilog.where("always", start=start, end=end):
        if verilog.word(at + 1) != "@" or verilog.word(at + 2) != "(":
            continue
        control, last = verilog.close(at + 2), verilog.statement_end(at + 1)
        listed = {verilog.word(n) for n in range(at + 3, control)}
        if listed & {"posedge", "negedge", "*"} or verilog.word(at + 3) == "*)":
            continue
        written = {name for name, _ in assigned(verilog, control + 1, last)}
        read = (verilog.word(n) for n in range(control + 1, last))
        missing = next((name for name in read if name in nets - listed - written), "")
        if missing:
            words = f"the block reads {missing}, which its list of events leaves out; a chip follows it all the same"
            verilog.warnings.append((module, f"{verilog.tokens[at].place}: Warning: {words}: write @*"))


def _note_clocks(verilog: Verilog, module: str, start: int, end: int) -> None:
    """Nets that delays move again and again: loops with a delay in `initial`, and what follows itself after one."""
    for at in verilog.where("initial", start=start, end=end):
        last = verilog.statement_end(at + 1)
        for loop in verilog.where("forever", "repeat", "while", "for", start=at, end=last):
            body = range(loop, verilog.statement_end(loop) + 1)
            delayed = any(verilog.word(n) == "#" and _is_delay(verilog, n) for n in body)
            nets = [name for name, _ in assigned(verilog, body.start, body.stop)] if delayed else []
            if nets:
                verilog.clocks.append((module, nets[0], verilog.tokens[loop].place))
        if verilog.where("forever", start=at, end=last):
            verilog.instead(at, last + 1, "")  # which Yosys cannot read, in a module that may not be used
    for at in verilog.where("#", start=start, end=end):
        last, after = verilog.until(at, ";"), verilog.control_end(at) + 1
        if verilog.word(at - 1) in ("assign", "wire", "]"):
            net, rest = verilog.word(after), range(after + 1, last)
        elif verilog.word(at - 1) in GATES:
            opening = after if verilog.word(after) == "(" else after + 1
            net, rest = verilog.word(opening + 1), range(opening + 2, last)
        else:
            continue
        if any(verilog.word(n) == net for n in rest):
            verilog.clocks.append((module, net, verilog.tokens[at].place))


def _note_delays(verilog: Verilog, module: str, start: int, end: int) -> None:
    found = [at for at in verilog.where("#", start=start, end=end) if _is_delay(verilog, at)]
    if not found:
        return
    shown = verilog.source(found[0], verilog.control_end(found[0]) + 1).replace(" ", "")
    more = (
        f", as are {len(found) - 1} more" if len(found) > 2 else ", as is one more" if len(found) == 2 else ""
    )
    words = f"{verilog.tokens[found[0]].place}: Warning: the delay {shown} is ignored{more}"
    verilog.warnings.append((module, words))
    for at in found:
        head = at - 1
        while verilog.word(head) == "begin":
            head -= 1
        if verilog.word(head) in ("always", "forever"):
            last = verilog.statement_end(head + 1)
            nets = [verilog.word(n) for n in range(at, last) if verilog.word(n + 1) in ("=", "<=")]
            if nets:
                verilog.clocks.append((module, nets[0], verilog.tokens[head].place))


def _is_delay(verilog: Verilog, at: int) -> bool:
    before = verilog.tokens[at - 1]
    if before.is_name() and before.text not in _DELAYED:
        return False  # parameters of an instance or of a module
    return verilog.word(at + 1) == "(" or verilog.tokens[at + 1].kind in ("number", "name")


def both_edges(verilog: Verilog) -> list[tuple[str, str, str, str]]:
    """Module, register, clock and place, for each register that is to take both edges of a clock.

    Blocks that a condition may leave out are judged each by itself.
    """
    found = []
    modules = verilog.modules() if verilog.where("posedge") and verilog.where("negedge") else []
    for module, start, end in modules:
        taken: Edges = {}
        depth, at = 0, start
        while at < end:
            word = verilog.word(at)
            depth += (word == "begin") - (word == "end")
            if word == "always" and verilog.word(at + 1) == "@":
                always = depth == 0 and verilog.word(at - 1) not in (")", "else", ":")
                twice = list(_twice(verilog, at, taken if always else {}))
                found += [(module, *pair, verilog.tokens[at].place) for pair in twice]
                at = verilog.statement_end(at + 1)
            at += 1
    return found


def _twice(verilog: Verilog, at: int, taken: Edges) -> Iterator[tuple[str, str]]:
    """Registers of a block, and their clocks, of which the block takes an edge other than the one in `taken`."""
    control = verilog.control_end(at + 1)
    edges = _edges(verilog, at + 2, control)
    targets = assigned(verilog, control + 1, verilog.statement_end(at + 1)) if edges else ()
    for name, part in targets:
        for edge, clock in edges:
            before = taken.setdefault((name, clock), {})
            # A part of a register is another flip-flop than another part, and none than the whole.
            others = before.values() if not part else [before.get(part, edge), before.get("", edge)]
            if any(other != edge for other in others):
                yield name, clock
            before.setdefault(part, edge)


def assigned(verilog: Verilog, start: int, end: int) -> Iterator[tuple[str, str]]:
    """What the statements from `start` up to `end` assign: names, with the part of them that is selected."""
    head = 0
    for at in range(start, end):
        if verilog.word(at) == "for":
            head = verilog.close(at + 1)
        if verilog.word(at) not in ("=", "<=") or at < head:
            continue
        first = at - 1
        while verilog.word(first) == "]":
            first = verilog.open(first) - 1
        if verilog.word(first) == "}":
            opening = verilog.open(first)
            targets = verilog.parts(opening + 1, first)
        else:
            opening, targets = first, [(first, at)]
        before = verilog.word(opening - 1)
        chosen = before == ":" and "?" in _words_since(verilog, opening - 1)
        begins = before in ("begin", "end", "else", ";", ")", ":", "endcase")
        if opening > start and (chosen or not (begins or verilog.word(opening - 2) == "#")):
            continue  # a comparison
        for name, last in targets:
            yield verilog.word(name), verilog.source(name + 1, last)


def _words_since(verilog: Verilog, at: int) -> list[str]:
    """The words of a statement before a token."""
    first = at
    while first > 0 and verilog.word(first) not in (";", "begin", "end", ")"):
        first -= 1
    return [verilog.word(index) for index in range(first, at)]


def _edges(verilog: Verilog, start: int, end: int) -> list[tuple[str, str]]:
    """Edge and signal of each event in a list of them."""
    found = []
    at = start
    while at < end:
        if verilog.word(at) in ("posedge", "negedge"):
            last = at + 1
            while last < end and verilog.word(last) not in ("or", ","):
                last += 1
            found.append((verilog.word(at), verilog.source(at + 1, last).strip("( )")))
            at = last
        at += 1
    return found


def system_verilog(verilog: Verilog, file: str) -> tuple[str, str]:
    """The first word of a file that only SystemVerilog has, and its place; empty if there is none."""
    found = (verilog.tokens[at] for at in verilog.where(*_SYSTEM_VERILOG))
    return next(((token.text, token.place) for token in found if token.file == file), ("", ""))
