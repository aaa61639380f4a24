"""RTLIL text to module records.

The grammar is that of Yosys' RTLIL text, which is made of lines.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from operator import length_hint

from ..errors import ForelightError, RtlilError, UnsupportedError
from .records import (
    FIRST,
    MOST_BITS,
    WIDEST,
    Assign,
    Bits,
    Case,
    CellText,
    End,
    MemoryText,
    Module,
    ProcessText,
    Switch,
    Wire,
    constant,
    digits,
    public,
    unquote,
)

_TOKEN = re.compile(
    r"""\s*(?: (?P<id>[\\$]\S+) | (?P<open>\{) | (?P<close>\})
      | \[ \s* (?P<high>\d+) \s* (?: : \s* (?P<low>\d+) \s* )? \]
      | (?P<width>\d+)'s?(?P<digits>[01xzm-]*) | (?P<int>-?\d+) | (?P<string>"(?:[^"\\]|\\.)*") )""",
    re.VERBOSE,
)


class _Reader:
    """Reads one text from top to bottom."""

    def __init__(self, text: str, clean: Callable[[str], str], first: int) -> None:
        self.lines = text.replace("\r\n", "\n").split("\n")
        self.at: Iterator[str] = iter(self.lines)
        self.next_bit = first
        self.sources: dict[str, str] = {"": ""}
        self.clean = clean
        self.attributes: dict[str, str] = {}
        self.specs: dict[str, Bits] = {}
        self.module = Module("", "", False, False, first)

    @property
    def number(self) -> int:
        """The number of the line that was read last."""
        return len(self.lines) - length_hint(self.at)

    def words(self) -> Iterator[list[str]]:
        """The lines that say something, split in at most three; attributes wait for the line after them."""
        attributes = self.attributes
        for line in self.at:
            words = line.split(None, 2)
            if not words or words[0][0] == "#":
                continue
            if words[0] == "attribute":
                attributes[words[1]] = words[2]
                continue
            yield words
            attributes.clear()

    def modules(self) -> list[Module]:
        found: list[Module] = []
        try:
            for words in self.words():
                if words[0] == "module":
                    found.append(self.read_module(words[1]))
                elif words[0] != "autoidx":
                    raise RtlilError(f"`{' '.join(words)}` outside a module", remedy="expected `module`")
        except ForelightError as error:
            if error.place:
                raise
            raise type(error)(error.what, place=f"RTLIL line {self.number}", remedy=error.remedy) from None
        except (ValueError, IndexError, KeyError, StopIteration, OverflowError):
            line = self.lines[self.number - 1].strip()[:80] if self.number else ""
            raise RtlilError(f"cannot read `{line}`", place=f"RTLIL line {self.number}") from None
        return found

    def src(self) -> str:
        """The source place that the attributes before this line state, cleaned."""
        stated = self.attributes.get("\\src", "")
        found = self.sources.get(stated)
        if found is None:
            found = self.sources[stated] = self.clean(unquote(stated))
        return found

    def flag(self, name: str) -> bool:
        return "1" in digits(self.attributes.get(f"\\{name}", "0"))

    def read_module(self, name: str) -> Module:
        start = self.number
        module = Module(name, self.src(), self.flag("top"), self.flag("blackbox"), self.next_bit, line=start)
        self.module = module
        self.specs.clear()
        self.attributes.clear()
        for words in self.words():
            head = words[0]
            if head == "cell":
                module.cells.append(self.read_cell(words[1], words[2]))
            elif head == "wire":
                self.read_wire(words)
            elif head == "connect":
                module.connects.append(self.assignment(words))
            elif head == "process":
                module.processes.append(self.read_process(words[1]))
            elif head == "memory":
                self.read_memory(words)
            elif head == "parameter":
                self.read_parameter(words, module.params)
            elif head == "end":
                module.end = self.next_bit
                module.lines = tuple(self.lines[start - 1 : self.number])
                return module
            else:
                raise RtlilError(
                    f"`{head}` in module {public(name)}",
                    remedy="expected wire, memory, cell, process, connect or end",
                )
        raise RtlilError(f"the text ends inside module {public(name)}", remedy="is it cut off?")

    def read_wire(self, words: list[str]) -> None:
        options = " ".join(words[1:]).split()
        name = options.pop()
        width, direction, index = 1, "", 0
        rest = iter(options)
        for option in rest:
            if option == "width":
                width = int(next(rest))
            elif option in ("input", "output", "inout"):
                direction, index = option, int(next(rest))
            elif option == "offset":
                next(rest)
            elif option not in ("signed", "upto"):
                raise RtlilError(
                    f"wire {public(name)} has the option `{option}`", remedy="is this RTLIL text?"
                )
        if name in self.module.wires:
            raise RtlilError(f"wire {public(name)} is declared twice")
        if not 0 <= width <= WIDEST or self.next_bit + width > MOST_BITS:
            raise RtlilError(
                f"wire {public(name)} of {width} bits is too wide", remedy="make the design smaller"
            )
        base = self.next_bit
        self.next_bit += width
        init = self.attributes.get("\\init", "")
        self.module.wires[name] = Wire(name, base, width, direction, index, init, self.src())
        self.specs[name] = tuple(range(base, base + width))

    def read_memory(self, words: list[str]) -> None:
        options = " ".join(words[1:]).split()
        name = options.pop()
        numbers = dict(zip(options[::2], map(int, options[1::2]), strict=True))
        sizes = (numbers.get("width", 1), numbers.get("size", 0), numbers.get("offset", 0))
        self.module.memories.append(MemoryText(name, *sizes, self.src()))

    def read_parameter(self, words: list[str], params: dict[str, str]) -> None:
        if words[1] in ("signed", "real"):
            words = [words[0], *words[2].split(None, 1)]
        params[words[1][1:]] = words[2].strip() if len(words) > 2 else ""

    def read_cell(self, kind: str, name: str) -> CellText:
        cell = CellText(kind, name.strip(), {}, {}, self.src(), self.number)
        specs, ports, params = self.specs, cell.ports, cell.params
        self.attributes.clear()
        for words in self.words():
            if words[0] == "connect":
                found = specs.get(words[2])
                ports[words[1][1:]] = self.spec(words[2]) if found is None else found
            elif words[0] == "parameter":
                self.read_parameter(words, params)
            elif words[0] == "end":
                return cell
            else:
                raise RtlilError(f"`{words[0]}` in cell {name}", remedy="expected parameter, connect or end")
        raise RtlilError(f"the text ends inside cell {name}", remedy="is it cut off?")

    def read_process(self, name: str) -> ProcessText:
        process = ProcessText(name, [], self.src())
        place = process.src or f"RTLIL line {self.number}"
        steps = process.steps
        switched = [False]  # for each open body: has a switch been seen?
        in_switch = False  # directly inside a switch, before its first case
        self.attributes.clear()
        for words in self.words():
            head = words[0]
            if head == "assign" and not in_switch:
                found = self.assignment(words)
                if switched[-1] and found.target:
                    raise UnsupportedError(
                        f"process {name} assigns after a switch in the same body",
                        place=f"RTLIL line {self.number}",
                        remedy="Yosys would move it up; write `switch { }` and `case` around it",
                    )
                if found.target:
                    steps.append(found)
            elif head == "switch" and not in_switch:
                switched[-1] = True
                steps.append(Switch(self.spec(" ".join(words[1:])), self.src() or process.src))
                switched.append(False)
                in_switch = True
            elif head == "case" and len(switched) > 1:
                steps.append(self.case(" ".join(words[1:])))
                switched[-1] = in_switch = False
            elif head == "end":
                in_switch = False
                switched.pop()
                if not switched:
                    return process
                steps.append(End())
            elif head == "sync":
                raise UnsupportedError(
                    f"process {name} has `{' '.join(words)}` (RTLIL line {self.number})",
                    place=place,
                    remedy="run Yosys' `proc` on it first",
                )
            else:
                raise RtlilError(f"`{head}` in process {name}", remedy="expected assign, switch, case or end")
        raise RtlilError(f"the text ends inside process {name}", remedy="is it cut off?")

    def case(self, text: str) -> Case:
        patterns = []
        for part in text.split(",") if text.strip() else ():
            shown = part.strip()
            if not re.fullmatch(r"\d+('s?[01xzm-]*)?", shown):
                raise UnsupportedError(
                    f"case {shown} is not a constant", remedy="run Yosys' `proc` on it first"
                )
            patterns.append(digits(shown))
        # A pattern with x or z matches no value that a wire can have.
        able = tuple(p for p in patterns if not set(p) & set("xzm"))
        return Case(able, not patterns)

    def assignment(self, words: list[str]) -> Assign:
        sides = self.signals(" ".join(words[1:]))
        if len(sides) != 2 or len(sides[0]) != len(sides[1]):
            widths = " and ".join(str(len(side)) for side in sides)
            raise RtlilError(
                f"`{' '.join(words)}` joins signals of {widths} bits", remedy="expected two of one width"
            )
        return Assign(*sides)

    def spec(self, text: str) -> Bits:
        found = self.specs.get(text)
        if found is None:
            signals = self.signals(text)
            if len(signals) != 1:
                raise RtlilError(f"`{text}` is not one signal")
            found = self.specs[text] = signals[0]
        return found

    def signals(self, text: str) -> list[Bits]:
        """The signals in `text`, side by side."""
        open_lists: list[list[Bits]] = [[]]
        at, end = 0, len(text.rstrip())
        while at < end:
            match = _TOKEN.match(text, at)
            if match is None:
                raise RtlilError(f"cannot read `{text[at:].strip()}` as a signal")
            at = match.end()
            items = open_lists[-1]
            kind = match.lastgroup
            if kind == "id":
                if match["id"] not in self.specs:
                    raise RtlilError(
                        f"wire {public(match['id'])} is not declared in module {public(self.module.name)}"
                    )
                items.append(self.specs[match["id"]])
            elif kind in ("high", "low"):
                high = int(match["high"])
                low = high if match["low"] is None else int(match["low"])
                if not items or not 0 <= low <= high < len(items[-1]):
                    raise RtlilError(f"slice {match[0].strip()} in `{text.strip()}` is out of range")
                items[-1] = items[-1][low : high + 1]
            elif kind == "open":
                open_lists.append([])
            elif kind == "close":
                if len(open_lists) == 1:
                    raise RtlilError(f"`}}` without `{{` in `{text.strip()}`")
                joined = tuple([bit for item in reversed(open_lists.pop()) for bit in item])
                open_lists[-1].append(joined)
            else:
                items.append(constant(digits(match[0].strip())))
        if len(open_lists) > 1:
            raise RtlilError(f"`{{` without `}}` in `{text.strip()}`")
        return open_lists[0]


def read_modules(text: str, clean: Callable[[str], str] = str, first: int = FIRST) -> list[Module]:
    """The modules of one RTLIL text, wires numbered from `first` on, source places passed through `clean`."""
    return _Reader(text, clean, first).modules()
