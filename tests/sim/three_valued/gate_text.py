"""A netlist of gates and flip-flops as Verilog primitives, for a bench that declares its inputs."""

from __future__ import annotations

from forelight.sim.netlist import Const, Netlist, Register, Slice, Word
from forelight.sim.state import is_wiring

from .bench import Line

_PRIMITIVES = {
    "$buf": "buf",
    "$not": "not",
    "$and": "and",
    "$or": "or",
    "$xor": "xor",
    "$reduce_and": "and",
    "$reduce_or": "or",
    "$reduce_xor": "xor",
}


class GateText:
    """Writes one netlist, of which every cell is one of `gates.KINDS` and every register a bit."""

    def __init__(self, netlist: Netlist) -> None:
        self.netlist = netlist
        self.ports = {value: port for port, value in netlist.inputs.items()}
        self.makers = {cell.output: cell for cell in netlist.cells}

    def word(self, word: Word) -> str:
        """A word as a concatenation."""
        return f"{{{', '.join(self._bits(part) for part in reversed(word.parts))}}}"

    def _bits(self, part: Const | Slice) -> str:
        if isinstance(part, Const):
            bits = (
                "x" if part.undefined >> at & 1 else str(part.bits >> at & 1)
                for at in reversed(range(part.width))
            )
            return f"{part.width}'b{''.join(bits)}"
        if part.value in self.ports:
            return f"\\{self.ports[part.value]} [{part.low + part.width - 1}:{part.low}]"
        return f"v{part.value}"

    def body(self) -> str:
        """Declarations, gates and flip-flops."""
        netlist = self.netlist
        lines = [f"wire v{cell.output};" for cell in netlist.cells]
        lines += [f"{'wire' if is_wiring(r) else 'reg'} v{r.output};" for r in netlist.registers]
        for cell in netlist.cells:
            if cell.kind == "$mux":
                low, high, select = map(self.word, cell.operands)
                lines.append(f"assign v{cell.output} = {select} ? {high} : {low};")
                continue
            bits = [self.word(word.bit(at)) for word in cell.operands for at in range(word.width)]
            lines.append(f"{_PRIMITIVES[cell.kind]} (v{cell.output}, {', '.join(bits)});")
        return "\n".join([*lines, *map(self._register, netlist.registers)])

    def _register(self, register: Register) -> str:
        output = f"v{register.output}"
        if is_wiring(register):
            return f"assign {output} = {self._bits(register.init)};"
        assert register.clock is not None
        side, event, clear = "posedge" if register.rising else "negedge", "", ""
        for override in reversed(register.overrides):
            mask = self.word(override.mask)
            event += f" or posedge {mask}"
            clear += f"if ({mask}) {output} <= {self.word(override.value)}; else "
        return f"always @({side} {self.word(register.clock)}{event}) {clear}{output} <= {self.word(register.data)};"

    def line(self, word: Word) -> tuple[Line, int] | None:
        """The input line that a bit is, straight or through inverters, and the level at which the bit is 1."""
        level = 1
        while isinstance(part := word.parts[0], Slice):
            if part.value in self.ports:
                return (self.ports[part.value], part.low), level
            maker = self.makers.get(part.value)
            if maker is None or maker.kind not in ("$not", "$buf"):
                return None
            level ^= maker.kind == "$not"
            word = maker.operands[0]
        return None
