"""Builds LLVM text: fresh names, blocks, phis whose later arms are filled in when they are known."""

from __future__ import annotations

#: Constants of which one name is known to be one, at most.
_FEW = 8


class Text:
    """The body of one LLVM function, block by block; `here` is the label of the block being written."""

    def __init__(self) -> None:
        self._lines: list[str] = []
        self._names = 0
        self._phis: dict[str, tuple[str, list[str]]] = {}
        self._few: dict[str, frozenset[int]] = {}
        self.here = ""

    @property
    def length(self) -> int:
        """Lines so far."""
        return len(self._lines)

    def name(self, stem: str = "") -> str:
        self._names += 1
        return f"{stem}{self._names}"

    def op(self, expression: str) -> str:
        """Write `%n = expression`; return `%n`."""
        result = f"%t{self.name()}"
        self._lines.append(f"  {result} = {expression}")
        return result

    def select(self, bit: str, kind: str, yes: str, no: str) -> str:
        """A select, of which is remembered if it is one of a few constants."""
        result = self.op(f"select i1 {bit}, {kind} {yes}, {kind} {no}")
        one, other = self.few(yes), self.few(no)
        if one and other and len(one | other) <= _FEW:
            self._few[result] = one | other
        return result

    def few(self, name: str) -> frozenset[int]:
        """The few constants of which an LLVM value is one; empty if that is not known."""
        return frozenset((int(name),)) if name.isdigit() else self._few.get(name, frozenset())

    def do(self, statement: str) -> None:
        self._lines.append(f"  {statement}")

    def block(self, label: str) -> None:
        self._lines.append(f"{label}:")
        self.here = label

    def phi(self, kind: str, first: str, origin: str) -> str:
        """A phi of type `kind` with its first arm; `arm` adds others."""
        result = self.later(kind)
        self.place(result)
        self.arm(result, first, origin)
        return result

    def later(self, kind: str) -> str:
        """The name of a phi that `place` puts at the head of a block that is still to come."""
        result = f"%t{self.name()}"
        self._phis[result] = kind, []
        return result

    def place(self, *phis: str) -> None:
        """Put phis here, at the head of a block."""
        self._lines.extend(phis)

    def arm(self, phi: str, value: str, origin: str) -> None:
        """What a phi is if the block is entered from the one called `origin`."""
        self._phis[phi][1].append(f"[{value}, %{origin}]")

    def render(self) -> str:
        lines = self._lines[:]
        for place, line in enumerate(lines):
            if line in self._phis:
                kind, arms = self._phis[line]
                lines[place] = f"  {line} = phi {kind} {', '.join(arms)}"
        return "\n".join(lines)
