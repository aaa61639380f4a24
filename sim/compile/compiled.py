"""A netlist's compiled functions, each made when it is first asked for."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from ..netlist import Netlist, Word
from ..schedule import schedule
from . import loop
from .layout import layout
from .update import Program

if TYPE_CHECKING:
    from .jit import Code

#: Netlists with more cells than this are compiled with less optimisation, which takes less than linear time no more.
_LARGE = 20_000


class Compiled:
    """The machine code of one netlist, shared by all simulations of it."""

    def __init__(self, netlist: Netlist) -> None:
        self.plan = schedule(netlist)
        self.layout = layout(netlist, self.plan)
        self.program = Program(netlist, self.plan, self.layout)
        self._codes: dict[tuple[object, ...], Code] = {}

    def settle(self) -> Code:
        return self._code(("settle",), "settle")

    def rows(self, ports: Sequence[str], observe: Word) -> Code:
        return self._code(("rows", tuple(ports), observe), "rows")

    def clock(self, port: str, bit: int, observe: Word) -> Code:
        return self._code(("clock", port, bit, observe), "clock")

    def text(self, function: str, *arguments: object) -> str:
        """The LLVM text of `settle`, `rows` or `clock`, for a look or a test."""
        writers: dict[str, Callable[..., str]]
        writers = {"settle": loop.settle, "rows": loop.rows, "clock": loop.clock}
        return writers[function](self.program, *arguments)

    def _code(self, key: tuple[object, ...], function: str) -> Code:
        found = self._codes.get(key)
        if found is None:
            from .jit import compile_text

            # One update needs no loop optimisation, and people wait for it.
            level = 1 if function == "settle" or len(self.program.netlist.cells) > _LARGE else 3
            found = self._codes[key] = compile_text(self.text(function, *key[1:]), function, level)
        return found
