"""What Yosys says of Verilog, and what the text shows beside, as errors and warnings with file and line."""

from __future__ import annotations

import re
import signal
from collections.abc import Sequence
from pathlib import Path

from forelight.sim.allowance import most_bytes
from forelight.sim.errors import SourceError

from .child_process import MORE_MEMORY
from .text.checks import both_edges, system_verilog
from .text.tokens import Verilog
from .text.unsupported import LACKING
from .yosys import Done

_ERROR = re.compile(r"^(?:(?P<place>[^\n]*?:\d+)[-.\d]*: )?ERROR: *(?P<words>.*)", re.MULTILINE | re.DOTALL)
_WARNING = re.compile(r"^(?:[^\n]*?: )?Warning: [^\n]*", re.MULTILINE)
_USED = re.compile(r"^(?:Top|Used) module: +(?:\$paramod\S*?(?=\\))?\\(\S+?)(?:\\\S*)?$", re.MULTILINE)
_NOT_CONSTANT = re.compile(r"in memory initialization \$meminit\$\\(\S+?)\$(\S+?:\d+)\$")
#: Errors of Yosys in words of their own, with a remedy.
_EXPLAINED = (
    (re.compile(r"Module `\\(\S+)' referenced in module "), "no module is called {}", "name its file too"),
    (
        re.compile("While loops are only allowed"),
        "`while` is supported in tables that `initial` fills alone",
        "write a for loop with a constant end",
    ),
)
_FIGHT = re.compile(
    r"Warning: Driver-driver conflict for .* between (?P<driver>cell \$?[^$\s]*(?:\$(?P<place>[^$\s]+:\d+)\S*)?)"
    r" and constant (?P<constant>\S+) in "
)


def refuse_fights(out: str, names: str) -> None:
    """Raise SourceError where Yosys has given a constant to all that reads a net which something else drives too."""
    fight = _FIGHT.search(out)
    if fight is not None:
        raise SourceError(
            f"a net is driven by {fight['driver']} and by the constant {fight['constant']}, which fight",
            place=fight["place"] or names,
            remedy="leave one",
        )


#: Warnings of Yosys in words of their own.
_SAID = (
    (
        re.compile(r"^(?P<place>\S+): Warning: Identifier `\\(?P<name>\S+\.\S+)' is implicitly declared\.$"),
        "nothing is called {name}: a net of one bit is taken, which nothing drives",
    ),
    (
        re.compile(r"^(?P<place>\S+): Warning: Identifier `\\(?P<name>\S+)' is implicitly declared\.$"),
        "{name} is not declared: a net of one bit is taken",
    ),
    (
        re.compile(
            r"^Warning: wire '\\(?P<name>\S+)' is assigned in a block at (?P<place>\S+:\d+)[-.\d]*\.$"
        ),
        "{name} is assigned in a block, but is no variable: declare it as reg",
    ),
)


def warnings_of(out: str) -> list[str]:
    """The warnings in what Yosys printed, without names that it made up."""
    return [_said(re.sub(r": \$auto\$\S+$", "", line)) for line in _WARNING.findall(out)]


def _said(line: str) -> str:
    for pattern, words in _SAID:
        match = pattern.match(line)
        if match is not None:
            return f"{match['place']}: Warning: {words.format_map(match.groupdict())}"
    return line.removesuffix(".")


def noted(out: str, read: Sequence[Verilog]) -> list[str]:
    """Warnings of the text itself, for the modules that are used. Raises SourceError for what no chip has."""
    used = set(_USED.findall(out))
    for text in read:
        for found in both_edges(text):
            if found[0] in used:
                raise _twice_clocked(*found)
        for module, net, place in text.clocks:
            if module in used:
                raise SourceError(
                    f"{net} is a clock that delays make, and a chip has none",
                    place=place,
                    remedy="take the clock from an input, the step line",
                )
    return [words for text in read for module, words in text.warnings if module in used]


def _twice_clocked(module: str, register: str, clock: str, place: str) -> SourceError:
    return SourceError(
        f"register {register} of module {module} takes both edges of {clock.replace(' ', '')}",
        place=place,
        remedy="use one of them: a flip-flop has one",
    )


#: What is said where memory ends: by C++, by Python, by the system, and by what loads a library.
_NO_MEMORY = "bad_alloc|MemoryError|cannot allocate memory|failed to map segment"


def failure(done: Done, base: Path, names: Sequence[str], read: Sequence[Verilog]) -> SourceError:
    """The error that Yosys ended with, or the way in which it ended."""
    match = _ERROR.search(done.stderr)
    if match is not None:
        return _explained(" ".join(match["words"].split()), match["place"], base, names, read)
    place = ", ".join(names)
    if re.search(_NO_MEMORY, done.stderr):
        return SourceError(
            f"with Yosys this takes more than {most_bytes() >> 20} MiB", place=place, remedy=MORE_MEMORY
        )
    if done.returncode == -signal.SIGSEGV:
        return SourceError(
            "Yosys crashed, as it does where gates in a row are too many for its stack",
            place=place,
            remedy="put registers between them, or simplify the design",
        )
    last = done.stderr.strip().splitlines()[-1:] or ["it said nothing"]
    return SourceError(f"Yosys ended with code {done.returncode}: {last[0]}", place=place)


def _explained(
    words: str, place: str | None, base: Path, names: Sequence[str], read: Sequence[Verilog]
) -> SourceError:
    if "Multiple edge sensitive events" in words:
        for found in (found for text in read for found in both_edges(text)):
            return _twice_clocked(*found)
    constant = _NOT_CONSTANT.search(words)
    if constant is not None:
        return SourceError(
            f"what `initial` writes into memory {constant[1]} cannot be worked out beforehand",
            place=constant[2],
            remedy="let it depend on constants and variables of the block alone, or read it with $readmemh",
        )
    file = (place or "").rpartition(":")[0]
    if "syntax error" in words and file.endswith(".v"):
        for text in read:
            word, where = system_verilog(text, file)
            if where:
                return SourceError(
                    f"`{word}` is SystemVerilog, and a file named .v holds Verilog-2005",
                    place=where,
                    remedy="name the file .sv",
                )
    for text in read if "DPI" not in words else ():
        for word in (text.word(at) for at in text.where(*LACKING) if text.tokens[at].place == place):
            return SourceError(f"`{word}` is not supported", place=place or "", remedy=LACKING[word])
    for pattern, said, remedy in _EXPLAINED:
        if match := pattern.search(words):
            where = place or _place(words, base, names)
            return SourceError(said.format(*match.groups()), place=where, remedy=remedy)
    return SourceError(f"Yosys: {words}", place=place or _place(words, base, names))


def _place(words: str, base: Path, names: Sequence[str]) -> str:
    """Where the sources first say what a message without a place quotes."""
    quoted = re.search(r"`\\?([^'`]+)['`]", words)
    if quoted is not None:
        wanted = re.compile(rf"(?<!\w){re.escape(quoted[1])}(?!\w)")
        for name in names:
            for number, line in enumerate((base / name).read_text(errors="replace").splitlines(), 1):
                if wanted.search(line):
                    return f"{name}:{number}"
    return ", ".join(names)
