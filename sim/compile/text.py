"""Builds LLVM text: fresh names, blocks, phis whose later arms are filled in when they are known."""

from __future__ import annotations


class Text:
    """The body of one LLVM function, block by block; `here` is the label of the block being written."""

    def __init__(self) -> None:
        self._lines: list[str] = []
        self._names = 0
        self._phis: dict[str, tuple[int, str, list[str]]] = {}
        self.here = ""

    def name(self, stem: str = "") -> str:
        self._names += 1
        return f"{stem}{self._names}"

    def op(self, expression: str) -> str:
        """Write `%n = expression`; return `%n`."""
        result = f"%t{self.name()}"
        self._lines.append(f"  {result} = {expression}")
        return result

    def do(self, statement: str) -> None:
        self._lines.append(f"  {statement}")

    def block(self, label: str) -> None:
        self._lines.append(f"{label}:")
        self.here = label

    def phi(self, kind: str, first: str, origin: str) -> str:
        """A phi of type `kind` with its first arm; `arm` adds others."""
        result = self.op("")
        self._phis[result] = (len(self._lines) - 1, kind, [f"[{first}, %{origin}]"])
        return result

    def arm(self, phi: str, value: str, origin: str) -> None:
        self._phis[phi][2].append(f"[{value}, %{origin}]")

    def render(self) -> str:
        lines = self._lines[:]
        for result, (place, kind, arms) in self._phis.items():
            lines[place] = f"  {result} = phi {kind} {', '.join(arms)}"
        return "\n".join(lines)
