"""Random circuits of Yosys' fine-grained cells, each written twice: as RTLIL, and as Verilog primitives."""

from __future__ import annotations

import random
import re
from dataclasses import dataclass, field

from .bench import Drive

#: Gates as primitives: `n` is the output, `t` and `u` are nets of its own, capital letters are pins.
_PRIMITIVES = {
    "$_BUF_": "buf (n, A);",
    "$_NOT_": "not (n, A);",
    "$_AND_": "and (n, A, B);",
    "$_NAND_": "nand (n, A, B);",
    "$_OR_": "or (n, A, B);",
    "$_NOR_": "nor (n, A, B);",
    "$_XOR_": "xor (n, A, B);",
    "$_XNOR_": "xnor (n, A, B);",
    "$_ANDNOT_": "not (t, B); and (n, A, t);",
    "$_ORNOT_": "not (t, B); or (n, A, t);",
    "$_AOI3_": "and (t, A, B); nor (n, t, C);",
    "$_OAI3_": "or (t, A, B); nand (n, t, C);",
    "$_AOI4_": "and (t, A, B); and (u, C, D); nor (n, t, u);",
    "$_OAI4_": "or (t, A, B); or (u, C, D); nand (n, t, u);",
}
#: Choices, as the conditional operator (IEEE 1364-2005, 5.1.13) and as primitives.
_CHOICES = {
    "$_MUX_": ("assign n = S ? B : A;", "not (t, S); and (u, S, B); and (v, t, A); or (n, u, v);"),
    "$_NMUX_": ("assign n = ~(S ? B : A);", "not (t, S); and (u, S, B); and (v, t, A); nor (n, u, v);"),
}


@dataclass
class Circuit:
    """One circuit: its inputs are single lines, and every gate and flip-flop drives one net, `n0` and so on."""

    rng: random.Random
    clocks: list[str]
    resets: dict[str, int]
    data: list[str]
    nets: list[str] = field(default_factory=list)
    rtlil: list[str] = field(default_factory=list)
    verilog: list[str] = field(default_factory=list)
    primitive: list[str] = field(default_factory=list)
    declared: list[str] = field(default_factory=list)

    @property
    def inputs(self) -> list[str]:
        return [*self.clocks, *self.resets, *self.data]

    @property
    def drive(self) -> Drive:
        resets = {(reset, 0): level for reset, level in self.resets.items()}
        return Drive([(clock, 0) for clock in self.clocks], resets)

    def source(self) -> str:
        """The whole as RTLIL."""
        wires = [f"wire input {number} \\{name}" for number, name in enumerate(self.inputs, 1)]
        wires += [f"wire \\{net}" for net in self.nets]
        return "\n".join(["module \\fine", *wires, *self.rtlil, "end", ""])

    def body(self, *, choices: bool) -> str:
        """The whole as Verilog, with choices as the conditional operator or as primitives."""
        return "\n".join([*self.declared, *(self.verilog if choices else self.primitive)])

    def net(self) -> str:
        """A net that is there: a line of data, a late net, so that circuits are deep, or any."""
        among = self.rng.choice((self.data, self.nets[-12:], self.nets[-12:], self.nets))
        return self.rng.choice(among)

    def add(self, kind: str, pins: dict[str, str], verilog: str, primitive: str) -> None:
        """A cell in all its forms; letters of its pins in the Verilog stand for the nets on them."""
        connects = [f"connect \\{pin} \\{net}" for pin, net in pins.items()]
        self.rtlil += [f"cell {kind} $c{len(self.rtlil)}", *connects, "end"]
        output = pins.get("Y") or pins["Q"]
        names = pins | {"n": output, **{letter: f"{letter}_{output}" for letter in "tuv"}}
        self.declared += [f"wire t_{output}, u_{output}, v_{output};"]
        self.declared += [f"wire {output};" if "Y" in pins else f"reg {output};"]
        for text, lines in ((verilog, self.verilog), (primitive, self.primitive)):
            lines.append("".join(names.get(word, word) for word in _words(text)))

    def gate(self, output: str) -> None:
        kind = self.rng.choice([*_PRIMITIVES, *list(_CHOICES) * 3])
        operator, primitives = _CHOICES.get(kind) or (_PRIMITIVES[kind],) * 2
        letters = sorted({word for word in _words(primitives) if word in set("ABCDS")})
        self.add(kind, {letter: self.net() for letter in letters} | {"Y": output}, operator, primitives)
        self.nets.append(output)

    def flip_flop(self, output: str) -> None:
        """Of any kind: with enable, with a reset that waits for the clock or, if there is such a line, does not."""
        rng = self.rng
        family = rng.choice(("DFF", "DFF", "DFFE", "SDFF", "SDFFE", "SDFFCE"))
        edge, form = rng.choice("PN"), ""
        pins = {"C": rng.choice(self.clocks), "D": self.net(), "Q": output}
        reset = clear = event = enable = ""
        if family[0] == "S" or (self.resets and rng.random() < 0.5):
            pins["R"] = self.net() if family[0] == "S" else rng.choice(list(self.resets))
            polarity = rng.choice("PN") if family[0] == "S" else "NP"[self.resets[pins["R"]]]
            form, reset = polarity + rng.choice("01"), "R" if polarity == "P" else "~R"
            if family[0] != "S":
                event = " or posedge R" if polarity == "P" else " or negedge R"
                clear = f"if ({reset}) Q <= 1'b{form[1]}; else "
        if "E" in family:
            pins["E"], level = self.net(), rng.choice("PN")
            form, enable = form + level, "E" if level == "P" else "~E"
        taken = "D"
        if family == "SDFFCE":
            taken = f"{enable} ? ({reset} ? 1'b{form[1]} : D) : Q"
        else:
            taken = f"{enable} ? D : Q" if enable else taken
            taken = f"{reset} ? 1'b{form[1]} : ({taken})" if family[0] == "S" else taken
        side = "posedge" if edge == "P" else "negedge"
        text = f"assign t = {taken}; always @({side} C{event}) {clear}Q <= t;"
        self.add(f"$_{family}_{edge}{form}_", pins, text, text)


def _words(text: str) -> list[str]:
    return re.findall(r"\w+|\W+", text)


def random_circuit(seed: int) -> Circuit:
    """One circuit that depends on its seed alone, of 10 to 60 gates and 3 to 12 flip-flops."""
    rng = random.Random(f"fine cells {seed}")
    clocks = [f"clk{number}" for number in range(rng.choice((1, 1, 2, 3)))]
    resets = {f"rst{number}": rng.getrandbits(1) for number in range(rng.choice((0, 1, 1, 2)))}
    circuit = Circuit(rng, clocks, resets, [f"d{number}" for number in range(rng.randint(2, 6))])
    states = [f"q{number}" for number in range(rng.randint(3, 12))]
    circuit.nets += states
    for number in range(rng.randint(10, 60)):
        circuit.gate(f"n{number}")
    for state in states:
        circuit.flip_flop(state)
    return circuit
