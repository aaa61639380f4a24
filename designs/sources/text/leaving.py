"""`disable` of a block around it, and `return`: what is left out is guarded, as Yosys knows neither.

Source: IEEE 1364-2005, 9.6.2 and 10.3; IEEE 1800-2017, 13.4.1. Each statement of the block is done only where
nothing has left the block. Loops then go on to their end with nothing in them, so their variable may not be read
afterwards.
"""

from __future__ import annotations

from .tokens import DECLARES, Verilog

_HEADS = ("if", "for", "while", "repeat", "foreach")


def rewrite_leaving(verilog: Verilog) -> None:
    """Raises SourceError for a `disable` of anything but a block around it."""
    for _, start, end in verilog.modules():
        left: dict[int, str] = {}
        for at in verilog.where("disable", start=start, end=end):
            if verilog.word(at + 2) == ";":
                _disable(verilog, at, start, left)
    _returns(verilog)


def _disable(verilog: Verilog, at: int, start: int, left: dict[int, str]) -> None:
    name = verilog.word(at + 1)
    block = _block_around(verilog, at, start, name)
    if block is None:
        raise verilog.refused(
            at, f"`disable {name}` leaves no block that is around it", "name the block that it is to leave"
        )
    if block not in left:
        end = verilog.nest_end(block)
        flag = left[block] = verilog.unique("left")
        verilog.after(block + 2, f"reg {flag};")
        body = _after_declarations(verilog, block + 3)
        _refuse_later_reads(verilog, block, end)
        _guard_all(verilog, body, end, flag)
        verilog.before(body, f"{flag} = 1'b0;")
    verilog.instead(at, at + 2, f"{left[block]} = 1'b1")


def _block_around(verilog: Verilog, at: int, start: int, name: str) -> int | None:
    for index in range(at, start, -1):
        if (
            verilog.word(index) == "begin"
            and verilog.word(index + 1) == ":"
            and verilog.word(index + 2) == name
        ):
            return index if verilog.nest_end(index) > at else None
    return None


def _after_declarations(verilog: Verilog, at: int) -> int:
    if verilog.word(at) == ";":
        at += 1
    while verilog.word(at) in DECLARES:
        at = verilog.until(at, ";") + 1
    return at


def _refuse_later_reads(verilog: Verilog, block: int, end: int) -> None:
    """A loop that is left early would leave its variable elsewhere than a loop that goes on."""
    variables = {verilog.word(at + 2) for at in range(block, end) if verilog.word(at) == "for"}
    module_end = verilog.until_word(end, "endmodule", "endfunction", "endtask", "always", "initial")
    for at in range(end, module_end):
        if verilog.word(at) in variables and verilog.word(at + 1) != "=":
            raise verilog.refused(
                at,
                f"{verilog.word(at)} is read after a loop that `disable` may have left",
                "keep what it was in a variable of its own",
            )
        if verilog.word(at) in variables:
            variables.discard(verilog.word(at))


def _guard_all(verilog: Verilog, at: int, end: int, flag: str, left: bool = False) -> None:
    """Guard the statements from `at` up to `end`; the first that may leave, and those before, only if `left`.

    What is always done stays so: guarded, it would look like a latch.
    """
    while at < end:
        last = _guard(verilog, at, flag, left)
        left = left or _may_leave(verilog, at, last)
        at = last + 1


def _may_leave(verilog: Verilog, at: int, last: int) -> bool:
    return any(verilog.word(index) in ("disable", "return") for index in range(at, last))


def _guard(verilog: Verilog, at: int, flag: str, left: bool) -> int:
    """Let the assignments of one statement be done only while the flag is 0; returns its last token.

    `left` says whether the flag may be 1 when the statement begins.
    """
    word = verilog.word(at)
    last = verilog.statement_end(at)
    if word == "begin":
        body = at + 3 if verilog.word(at + 1) == ":" else at + 1
        _guard_all(verilog, _after_declarations(verilog, body), last, flag, left)
    elif word in _HEADS:
        inner = verilog.close(at + 1) + 1
        around = left or (word != "if" and _may_leave(verilog, inner, last))
        done = _guard(verilog, inner, flag, around)
        if verilog.word(done + 1) == "else" and word == "if":
            _guard(verilog, done + 2, flag, left)
    elif word in ("unique", "priority", "unique0"):
        _guard(verilog, at + 1, flag, left)
    elif word in ("case", "casez", "casex"):
        _guard_cases(verilog, verilog.close(at + 1) + 1, last, flag, left)
    elif word != ";" and left:
        verilog.before(at, f"begin if (!{flag})")
        verilog.after(last, "end")
    return last


def _guard_cases(verilog: Verilog, at: int, end: int, flag: str, left: bool) -> None:
    while at < end:
        colon = verilog.until(at, ":")
        if verilog.word(at) == "default" and verilog.word(at + 1) != ":":
            colon = at
        at = _guard(verilog, colon + 1, flag, left) + 1


def _returns(verilog: Verilog) -> None:
    """A `return` at the end of a function sets its value; one before that also leaves what follows."""
    for at in verilog.where("function", "task"):
        end = verilog.until_word(at, "endfunction", "endtask")
        found = verilog.where("return", start=at, end=end)
        if found:
            _return(verilog, at, end, found)


def _return(verilog: Verilog, start: int, end: int, found: list[int]) -> None:
    header = verilog.until(start, ";")
    opening = next((at for at in range(start, header) if verilog.word(at) == "("), header)
    name = verilog.word(opening - 1)
    body = header + 1
    while verilog.word(body) in DECLARES:
        body = verilog.until(body, ";") + 1
    last = verilog.word(end - 1) == ";" and verilog.statement_end(found[0]) == end - 1
    alone = last and len(found) == 1 and _is_statement_of(verilog, body, end, found[0])
    flag = "" if alone else verilog.unique("left")
    if not alone:
        _guard_all(verilog, body, end, flag)
        verilog.before(body, f"{flag} = 1'b0;")
        verilog.after(header, f"reg {flag};")
    for at in found:
        semicolon = verilog.until(at, ";")
        value = semicolon > at + 1
        leave = f"{flag} = 1'b1;" if flag else ""
        if not leave:
            verilog.instead(at, at + 1, f"{name} =")
        elif value:
            verilog.instead(at, at + 1, f"begin {leave} {name} =")
            verilog.enclose(semicolon, "end")
        else:
            verilog.instead(at, at + 1, leave.removesuffix(";"))


def _is_statement_of(verilog: Verilog, at: int, end: int, wanted: int) -> bool:
    """Whether a statement stands in the list of statements that begins at `at`."""
    while at < wanted:
        at = verilog.statement_end(at) + 1
    return at == wanted < end
