"""Tables that an `initial` block works out step by step, as a constant function of the same statements.

Yosys 0.70 does a loop of an `initial` block by writing it out, without working out what its variables hold: it refuses
`while`, and ends with values that are not constant or not at all. In a constant function (IEEE 1364-2005, 10.4.2) it
works everything out.
"""

from __future__ import annotations

from collections.abc import Iterator

from forelight.sim.frozen import frozen

from .tokens import DECLARES, Verilog, joined

_LOOPS = ("for", "while", "repeat")
_FUNCTIONS = {"$clog2", "$signed", "$unsigned", "$bits"}
_ASSIGNS = {
    "=",
    "<=",
    "+=",
    "-=",
    "*=",
    "/=",
    "%=",
    "&=",
    "|=",
    "^=",
    "<<=",
    ">>=",
    "<<<=",
    ">>>=",
    "++",
    "--",
}
#: What a function may not hold.
_NO_FUNCTION = {"#", "@", "@*", "wait", "disable", "fork", "forever", "->"}
_KINDS = ("reg", "integer", "logic", "int", "bit", "byte")


@frozen
class DeclaredVariable:
    """A variable of a module as it is declared: its range and the range of its words as text, where it has them."""

    name: str
    kind: str
    range: tuple[str, str] | None
    words: tuple[str, str] | None
    initial: str

    @property
    def width(self) -> str:
        return f"(({self.range[0]})-({self.range[1]})+1)" if self.range else "1"

    @property
    def low(self) -> str:
        assert self.words is not None
        one, other = self.words
        return f"((({one})<({other}))?({one}):({other}))"

    @property
    def count(self) -> str:
        assert self.words is not None
        one, other = self.words
        return f"(((({one})<({other}))?({other})-({one}):({one})-({other}))+1)"

    @property
    def size(self) -> str:
        """Bits of all its words."""
        return f"({self.width}*{self.count})" if self.words else self.width

    def declaration(self) -> str:
        if self.kind not in ("reg", "logic", "bit"):
            return f"{self.kind} {self.name};"
        bounds = f"[{self.range[0]}:{self.range[1]}] " if self.range else ""
        return f"reg {bounds}{self.name};"


def rewrite_tables(verilog: Verilog) -> None:
    """Blocks with statements that no function has are left as they are."""
    for _, start, end in verilog.modules():
        for at in verilog.where("initial", start=start, end=end):
            last = verilog.statement_end(at + 1)
            if _worked_out(verilog, at + 1, last + 1):
                _rewrite(verilog, at, last, start, end)


def _worked_out(verilog: Verilog, start: int, end: int) -> bool:
    """Whether a block has a loop whose steps depend on variables other than its own counter."""
    words = [token.text for token in verilog.tokens[start:end]]
    if not any(word in _LOOPS for word in words):
        return False
    if any(word in _NO_FUNCTION for word in words) or _nonblocking(verilog, start, end):
        return False
    if any(token.kind == "system" and token.text not in _FUNCTIONS for token in verilog.tokens[start:end]):
        return False
    counters = {verilog.word(at + 2) for at in range(start, end) if verilog.word(at) == "for"}
    targets = {at: verilog.word(at) for at in _targets(verilog, start, end)}
    others = set(targets.values()) - counters
    read = any(verilog.word(at) in others and at not in targets for at in range(start, end))
    stepped = {word for at, word in targets.items() if _target_sign(verilog, at) != "="}
    return "while" in words or "repeat" in words or read or bool(stepped - counters)


def _nonblocking(verilog: Verilog, start: int, end: int) -> bool:
    heads = {
        at
        for place in range(start, end)
        if verilog.word(place) == "for"
        for at in range(place, verilog.close(place + 1))
    }
    return any(_target_sign(verilog, at) == "<=" for at in _targets(verilog, start, end) if at not in heads)


def _target_sign(verilog: Verilog, at: int) -> str:
    after = at + 1
    while verilog.word(after) == "[":
        after = verilog.close(after) + 1
    return verilog.word(after)


def _targets(verilog: Verilog, start: int, end: int) -> Iterator[int]:
    """The names that are assigned, each at its place."""
    for at in range(start, end):
        if (
            verilog.tokens[at].is_name()
            and verilog.word(at - 1) in ("initial", "begin", "end", "endcase", "else", ";", ")", ":", "(")
            and verilog.word(at) not in DECLARES
            and _target_sign(verilog, at) in _ASSIGNS
        ):
            yield at
        elif (
            verilog.tokens[at].is_name()
            and verilog.word(at - 2) == ":"
            and _target_sign(verilog, at) in _ASSIGNS
        ):
            yield at  # the first statement of a named block


