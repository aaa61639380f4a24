"""A netlist's compiled functions, each made when it is first asked for."""

from __future__ import annotations

import hashlib
import marshal
import pickle
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache, cached_property, partial
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING

from ..disk_cache import DiskCache, Door, stamps
from ..disk_cache import key as hashed
from ..machine.code import Code, Traits, machine_code, traits
from ..netlist import Netlist, Word
from ..schedule import schedule
from .layout import MANY_CLOCKS, layout

if TYPE_CHECKING:
    from .clock import Toggle
    from .program import Program

#: What was told of texts, by netlists, by what was asked, and by the code that writes them: writing one takes as long
#: as finding the code of five.
WRITTEN = DiskCache(".written", 2**20)
#: Folders of the code that writes texts, below that of the room.
_WRITERS = ("", "compile", "machine")

#: Netlists with more cells than this are compiled with less optimisation, which takes less than linear time no more.
_LARGE = 20_000
#: Netlists with more clocks than this are compiled without optimisation, which is ready five times as soon.
_MANY_CLOCKS = 1000
#: Nor are those with a value of more bits than this optimised: a sum of 20,000 bits took LLVM 63 s, and 0.1 s as it is.
_WIDE = 4096

#: Machine words of a block beyond which code without passes is made without optimisation first, and updates for each
#: such word after which optimised code pays: 8000 words take 0.3 s and 0.8 s to compile and 2.3 and 0.3 us an update,
#: 20,000 take 0.6 s and 5.5 s, a chain of 18,000 0.2 s and 21 s for 1.6 and 1.0 us.
_SOON, _PAYS = 5000, 100

#: Bits of state from which on it stays in memory.
_MUCH = 1024


class Compiled:
    """The machine code of one netlist, shared by all simulations of it.

    A netlist of gates that have been folded already needs no `passes` of LLVM, some of which take more than linear
    time on them: its code is as fast without, and ready 2 to 19 times as soon.
    """

    def __init__(self, netlist: Netlist, *, keep_in_memory: bool | None = None, passes: bool = True) -> None:
        self.keep_in_memory, self.passes = keep_in_memory, passes
        self.plan = schedule(netlist)
        self.layout = layout(netlist, self.plan)
        self.netlist = netlist
        self._codes: dict[tuple[object, ...], Code] = {}
        self._left: dict[tuple[object, ...], int] = {}  # updates until optimised code pays
        self._tuned: dict[Toggle, Code] = {}
        self._tuning: dict[Toggle, Thread] = {}

    @cached_property
    def program(self) -> Program:
        """The netlist on its way to text."""
        from .program import Program

        return Program(self.netlist, self.plan, self.layout)

    def settle(self) -> Code:
        return self._code(("settle",), "settle")

    def rows(self, ports: Sequence[str], observe: Word, updates: int = 0) -> Code:
        """Code that is about to make so many updates."""
        return self._code(("rows", tuple(ports), observe), "rows", updates)

    def clock(self, toggle: Toggle) -> Code:
        """Code for a toggling clock, whatever the other inputs are."""
        return self._code(("clock", replace(toggle, inputs=None)), "clock")

    def tuned(self, toggle: Toggle) -> Code | None:
        """The fastest code for a toggling clock with the inputs at these levels, once that has been found."""
        return self._tuned.get(toggle)

    def tune(self, toggle: Toggle, image: bytes, *, wait: bool = False) -> None:
        """Look for faster code in the background, once for each toggle; `image` is a state at rest, clock low."""
        if toggle in self._tuning or self.resident:
            return
        thread = self._tuning[toggle] = Thread(target=self._tune, args=(toggle, image))
        thread.start()
        if wait:
            thread.join()

    def _tune(self, toggle: Toggle, image: bytes) -> None:
        from .tune import tune

        variants = tune(self.program, toggle, image)
        if variants:
            self._tuned[toggle] = variants[0].code

    @property
    def resident(self) -> bool:
        """Whether the state stays in memory during a run, which pays where there is much of it."""
        bits = sum(register.width for register in self.netlist.registers)
        plain = not self.plan.cuts and not self.plan.graph.unclocked
        much = bits > _MUCH or len(self.plan.groups) > MANY_CLOCKS
        return plain and (much if self.keep_in_memory is None else self.keep_in_memory)

    def text(self, function: str, *arguments: object) -> str:
        """The LLVM text of `settle`, `rows` or `clock`."""
        from . import division, loop
        from .clock import clock

        writers: dict[str, Callable[..., str]]
        if self.resident:
            from .resident import ResidentWriter

            writer = ResidentWriter(self.program)
            writers = {"settle": writer.settle, "rows": writer.rows, "clock": writer.clock}
            text = writers[function](*arguments)
        else:
            writers = {"settle": loop.settle, "rows": loop.rows, "clock": clock}
            text = writers[function](self.program, *arguments)
        return text + division.definitions(text)

    def _code(self, key: tuple[object, ...], function: str, updates: int = 0) -> Code:
        found = self._codes.get(key)
        if found is not None and not self._left:  # as nearly always; a key takes long to hash
            return found
        if key in self._left:
            self._left[key] -= updates
        if found is None or self._left.get(key, 1) <= 0:
            write = cache(partial(self.text, function, *key[1:]))
            of = self._traits(key, function, write)
            level = self._level(key, function, of.longest, updates)
            found = self._codes[key] = machine_code(of, write, function, level, passes=self.passes)
        return found

    def _traits(self, key: tuple[object, ...], function: str, write: Callable[[], str]) -> Traits:
        """What is to be known of a text, which is written if that is not known yet."""
        if not Door.open:
            return traits(write(), function)
        name = hashed((self._content, pickle.dumps(key)))
        body = WRITTEN.load(name)
        if body is not None:
            return Traits(*marshal.loads(body))
        found = traits(write(), function)
        WRITTEN.store(name, marshal.dumps((found.digest, found.arguments, found.longest)))
        return found

    @cached_property
    def _content(self) -> str:
        """What all texts depend on: two netlists with one hash are the same in every part."""
        content = hashlib.sha256(pickle.dumps(self.netlist)).hexdigest()
        return f"{content} {self.keep_in_memory} {_writers()}"

    def _level(self, key: tuple[object, ...], function: str, words: int, updates: int) -> int:
        """The level to compile a text at, now, by the words of its longest block.

        `_left` keeps after how many more updates a higher one will pay.
        """
        # One update needs no loop optimisation, and people wait for it.
        level = 1 if function == "settle" or len(self.netlist.cells) > _LARGE else 3
        if max(self.netlist.widths, default=0) > _WIDE:
            return 0
        if len(self.plan.groups) > (MANY_CLOCKS if function == "settle" else _MANY_CLOCKS):
            return 0
        if self.passes or self._left.pop(key, 1) <= 0:
            return level
        left = _PAYS * words - updates
        if words <= _SOON or left <= 0:
            return level
        self._left[key] = left
        return 0


@cache
def _writers() -> str:
    """Which code writes texts here."""
    room = Path(__file__).parents[1]
    return stamps(path for folder in _WRITERS for path in sorted((room / folder).glob("*.py")))
