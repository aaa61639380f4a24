"""Random small Verilog sources over what readers get wrong: an item of the language for each output.

Left out is what Icarus Verilog 12, the judge, takes otherwise than IEEE 1364-2005: a `case` with labels of both kinds
of sign (9.5: then all is unsigned), places that wrap around below 0, and registers on falling edges, of which it sees
one at the start; and what an undefined value decides (an `if` takes its other way, 9.4).
"""

from __future__ import annotations

import random
from dataclasses import dataclass

#: Nets with ranges of all kinds.
NETS = {"v": "[7:0]", "w": "[0:7]", "p": "[11:4]", "q": "[-1:-8]", "r": "[3:-4]", "m": "[-8:-1]"}
PORTS = "input c, input [7:0] a, b, input signed [7:0] s, u, input [2:0] k, input signed [2:0] t"
BINARY = [
    "+",
    "-",
    "*",
    "&",
    "|",
    "^",
    "<<",
    ">>",
    ">>>",
    "<",
    "<=",
    "==",
    "!=",
    "&&",
    "||",
    "~^",
    "/",
    "%",
    "**",
]
#: Operators whose result depends on the width that they are worked out in, and is always defined.
WIDTH_COUNTS = ["+", "-", "*", "&", "|", "^", "<<", ">>", ">>>", "~^"]
UNARY = ["-", "~", "!", "&", "|", "^", "~&", "~|", "~^", "+"]
_LEAVES = (
    "a b s u k t 'h3 a[3:0] $signed(a[3:0]) $unsigned(s) {s} s[7:0] 1'sb1 -4 7 -1 4'd9 3'sd2 -4'sd5 8'hc3"
)
LEAVES = _LEAVES.split()
SIZED = ["a", "s", "k", "t", "a[5:2]", "4'd9", "3'sd2", "s[6:1]", "(a + s)", "(s < u)"]
INDICES = [
    "k",
    "k",
    "s[2:0]",
    "t",
    "k + 1",
    "t - 1",
    "{1'b0, k}",
    "$signed(k)",
    "k * 2",
    "-3",
    "0",
    "5",
    "7",
    "12",
]
#: Port and text of an item; `{y}` is its output, other names in braces are new ones.
Item = tuple[str, str]