def _rewrite(verilog: Verilog, at: int, last: int, start: int, end: int) -> None:
    names = dict.fromkeys(verilog.word(place) for place in _targets(verilog, at + 1, last + 1))
    inside = {
        verilog.word(first)
        for place in range(at, last)
        if verilog.word(place) in _KINDS
        for first, _ in verilog.parts(place + 1, verilog.until(place, ";"))
    }
    variables = {
        name: _variable(verilog, name, start, end, (at, last)) for name in names if name not in inside
    }
    found = {name: variable for name, variable in variables.items() if variable is not None}
    if len(found) < len(variables):
        return
    body = _flattened(verilog, at + 1, last + 1, found)
    shown = [v for v in found.values() if v.words or v.kind not in ("integer", "int")]
    if body is None or not any(v.words for v in shown):
        return
    local = " ".join(
        f"reg [{v.size}-1:0] {_flat(v)};" if v.words else v.declaration() for v in found.values()
    )
    first = " ".join(
        f"{_flat(v)} = {{{v.size}{{1'bx}}}};" if v.words else f"{v.name} = {v.initial};"
        for v in found.values()
        if v.words or v.initial
    )
    made = [_made(verilog, variable, local, first, body) for variable in shown]
    verilog.instead(at, last + 1, " ".join(made))


def _made(verilog: Verilog, variable: DeclaredVariable, local: str, first: str, body: str) -> str:
    """A function that works out one variable, and the statement that gives the variable its value."""
    function, table, count = (verilog.unique(stem) for stem in ("work_out", "table", "count"))
    bounds = f"[{variable.size}-1:0]"
    result = _flat(variable) if variable.words else variable.name
    text = (
        f"function {bounds} {function}(input unused); {local} begin {first} {body} {function} = {result}; end"
        f" endfunction localparam {bounds} {table} = {function}(1'b0);"
    )
    if not variable.words:
        return f"{text} initial {variable.name} = {table};"
    part = f"{table}[{count}*{variable.width} +: {variable.width}]"
    loop = f"for ({count} = 0; {count} < {variable.count}; {count} = {count} + 1)"
    return f"{text} integer {count}; initial {loop} {variable.name}[{variable.low} + {count}] = {part};"


def _flat(variable: DeclaredVariable) -> str:
    return f"{variable.name}$words"


def _flattened(verilog: Verilog, start: int, end: int, found: dict[str, DeclaredVariable]) -> str | None:
    """The statements with each word of a memory as a part of one long word; None where that cannot be said."""
    text: list[str] = []
    at = start
    while at < end:
        variable = found.get(verilog.word(at))
        if variable is None or not variable.words:
            bare = verilog.word(at) == "default" and verilog.word(at + 1) != ":"
            text.append("default :" if bare else verilog.word(at))
            at += 1
            continue
        if verilog.word(at + 1) != "[":
            return None
        closing = verilog.close(at + 1)
        index = _flattened(verilog, at + 2, closing, found)
        if index is None or verilog.word(closing + 1) == "[":
            return None
        text.append(f"{_flat(variable)}[(({index})-{variable.low})*{variable.width} +: {variable.width}]")
        at = closing + 1
    return joined(text)


def _variable(
    verilog: Verilog, name: str, start: int, end: int, without: tuple[int, int]
) -> DeclaredVariable | None:
    """How a module declares a variable; None where it is not found or has an unusual form."""
    for at in range(start, end):
        if verilog.word(at) not in _KINDS or without[0] <= at <= without[1]:
            continue
        first = at + 1
        bounds = None
        if verilog.word(first) == "signed":
            return None
        if verilog.word(first) == "[":
            closing = verilog.close(first)
            bounds = _bounds(verilog, first + 1, closing)
            first = closing + 1
        for begin, stop in verilog.parts(first, verilog.until(first, ";")):
            if verilog.word(begin) != name:
                continue
            words, after = None, begin + 1
            if verilog.word(after) == "[":
                closing = verilog.close(after)
                words = _bounds(verilog, after + 1, closing)
                after = closing + 1
                if words is None or verilog.word(after) == "[":
                    return None
            initial = verilog.source(after + 1, stop) if verilog.word(after) == "=" else ""
            return DeclaredVariable(name, verilog.word(at), bounds, words, initial)
    return None


def _bounds(verilog: Verilog, start: int, end: int) -> tuple[str, str] | None:
    parts = verilog.parts(start, end, ":")
    if len(parts) != 2:
        return None
    return verilog.source(*parts[0]), verilog.source(*parts[1])
