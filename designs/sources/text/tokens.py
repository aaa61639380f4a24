"""Tokens of preprocessed Verilog with their places, statements and modules; edits that keep lines where they are.

Source of the lexical rules: IEEE 1364-2005, clause 3. Yosys' preprocessor marks the files that it joins by lines of
its own: `file_push "name"` where one begins, `file_pop` where it ends.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from forelight.sim.errors import SourceError

_TOKEN = re.compile(
    r"""(?P<blank>\s+|//[^\n]*|/\*.*?\*/)
    |(?P<directive>`(?:file_push|file_pop|line|timescale|default_nettype|celldefine|endcelldefine)[^\n]*)
    |(?P<string>"(?:[^"\\\n]|\\.)*")
    |(?P<name>[A-Za-z_][\w$]*|\\\S+)
    |(?P<number>\d[\d_]*\.\d[\d_]*(?:[eE][+-]?\d+)?|(?:\d[\d_]*)?\s*'[sS]?[bodhBODH]\s*[\da-fA-F_xXzZ?]+
        |'[01xXzZ](?!\w)|\d[\d_]*)
    |(?P<system>\$[\w$]+)
    |(?P<sign><<<=?|>>>=?|===|!==|==\?|!=\?|\*\*|&&&?|\|\||<<=?|>>=?|<=|>=|==|!=|->>?|\+:|-:|\+\+|--
        |[-+*/%&|^]=|~[&|^]|\^~|::|\(\*(?!\s*\))|\*\)|@\*|.)""",
    re.VERBOSE | re.DOTALL,
)
_OPENING, _CLOSING = {"(": ")", "[": "]", "{": "}", "(*": "*)"}, {")", "]", "}", "*)"}
#: Words that begin a nest of statements, and the words that end it.
_NESTS = {
    "begin": ("end",),
    "case": ("endcase",),
    "casez": ("endcase",),
    "casex": ("endcase",),
    "fork": ("join", "join_any", "join_none"),
}
#: Words that begin a declaration within a block.
_DECLARES_WORDS = (
    "reg integer logic bit int byte shortint longint real time realtime genvar localparam parameter wire"
    " automatic static var event typedef const input output inout"
)
DECLARES = frozenset(_DECLARES_WORDS.split())


@dataclass(slots=True)
class Token:
    """A word, number, string or sign, with where it stands in the text and in its file."""

    kind: str
    text: str
    start: int
    end: int
    file: str
    line: int

    @property
    def place(self) -> str:
        return f"{self.file}:{self.line}"

    def is_name(self) -> bool:
        return self.kind == "name"


@dataclass
class Verilog:
    """A preprocessed text, its tokens, and the edits to be made; positions are indices into `tokens`."""

    text: str
    tokens: list[Token] = field(default_factory=list)
    files: list[tuple[str, str]] = field(
        default_factory=list
    )  # each file that was opened, and which one named it
    edits: dict[int, tuple[str, str | None, str]] = field(default_factory=dict)  # before, instead, after
    warnings: list[tuple[str, str]] = field(default_factory=list)  # module, words
    clocks: list[tuple[str, str, str]] = field(default_factory=list)  # module, net, place: made by delays
    fresh: int = 0
    _where: dict[str, list[int]] = field(default_factory=dict)
    _modules: list[tuple[str, int, int]] | None = None

    @staticmethod
    def read(text: str) -> Verilog:
        """Raises SourceError for a text without end, as a comment that is never closed."""
        found = Verilog(text)
        file, line, outer = "", 1, list[tuple[str, int]]()
        for match in _TOKEN.finditer(text):
            kind, word = match.lastgroup or "", match[0]
            if kind == "directive":
                head, _, rest = word.partition(" ")
                if head == "`file_push":
                    outer.append((file, line))
                    found.files.append((rest.strip()[1:-1], file))
                    file, line = rest.strip()[1:-1], 0
                elif head == "`file_pop" and outer:
                    file, line = outer.pop()
                    line -= 1  # the end of its own line does not count
                elif head == "`line":
                    parts = rest.split()
                    line, file = int(parts[0]) - 1, parts[1].strip('"')
                continue
            if kind != "blank":
                found._where.setdefault(word, []).append(len(found.tokens))
                found.tokens.append(Token(kind, word, match.start(), match.end(), file, line))
            if "\n" in word:
                line += word.count("\n")
        return found

    def word(self, at: int) -> str:
        """The text of a token; empty beyond the end."""
        return self.tokens[at].text if 0 <= at < len(self.tokens) else ""

    def where(self, *words: str, start: int = 0, end: int | None = None) -> list[int]:
        """The places of some words from `start` up to `end`, in order."""
        found: list[int] = []
        for word in words:
            places = self._where.get(word, [])
            last = len(places) if end is None else bisect_left(places, end)
            found += places[bisect_left(places, start) : last]
        return sorted(found)

    def words_like(self, head: str) -> list[int]:
        """The places of all words that begin with `head`."""
        return self.where(*(word for word in self._where if word.startswith(head)))

    def close(self, at: int) -> int:
        """The bracket that closes the one at `at`."""
        depth = 0
        for index in range(at, len(self.tokens)):
            word = self.tokens[index].text
            if word in _OPENING:
                depth += 1
            elif word in _CLOSING:
                depth -= 1
                if depth == 0:
                    return index
        raise self.refused(at, f"`{self.word(at)}` is never closed", "close it")

    def open(self, at: int) -> int:
        """The bracket that the one at `at` closes."""
        depth = 0
        for index in range(at, -1, -1):
            word = self.tokens[index].text
            if word in _CLOSING:
                depth += 1
            elif word in _OPENING:
                depth -= 1
                if depth == 0:
                    return index
        raise self.refused(at, f"`{self.word(at)}` closes nothing", "remove it")

    def parts(self, start: int, end: int, mark: str = ",") -> list[tuple[int, int]]:
        """The stretches between commas (or another mark) from `start` up to `end`, brackets kept whole."""
        found, begin, at = [], start, start
        while at < end:
            word = self.word(at)
            if word in _OPENING:
                at = min(self.close(at), end)
            elif word == mark:
                found.append((begin, at))
                begin = at + 1
            at += 1
        return [*found, (begin, end)]

    def source(self, start: int, end: int) -> str:
        """The text of the tokens from `start` up to `end`, on one line."""
        return joined(token.text for token in self.tokens[start:end])

    def until(self, at: int, word: str) -> int:
        """The next such token at or after `at` that stands in no bracket."""
        while at < len(self.tokens) and self.word(at) != word:
            at = self.close(at) + 1 if self.word(at) in _OPENING else at + 1
        return at

    def until_any(self, at: int, end: int, *words: str) -> int:
        """The next of some words at or after `at` that stands in no bracket; `end` if there is none before."""
        while at < end and self.word(at) not in words:
            at = self.close(at) + 1 if self.word(at) in _OPENING else at + 1
        return min(at, end)

    def colon(self, at: int, end: int) -> int:
        """The next `:` from `at` up to `end` that stands in no bracket and belongs to no `?` between; else `end`."""
        depth = 0
        while (at := self.until_any(at, end, "?", ":")) < end:
            if self.word(at) == ":" and depth == 0:
                return at
            depth += 1 if self.word(at) == "?" else -1
            at += 1
        return end

    def nest_end(self, at: int) -> int:
        """The word that ends the nest of statements which begins at `at`."""
        depth = 0
        for index in range(at, len(self.tokens)):
            word = self.tokens[index].text
            if word in _NESTS:
                depth += 1
            elif word in ("end", "endcase", "join", "join_any", "join_none"):
                depth -= 1
                if depth == 0:
                    return index
        raise self.refused(at, f"`{self.word(at)}` has no end", f"add `{_NESTS[self.word(at)][0]}`")

    def statement_end(self, at: int) -> int:
        """The last token of the statement that begins at `at`."""
        while True:
            word = self.word(at)
            if word in _NESTS:
                return self.nest_end(at)
            if word in ("if", "for", "while", "repeat", "wait", "foreach"):
                at = self.close(at + 1) + 1
                if word == "if":
                    last = self.statement_end(at)
                    if self.word(last + 1) != "else":
                        return last
                    at = last + 2
            elif word in ("forever", "unique", "priority", "unique0"):
                at += 1
            elif word in ("@", "#"):
                at = self.control_end(at) + 1
            elif word in ("(*", "@*"):
                at = (self.close(at) if word == "(*" else at) + 1
            else:
                return min(self.until(at, ";"), len(self.tokens) - 1)

    def control_end(self, at: int) -> int:
        """The last token of a delay or an event control: `#5`, `#(1:2:3)`, `@(posedge c)`, `@*`."""
        return self.close(at + 1) if self.word(at + 1) in _OPENING else at + 1

    def modules(self) -> list[tuple[str, int, int]]:
        """Name, first and last token of each module."""
        if self._modules is None:
            self._modules = []
            for at in self.where("module", "macromodule"):
                name = at + 2 if self.word(at + 1) in ("automatic", "static") else at + 1
                shown = self.word(name).removeprefix("\\")
                self._modules.append((shown, at, self.until_word(at, "endmodule")))
        return self._modules

    def until_word(self, at: int, *words: str) -> int:
        """The next of some words at or after `at`, wherever it stands; the last token if there is none."""
        return min(
            (places[0] for word in words if (places := self._from(word, at))), default=len(self.tokens) - 1
        )

    def _from(self, word: str, at: int) -> list[int]:
        places = self._where.get(word, [])
        first = bisect_left(places, at)
        return places[first : first + 1]

    def unique(self, stem: str) -> str:
        """A name that the text does not hold."""
        self.fresh += 1
        while f"{stem}${self.fresh}" in self.text:
            self.fresh += 1
        return f"{stem}${self.fresh}"

    def refused(self, at: int, what: str, remedy: str) -> SourceError:
        """An error at the place of a token."""
        place = self.tokens[min(at, len(self.tokens) - 1)].place if self.tokens else ""
        return SourceError(what, place=place, remedy=remedy)

    # Edits

    def before(self, at: int, words: str) -> None:
        """Put words before a token, and before what an earlier edit put there."""
        old = self.edits.get(at, ("", None, ""))
        self.edits[at] = (f"{words} {old[0]}", old[1], old[2])

    def after(self, at: int, words: str) -> None:
        old = self.edits.get(at, ("", None, ""))
        self.edits[at] = (old[0], old[1], f"{old[2]} {words}")

    def enclose(self, at: int, words: str) -> None:
        """Put words right after a token, before what an earlier edit put there."""
        old = self.edits.get(at, ("", None, ""))
        self.edits[at] = (old[0], old[1], f" {words}{old[2]}")

    def instead(self, start: int, end: int, words: str) -> None:
        """Replace the tokens from `start` up to `end`; line ends between them stay."""
        for at in range(start, end):
            old = self.edits.get(at, ("", None, ""))
            self.edits[at] = (old[0], words if at == start else "", old[2])

    def edited(self) -> str:
        """The text with all edits made."""
        found: list[str] = []
        done = 0
        for at in sorted(self.edits):
            token = self.tokens[at]
            before, instead, after = self.edits[at]
            kept = token.text if instead is None else instead
            # A name that begins with a backslash ends at a blank.
            gap = " " if after or instead is not None else ""
            found += [self.text[done : token.start], before, kept, gap, after]
            done = token.end
        return "".join([*found, self.text[done:]])


def joined(words: Iterable[str]) -> str:
    """Words on one line; a name that begins with a backslash needs a blank to end it."""
    return " ".join(f"{word} " if word[:1] == "\\" else word for word in words)


def declared(verilog: Verilog, start: int, end: int, words: Sequence[str]) -> Iterator[tuple[int, int, int]]:
    """For each declaration that begins with one of some words: its first token, its first name, its semicolon."""
    for at in verilog.where(*words, start=start, end=end):
        if verilog.tokens[at].is_name():
            name = at + 1
            while verilog.word(name) in (
                "signed",
                "unsigned",
                "scalared",
                "vectored",
                "reg",
                "logic",
                "[",
                "#",
                "(",
            ):
                if verilog.word(name) in ("[", "("):
                    name = verilog.close(name)
                elif verilog.word(name) == "#":
                    name = verilog.control_end(name)
                name += 1
            yield at, name, verilog.until(name, ";")
