"""Words of one width as vectors of 64-bit elements: LLVM keeps those in vector registers, wide integers it does not."""

from __future__ import annotations

import re

_DEFINED = re.compile(r"  (%[\w.]+) = (.*)")
_NAME = re.compile(r"%[\w.]+")
_NUMBER = re.compile(r"-?\d+")


def vectors(text: str, width: int) -> str:
    """LLVM text in which the integers of `width` bits, a multiple of 64, have become vectors.

    What is done bit by bit is done on vectors; anything else goes through an integer and back.
    """
    return _Rewriter(width).rewrite(text)


class _Rewriter:
    def __init__(self, width: int) -> None:
        self.width = width
        self.integer = f"i{width}"
        self.vector = f"<{width // 64} x i64>"
        kind = re.escape(self.integer)
        self.names: set[str] = set()
        self.casts = 0
        self.wise = re.compile(rf"(and|or|xor) {kind} (\S+), (\S+)$")
        self.spread = re.compile(rf"sext i1 (\S+) to {kind}$")
        self.choice = re.compile(rf"select i1 (\S+), {kind} (\S+), {kind} (\S+)$")
        self.phi = re.compile(rf"phi {kind} (.*)$")
        self.load = re.compile(rf"load {kind}, (.*)$")
        self.store = re.compile(rf"  store {kind} (\S+), (.*)$")
        self.made = re.compile(
            rf"(?:\w+ .* to|(?:add|sub|mul|shl|lshr|ashr)(?: \w+)*|call) {kind}\b(?! .* to )"
        )
        self.any = re.compile(rf"\b{kind}\b")

    def rewrite(self, text: str) -> str:
        return "\n".join(self.line(line) for line in text.split("\n"))

    def line(self, line: str) -> str:
        if not self.any.search(line):
            return line
        stored = self.store.match(line)
        if stored:
            return f"  store {self.vector} {self.operand(stored[1])}, {stored[2]}"
        found = _DEFINED.match(line)
        if not found:
            return line
        name, expression = found.groups()
        simple = self.simple(expression)
        if simple is not None:
            self.names.add(name)
            return f"  {name} = {simple}"
        return self.through_integers(name, expression)

    def simple(self, expression: str) -> str | None:
        """The same on vectors, if each bit of the result comes from the same bits of the operands."""
        vector = self.vector
        if found := self.wise.match(expression):
            return f"{found[1]} {vector} {self.operand(found[2])}, {self.operand(found[3])}"
        if found := self.spread.match(expression):
            return f"select i1 {found[1]}, {vector} splat (i64 -1), {vector} zeroinitializer"
        if found := self.choice.match(expression):
            return (
                f"select i1 {found[1]}, {vector} {self.operand(found[2])}, {vector} {self.operand(found[3])}"
            )
        if found := self.phi.match(expression):
            arms = re.sub(r"\[([^,]+),", lambda arm: f"[{self.operand(arm[1])},", found[1])
            return f"phi {vector} {arms}"
        if found := self.load.match(expression):
            return f"load {vector}, {found[1]}"
        return None

    def through_integers(self, name: str, expression: str) -> str:
        """Operands become integers before, the result a vector behind."""
        lines = []
        for operand in dict.fromkeys(_NAME.findall(expression)):
            if operand in self.names:
                self.casts += 1
                cast = f"%cast{self.casts}"
                lines.append(f"  {cast} = bitcast {self.vector} {operand} to {self.integer}")
                expression = re.sub(rf"{re.escape(operand)}(?![\w.])", cast, expression)
        if self.made.match(expression):
            self.names.add(name)
            lines += [
                f"  {name}.w = {expression}",
                f"  {name} = bitcast {self.integer} {name}.w to {self.vector}",
            ]
        else:
            lines.append(f"  {name} = {expression}")
        return "\n".join(lines)

    def operand(self, operand: str) -> str:
        if not _NUMBER.fullmatch(operand):
            return operand
        bits = int(operand) & (1 << self.width) - 1
        if not bits:
            return "zeroinitializer"
        parts = [bits >> low & (1 << 64) - 1 for low in range(0, self.width, 64)]
        if len(set(parts)) == 1:
            return f"splat (i64 {parts[0]})"
        return f"<{', '.join(f'i64 {part}' for part in parts)}>"
