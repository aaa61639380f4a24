"""Words of one width as vectors of 64-bit elements: LLVM keeps those in vector registers, wide integers it does not."""

from __future__ import annotations

import re

_DEFINED = re.compile(r"  (%[\w.]+) = (.*)")
_NAME = re.compile(r"%[\w.]+")
_NUMBER = re.compile(r"-?\d+")


#: A comment at the head of a loop, followed by the name of its count.
LOOP = "; a loop that counts with "


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
        self.table: dict[str, int] = {}  # constants, with their rows; used where the text has a place for it
        self.in_loop = False
        self.loads: list[str] = []  # what must be loaded for the line that is being written
        self.wise = re.compile(rf"(and|or|xor) {kind} (\S+), (\S+)$")
        self.spread = re.compile(rf"sext i1 (\S+) to {kind}$")
        self.first = re.compile(rf"trunc {kind} (%\S+) to i1$")
        self.choice = re.compile(rf"select i1 (\S+), {kind} (\S+), {kind} (\S+)$")
        self.phi = re.compile(rf"phi {kind} (.*)$")
        self.load = re.compile(rf"load {kind}, (.*)$")
        self.store = re.compile(rf"  store {kind} (\S+), (.*)$")
        self.made = re.compile(
            rf"(?:\w+ .* to|(?:add|sub|mul|shl|lshr|ashr)(?: \w+)*|call) {kind}\b(?! .* to )"
        )
        self.any = re.compile(rf"\b{kind}\b")

    def rewrite(self, text: str) -> str:
        before, mark, after = text.partition(f"  {LOOP}")
        lines = [self.line(line) for line in before.split("\n")]
        if not mark:
            return "\n".join(lines)
        index, *rest = after.split("\n")
        self.in_loop = True
        # LLVM would load each constant before the loop and, for want of registers, lay it on the stack. So they are
        # read from a table whose place seems to depend on the count: on its highest bit, which is never 1.
        lines[-1] = (
            f"  %never = lshr i64 {index}, 63\n"
            "  %base = load ptr, ptr @base\n"
            "  %table = getelementptr i8, ptr %base, i64 %never"
        )
        lines += [self.line(line) for line in rest]
        rows = ", ".join(f"{self.vector} {row}" for row in self.table) or f"{self.vector} zeroinitializer"
        kind = f"[{max(len(self.table), 1)} x {self.vector}]"
        # The stack is aligned to 16 bytes by custom, and what is spilled there is wider.
        aligned = "\n".join(lines).replace("i64 %n) {", "i64 %n) alignstack(64) {")
        return f"@table = private constant {kind} [{rows}], align 64\n@base = global ptr @table\n{aligned}"

    def line(self, line: str) -> str:
        """The line on vectors, with the constants that it reads loaded before it."""
        found = self.rewritten(line) if self.any.search(line) else line
        lines = [*self.loads, found]
        self.loads.clear()
        return "\n".join(lines)

    def rewritten(self, line: str) -> str:
        stored = self.store.match(line)
        if stored:
            return f"  store {self.vector} {self.operand(stored[1])}, {stored[2]}"
        found = _DEFINED.match(line)
        if not found:
            return line
        name, expression = found.groups()
        if spread := self.spread.match(expression):
            return self.everywhere(name, spread[1])
        if first := self.first.match(expression):
            return self.lowest(name, first[1])
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
        if found := self.choice.match(expression):
            return (
                f"select i1 {found[1]}, {vector} {self.operand(found[2])}, {vector} {self.operand(found[3])}"
            )
        if found := self.phi.match(expression):
            arms = re.sub(r"\[([^,]+),", lambda arm: f"[{self.literal(arm[1])},", found[1])
            return f"phi {vector} {arms}"
        if found := self.load.match(expression):
            return f"load {vector}, {found[1]}"
        return None

    def everywhere(self, name: str, bit: str) -> str:
        """One bit in all places, through one element: LLVM would take masks for a select between vectors."""
        self.names.add(name)
        return (
            f"  {name}.e = sext i1 {bit} to i64\n"
            f"  {name}.v = insertelement {self.vector} poison, i64 {name}.e, i64 0\n"
            f"  {name} = shufflevector {self.vector} {name}.v, {self.vector} poison, "
            f"<{self.width // 64} x i32> zeroinitializer"
        )

    def lowest(self, name: str, word: str) -> str:
        """Bit 0 of a word, through its first element."""
        return f"  {name}.e = extractelement {self.vector} {word}, i64 0\n  {name} = trunc i64 {name}.e to i1"

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
        """A name as it is; a constant as a literal, or as the name of a load where there is a table."""
        literal = self.literal(operand)
        if not self.in_loop or not literal.startswith("<"):
            return literal
        row = self.table.setdefault(literal, len(self.table))
        self.casts += 1
        place, name = f"%place{self.casts}", f"%row{self.casts}"
        self.loads.append(f"  {place} = getelementptr i8, ptr %table, i64 {row * self.width // 8}")
        self.loads.append(f"  {name} = load {self.vector}, ptr {place}, align 64")
        return name

    def literal(self, operand: str) -> str:
        if not _NUMBER.fullmatch(operand):
            return operand
        bits = int(operand) & (1 << self.width) - 1
        if not bits:
            return "zeroinitializer"
        parts = [bits >> low & (1 << 64) - 1 for low in range(0, self.width, 64)]
        if len(set(parts)) == 1:
            return f"splat (i64 {parts[0]})"
        return f"<{', '.join(f'i64 {part}' for part in parts)}>"
