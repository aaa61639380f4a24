"""Words of one width as vectors of 64-bit elements: LLVM keeps those in vector registers, wide integers it does not."""

from __future__ import annotations

import re
from collections.abc import Sequence

#: A comment at the head of a loop, followed by the name of its count.
LOOP = "; a loop that counts with "

_DEFINED = re.compile(r"  (%[\w.]+) = (.*)")
_NAME = re.compile(r"%[\w.]+")
_NUMBER = re.compile(r"-?\d+")


def vectors(text: str, width: int, pieces: int = 1) -> str:
    """LLVM text in which the integers of `width` bits have become vectors, each of so many pieces.

    Each piece has a multiple of 64 bits. What is done bit by bit is done piece by piece, in each block first all of
    the first pieces, so that few are alive at once; a constant that changes nothing in a piece costs nothing
    there. Anything else goes through an integer and back.
    """
    return _Rewriter(width, pieces).rewrite(text)


class _Rewriter:
    """The text is written block by block: lines of the first piece with all that is not wide, then the others."""

    def __init__(self, width: int, pieces: int) -> None:
        self.width, self.pieces = width, pieces
        self.bits = width // pieces
        self.integer = f"i{width}"
        self.vector = f"<{self.bits // 64} x i64>"
        self.whole = f"<{width // 64} x i64>"
        self.names: set[str] = set()
        self.lines: list[str] = []
        self.waiting: list[list[str]] = [[] for _ in range(pieces - 1)]
        self.table: dict[str, int] = {}  # constants, with their rows
        self.in_loop = False
        self.fresh = 0
        kind = re.escape(self.integer)
        self.wise = re.compile(rf"(and|or|xor) {kind} (\S+), (\S+)$")
        self.spread = re.compile(rf"sext i1 (\S+) to {kind}$")
        self.first = re.compile(rf"trunc {kind} (%\S+) to i1$")
        self.choice = re.compile(rf"(select i1 \S+), {kind} (\S+), {kind} (\S+)$")
        self.phi = re.compile(rf"phi {kind} (.*)$")
        self.load = re.compile(rf"load {kind}, ptr (\S+), (.*)$")
        self.store = re.compile(rf"  store {kind} (\S+), ptr (\S+), (.*)$")
        self.made = re.compile(
            rf"(?:\w+ .* to|(?:add|sub|mul|shl|lshr|ashr)(?: \w+)*|call) {kind}\b(?! .* to )"
        )
        self.any = re.compile(rf"\b{kind}\b")

    def rewrite(self, text: str) -> str:
        for line in text.split("\n"):
            self.line(line)
        # The stack is aligned to 16 bytes by custom, and what is spilled there is wider.
        body = "\n".join(self.lines).replace("i64 %n) {", "i64 %n) alignstack(64) {")
        if not self.in_loop:
            return body
        rows = ", ".join(f"{self.vector} {row}" for row in self.table) or f"{self.vector} zeroinitializer"
        kind = f"[{max(len(self.table), 1)} x {self.vector}]"
        return f"@table = private constant {kind} [{rows}], align 64\n@base = global ptr @table\n{body}"

    def line(self, line: str) -> None:
        if not self.any.search(line):
            if not line.startswith("  %"):  # the block ends or begins, or something is stored
                self.flush()
            if line.startswith(f"  {LOOP}"):
                self.begin_table(line.rsplit(" ", 1)[1])
            else:
                self.lines.append(line)
            return
        stored = self.store.match(line)
        if stored:
            for piece in range(self.pieces):
                name = self.operand(stored[1], piece)
                place = self.moved(stored[2], piece)
                self.put(piece, f"  store {self.vector} {name}, ptr {place}, {stored[3]}")
            return
        found = _DEFINED.match(line)
        if not found:
            self.lines.append(line)
            return
        name, expression = found.groups()
        if not self.piecewise(name, expression):
            self.through_integers(name, expression)

    def begin_table(self, index: str) -> None:
        """Constants are read from a table from here on.

        LLVM would load each of them before the loop and, for want of registers, lay it on the stack. So the place
        of the table seems to depend on the count: on its highest bit, which is never 1.
        """
        self.in_loop = True
        self.lines += [
            f"  %never = lshr i64 {index}, 63",
            "  %base = load ptr, ptr @base",
            "  %table = getelementptr i8, ptr %base, i64 %never",
        ]

    def put(self, piece: int, line: str) -> None:
        (self.waiting[piece - 1] if piece else self.lines).append(line)

    def flush(self) -> None:
        for lines in self.waiting:
            self.lines += lines
            lines.clear()

    def piecewise(self, name: str, expression: str) -> bool:
        """Write the same on vectors, if each bit of the result comes from the same bits of the operands."""
        if first := self.first.match(expression):
            self.lines.append(f"  {name}.e = extractelement {self.vector} {first[1]}.0, i64 0")
            self.lines.append(f"  {name} = trunc i64 {name}.e to i1")
            return True
        if spread := self.spread.match(expression):
            self.everywhere(name, spread[1])
        elif found := self.wise.match(expression):
            self.each(name, f"{found[1]} {self.vector}", found.groups()[1:])
        elif found := self.choice.match(expression):
            self.each(name, f"{found[1]}, {self.vector}", found.groups()[1:], f", {self.vector}")
        elif found := self.phi.match(expression):
            for piece in range(self.pieces):
                arms = re.sub(r"\[([^,]+),", lambda arm, at=piece: f"[{self.literal(arm[1], at)},", found[1])
                self.lines.append(f"  {name}.{piece} = phi {self.vector} {arms}")
        elif found := self.load.match(expression):
            for piece in range(self.pieces):
                place = self.moved(found[1], piece)
                self.put(piece, f"  {name}.{piece} = load {self.vector}, ptr {place}, {found[2]}")
        else:
            return False
        self.names.add(name)
        return True

    def each(self, name: str, head: str, operands: Sequence[str], between: str = ",") -> None:
        for piece in range(self.pieces):
            a, b = (self.operand(operand, piece) for operand in operands)
            self.put(piece, f"  {name}.{piece} = {head} {a}{between} {b}")

    def everywhere(self, name: str, bit: str) -> None:
        """One bit in all places, through one element: LLVM would take masks for a select between vectors."""
        kind = self.vector
        self.lines.append(f"  {name}.e = sext i1 {bit} to i64")
        self.lines.append(f"  {name}.v = insertelement {kind} poison, i64 {name}.e, i64 0")
        zeros = f"<{self.bits // 64} x i32> zeroinitializer"
        for piece in range(self.pieces):
            self.lines.append(f"  {name}.{piece} = shufflevector {kind} {name}.v, {kind} poison, {zeros}")

    def moved(self, place: str, piece: int) -> str:
        """The place of a piece of what lies at a place."""
        if not piece:
            return place
        self.fresh += 1
        self.put(piece, f"  %at{self.fresh} = getelementptr i8, ptr {place}, i64 {piece * self.bits // 8}")
        return f"%at{self.fresh}"

    def through_integers(self, name: str, expression: str) -> None:
        """Operands become integers before, the result a vector behind."""
        self.flush()
        for operand in dict.fromkeys(_NAME.findall(expression)):
            if operand in self.names:
                expression = re.sub(rf"{re.escape(operand)}(?![\w.])", self.joined(operand), expression)
        if not self.made.match(expression):
            self.lines.append(f"  {name} = {expression}")
            return
        self.names.add(name)
        self.lines.append(f"  {name}.i = {expression}")
        self.lines.append(f"  {name}.w = bitcast {self.integer} {name}.i to {self.whole}")
        count = self.bits // 64
        for piece in range(self.pieces):
            numbers = ", ".join(f"i32 {piece * count + n}" for n in range(count))
            self.lines.append(
                f"  {name}.{piece} = shufflevector {self.whole} {name}.w, {self.whole} poison, "
                f"<{count} x i32> <{numbers}>"
            )

    def joined(self, operand: str) -> str:
        """The integer of all pieces."""
        self.fresh += 1
        found = f"%join{self.fresh}"
        count = self.bits // 64
        if self.pieces == 1:
            numbers = ", ".join(f"i32 {n}" for n in range(count))
            pair = f"{self.vector} {operand}.0, {self.vector} poison"
        else:
            numbers = ", ".join(f"i32 {n}" for n in range(2 * count))
            pair = f"{self.vector} {operand}.0, {self.vector} {operand}.1"
        self.lines.append(f"  {found}.w = shufflevector {pair}, <{self.width // 64} x i32> <{numbers}>")
        self.lines.append(f"  {found} = bitcast {self.whole} {found}.w to {self.integer}")
        return found

    def operand(self, operand: str, piece: int) -> str:
        """The name of a piece; of a constant the literal, or the name of a load where there is a table."""
        literal = self.literal(operand, piece)
        if not self.in_loop or not literal.startswith("<"):
            return literal
        row = self.table.setdefault(literal, len(self.table))
        self.fresh += 1
        place, name = f"%place{self.fresh}", f"%row{self.fresh}"
        self.put(piece, f"  {place} = getelementptr i8, ptr %table, i64 {row * self.bits // 8}")
        self.put(piece, f"  {name} = load {self.vector}, ptr {place}, align {self.bits // 8}")
        return name

    def literal(self, operand: str, piece: int) -> str:
        if not _NUMBER.fullmatch(operand):
            return f"{operand}.{piece}"
        bits = int(operand) >> piece * self.bits & (1 << self.bits) - 1
        if not bits:
            return "zeroinitializer"
        parts = [bits >> low & (1 << 64) - 1 for low in range(0, self.bits, 64)]
        if len(set(parts)) == 1:
            return f"splat (i64 {parts[0]})"
        return f"<{', '.join(f'i64 {part}' for part in parts)}>"
