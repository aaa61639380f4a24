"""What a text holds that no chip has, or that is refused: delays, both edges of a clock, user-defined primitives."""

from __future__ import annotations

from collections.abc import Iterator

from .tokens import Verilog

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


def _refuse_own_cell(verilog: Verilog, at: int) -> None:
    instance = verilog.word(at + 1) == "#" or (
        verilog.word(at + 2) == "(" and verilog.tokens[at + 1].is_name()
    )
    if instance:
        raise verilog.refused(
            at, f"no module is named {verilog.word(at)}", "cells of Yosys' own library have no Verilog text"
        )


def _note_delays(verilog: Verilog, module: str, start: int, end: int) -> None:
    found = [at for at in verilog.where("#", start=start, end=end) if _is_delay(verilog, at)]
    if not found:
        return
    shown = verilog.source(found[0], verilog.control_end(found[0]) + 1).replace(" ", "")
    more = (
        f", as are {len(found) - 1} more" if len(found) > 2 else ", as is one more" if len(found) == 2 else ""
    )
    words = f"{verilog.tokens[found[0]].place}: Warning: the delay {shown} is ignored{more}."
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
        taken: dict[tuple[str, str], str] = {}  # register and clock: the edge
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


def _twice(verilog: Verilog, at: int, taken: dict[tuple[str, str], str]) -> Iterator[tuple[str, str]]:
    """Registers of a block, and their clocks, of which the block takes an edge other than the one in `taken`."""
    control = verilog.control_end(at + 1)
    edges = _edges(verilog, at + 2, control)
    for index in range(control, verilog.statement_end(at + 1) if edges else control):
        if verilog.word(index + 1) == "<=" and verilog.tokens[index].is_name():
            for edge, clock in edges:
                if taken.setdefault((verilog.word(index), clock), edge) != edge:
                    yield verilog.word(index), clock


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