@dataclass
class SourceWriter:
    """Writes items by chance; SystemVerilog where `modern`."""

    rng: random.Random
    modern: bool
    made: int = 0
    beyond: bool = False  # whether what is read may lie out of range

    def pick(self, *choices: str) -> str:
        return self.rng.choice(choices)

    def new(self) -> str:
        self.made += 1
        return f"n{self.made}"

    def part(self, name: str, bounds: str, steps: int = 5) -> str:
        """A bit or a part of a net, within its range or beyond."""
        first, last = map(int, bounds[1:-1].split(":"))
        down = 1 if first > last else -1
        match self.rng.randrange(3):
            case 0:
                return f"{name}[{self.pick(*INDICES)}]"
            case 1:
                return f"{name}[{self.pick(*INDICES)} {self.pick('+:', '-:')} {self.rng.randint(1, steps)}]"
        high = self.rng.randint(min(first, last), max(first, last))
        return f"{name}[{high}:{high - down * self.rng.randint(0, 3)}]"

    def leaf(self) -> str:
        if self.rng.randrange(4) == 0:
            name = self.pick(*NETS)
            return self.part(name, NETS[name]) if self.beyond else name
        return self.pick(*LEAVES)

    def expression(self, depth: int) -> str:
        if depth == 0:
            return self.leaf()
        one, other = self.expression(depth - 1), self.expression(depth - 1)
        sign = self.pick(*BINARY)
        if sign == "**":
            other = "2"
        elif sign in ("<<", ">>", ">>>"):
            other = self.pick("k", "2", "3'd5", "$unsigned(t)")
        two = f"({one} {sign} {other})"
        return self.pick(
            two,
            two,
            two,
            f"({self.pick(*UNARY)}({one}))",
            f"(({one}) ? {other} : {self.leaf()})",
            f"{{{self.pick(*SIZED)}, {self.pick(*SIZED)}}}",
            f"{{{self.rng.randint(1, 3)}{{{self.pick(*SIZED)}}}}}",
            f"{self.pick('$signed', '$unsigned')}({one})",
        )

    def item(self, y: str) -> Item:
        makers = [
            self.plain, self.plain, self.written, self.chosen, self.function, self.generated, self.left,
            self.shared, self.clocked, self.table, self.loop,
            *([self.typed, self.typed, self.wildcard] if self.modern else []),
        ]  # fmt: skip
        return self.rng.choice(makers)(y, self.pick("1", "3", "4", "8", "12"), self.pick("", "signed "))

    def plain(self, y: str, width: str, sign: str) -> Item:
        self.beyond = True
        text = f"assign {y} = {self.expression(2)};"
        self.beyond = False
        return f"output {sign}[{width}-1:0] {y}", text

    def written(self, y: str, width: str, sign: str) -> Item:
        """Parts of a variable that are written, some beyond its range."""
        bounds, x = self.pick("[7:0]", "[0:7]", "[9:2]", "[-1:-8]", "[4:-3]", "[-2:5]"), self.new()
        writes = (
            f"{self.pick('', 'if (k > 3) ', 'if (t) ')}{self.part(x, bounds)} = {self.expression(1)};"
            for _ in range(self.rng.randint(1, 3))
        )
        body = f"always @* begin {x} = {self.expression(1)}; {' '.join(writes)} end"
        return f"output [7:0] {y}", f"reg {sign}{bounds} {x}; {body} assign {y} = {x};"

    def chosen(self, y: str, width: str, sign: str) -> Item:
        """`case`, `casez` and `casex`, all of it signed or all unsigned; some labels are to be worked out."""
        kind = self.pick("case", "casez", "casex")
        digits = {"case": "01", "casez": "01?z", "casex": "01x?z"}[kind]
        selector, bits, signed = self.rng.choice(
            [("a[3:0]", 4, False), ("k", 3, False), ("{k, a[0]}", 4, False), ("t", 3, True), ("s", 8, True)]
        )

        def constant() -> str:
            size = self.rng.randint(1, bits + 1)
            return f"{size}'{'s' * signed}d{self.rng.randrange(1 << size)}"

        def label() -> str:
            if self.rng.randrange(4) == 0:
                worked_out = f"{constant()} {self.pick(*WIDTH_COUNTS)} {constant()}"
                more = f"({worked_out}) {self.pick(*WIDTH_COUNTS)} {constant()}"
                return self.pick(worked_out, more, f"-{constant()}", f"~({worked_out})")
            if self.rng.randrange(3) == 0:
                return str(self.rng.randint(-4, 9)) if signed else f"{bits}'d{self.rng.randrange(1 << bits)}"
            size = bits + self.rng.choice([0, 0, 0, 1, -1])
            return f"{size}'{'s' * signed}b" + "".join(self.pick(*digits) for _ in range(size))

        rows = (
            f"{label()}{self.pick('', ', ' + label())}: {y} = {self.expression(1)};"
            for _ in range(self.rng.randint(2, 5))
        )
        last = f"default{self.pick('', ':')} {y} = {self.leaf()};"
        return (
            f"output reg {sign}[{width}-1:0] {y}",
            f"always @* {kind} ({selector}) {' '.join(rows)} {last} endcase",
        )

    def function(self, y: str, width: str, sign: str) -> Item:
        f, one, other = self.new(), self.pick("signed ", ""), self.pick("signed ", "")
        body = self.pick(
            f"{f} = x; for (n = 0; n < 4; n = n + 1) {f} = {f} {self.pick('+', '-', '^')} (z >> n);",
            f"if (x > z) {f} = x - z; else {f} = z {self.pick('>>>', '>>')} 1;",
            f"{f} = 0; for (n = 3; n >= 0; n = n - 1) begin {f}[n] = x[n] {self.pick('&', '|', '^')} z[3 - n]; end",
            f"case (x[1:0]) 1: {f} = z; 0: {f} = -z; default {f} = x {self.pick('+', '*', '-')} z; endcase",
        )
        head = f"function {self.pick('', 'automatic ')}{sign}[{width}-1:0] {f}"
        text = f"{head}(input {one}[3:0] x, input {other}[4:0] z); integer n; begin {body} end endfunction"
        use = f"{f}({self.expression(1)}, {self.leaf()}){self.pick('', ' >>> 1', ' + s', ' < 0')}"
        return f"output {self.pick('signed ', '')}[{width}-1:0] {y}", f"{text} assign {y} = {use};"

    def generated(self, y: str, width: str, sign: str) -> Item:
        g, low, count = self.new(), self.rng.choice([0, 1, -2]), self.rng.randint(2, 4)
        bit = f"{y}[{g} - ({low})]"
        body = self.pick(
            f"wire {sign}[3:0] h = a + {g}; assign {bit} = ^h;",
            f"localparam L = {g} * 3; assign {bit} = a[(L + 8) % 8] ^ s[{count} - 1];",
            f"if ({g} % 2) assign {bit} = ~k[0]; else assign {bit} = b[{g} - ({low})];",
            f"case ({g}) {low}: assign {bit} = &a; default: assign {bit} = s < {g}; endcase",
        )
        loop = f"for ({g} = {low}; {g} < {low + count}; {g} = {g} + 1) begin : {self.new()} {body} end"
        return f"output [{count}-1:0] {y}", f"genvar {g}; generate {loop} endgenerate"

    def left(self, y: str, width: str, sign: str) -> Item:
        """Loops, or rounds of loops, that `disable` leaves."""
        i, block = self.new(), self.new()
        body = self.pick(
            f"if (a[{i}]) disable {block}; {y} = {y} + 1;",
            f"{y} = {y} + {i}; if ({y} > 9) disable {block};",
            f"if (a[{i}] ^ b[{i}]) begin {y} = {y} ^ {i}; disable {block}; end else {y} = {y} + 1;",
            f"case (a[1:0] ^ {i}) 0: disable {block}; 1: {y} = {y} + s; default ; endcase",
        )
        head = f"for ({i} = 0; {i} < 4; {i} = {i} + 1)"
        loop = self.pick(f"{head} begin : {block} {body} end", f"begin : {block} {head} begin {body} end end")
        return (
            f"output reg {sign}[{width}-1:0] {y}",
            f"integer {i}; always @* begin {y} = {self.leaf()}; {loop} end",
        )

    def shared(self, y: str, width: str, sign: str) -> Item:
        """Nets with drivers that are off at times, or with several."""
        n, kind = self.new(), self.pick("tri", "wire", "tri0", "tri1", "wand", "wor", "supply1")
        z = self.pick("4'bz", "4'hz", "4'bzzzz", "'bz", "{4{1'bz}}", "(4'bz)")
        drivers = self.pick(
            f"assign {n} = k[0] ? a[3:0] : {z}; assign {n} = k[0] ? {z} : b[3:0];",
            f"assign {n} = k == 1 ? a[3:0] : k == 2 ? s[3:0] : {z};",
            f"assign {n} = k[1] ? (k[0] ? a[3:0] : {z}) : b[3:0];",
            f"assign {n} = !k[2] ? {z} : a[7:4];",
        )
        if kind in ("wand", "wor"):
            drivers = f"assign {n} = a[3:0]; assign {n} = b[3:0];"
        if kind == "supply1":
            drivers = ""
        return f"output [3:0] {y}", f"{kind} [3:0] {n}; {drivers} assign {y} = {n} ^ {{4{{t[0]}}}};"

    def clocked(self, y: str, width: str, sign: str) -> Item:
        body = self.pick(
            f"{y} <= {y} + {self.expression(1)};",
            f"begin {y} <= {self.expression(1)}; if (k[0]) {y}[0] <= a[0]; end",
            f"if (k == 0) {y} <= 0; else {y} <= {{{y}, a[0]}};",
            f"{y}[{self.pick(*INDICES)} {self.pick('+:', '-:')} 2] <= b;",
            f"{y}[{self.pick(*INDICES)}] <= s[0];",
        )
        return f"output reg {sign}[7:0] {y}", f"initial {y} = 0; always @(posedge c) {body}"

    def table(self, y: str, width: str, sign: str) -> Item:
        m, i, low, count = self.new(), self.new(), self.rng.choice([0, 0, 3, 2]), self.rng.choice([4, 5, 8])
        bounds = self.pick(f"[{low}:{low + count - 1}]", f"[{low + count - 1}:{low}]")
        fill = self.pick(
            f"{m}[{i}] = {i} * 5;",
            f"if ({i} % 2) {m}[{i}] = {i}; else {m}[{i}] = ~{i};",
            f"case ({i}) {low}: {m}[{i}] = 1; {low + 1}: {m}[{i}] = 77; default {m}[{i}] = {i} - 9; endcase",
        )
        place = self.pick("k", "t", f"k + {low}", f"{low} + 1", "t + 2", "k[1:0]")
        write = f"always @(posedge c) if (a[0]) {m}[{self.pick('k', 't', 't - 1', 'k % 4')}] <= b;"
        loop = f"initial for ({i} = {low}; {i} < {low + count}; {i} = {i} + 1) {fill}"
        text = f"reg {sign}[7:0] {m} {bounds}; integer {i}; {loop} {self.pick('', write)} assign {y} = {m}[{place}];"
        return f"output {sign}[{width}-1:0] {y}", text

    def loop(self, y: str, width: str, sign: str) -> Item:
        i = self.new()
        body = self.pick(
            f"{y} = {y} + a[{i}];",
            f"{y}[{i} % {width}] = a[{i} % 8] ^ s[{i} % 8];",
            f"if (a[{i}]) {y} = {i};",
            f"{y} = ({y} << 1) ^ (b >> {i});",
            f"{y} = {y} - ($signed({{1'b0, k}}) - {i});",
        )
        head = self.pick(
            f"for ({i} = 0; {i} < 5; {i} = {i} + 1)",
            f"for ({i} = 4; {i} >= 0; {i} = {i} - 1)",
            f"for ({i} = 1; {i} < 8; {i} = {i} * 2)",
        )
        text = f"integer {i}; always @* begin {y} = 0; {head} begin {body} end end"
        return f"output reg {sign}[{width}-1:0] {y}", text

    def typed(self, y: str, width: str, sign: str) -> Item:
        """Types of the user's own: structures, enumerations, names for vectors."""
        kind, x, value = self.new(), self.new(), self.expression(1)
        pair = f"typedef struct packed {{ logic [2:0] h; logic [4:0] l; }} {kind}; {kind} {x};"
        states = (
            f"typedef enum logic [1:0] {{ A{x}, B{x}, C{x} = 3 }} {kind}; {kind} {x}; initial {x} = A{x};"
        )
        moves = f"A{x}: {x} <= a[0] ? B{x} : C{x}; B{x}: {x} <= C{x}; default: {x} <= A{x};"
        text = self.pick(
            f"{pair} assign {x} = {value}; assign {y} = {{{x}.l, {x}.h}} + {x}.h;",
            f"{pair} always_comb begin {x} = b; {x}.l = {value}; if (k[0]) {x}.h[2:1] = a[1:0]; end assign {y} = {x};",
            f"{states} always_ff @(posedge c) case ({x}) {moves} endcase assign {y} = {x};",
            f"typedef logic signed [3:0] {kind}; {kind} {x}; assign {x} = {value}; "
            f"assign {y} = {x} {self.pick('>>>', '+', '*', '<')} {self.pick('1', '2', 's', 't')};",
        )
        return f"output [7:0] {y}", text

    def wildcard(self, y: str, width: str, sign: str) -> Item:
        """Comparisons in which some bits of the right side match any."""
        p, size, equal = self.new(), self.rng.randint(1, 9), self.pick("==?", "!=?")
        digits = "".join(self.pick(*"01x?z") for _ in range(size))
        sign, mark = self.rng.choice([("", ""), ("signed ", "s")])
        number = f"{size}'{mark}b{digits}"
        right = self.pick(p, f"({p})", f"{{{p}, 2'b1?}}", number, "k", "t", "{k, a[0]}")
        text = f"localparam {sign}[{size}-1:0] {p} = {number}; assign {y} = {self.expression(1)} {equal} {right};"
        return f"output {y}", text


def random_source(rng: random.Random, items: int, modern: bool) -> tuple[str, dict[str, str]]:
    """The text of a module `t`, and the item behind each output."""
    writer = SourceWriter(rng, modern)
    found = {f"y{number}": writer.item(f"y{number}") for number in range(items)}
    nets = " ".join(f"wire {bounds} {name} = a ^ {37 * n};" for n, (name, bounds) in enumerate(NETS.items()))
    ports = ", ".join([PORTS, *(port for port, _ in found.values())])
    body = "\n".join(text for _, text in found.values())
    return f"module t({ports});\n{nets}\n{body}\nendmodule\n", {y: text for y, (_, text) in found.items()}
