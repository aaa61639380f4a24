"""Reads the numbered sentences of a printed card, and nothing else of it, and makes the actions that they tell.

A person who knows only what is visible on the card does the same. Whatever a sentence does not say is not known here.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from html.parser import HTMLParser

from forelight.designs.procedures.procedure import (
    Action,
    Disable,
    Drive,
    Enable,
    Frames,
    LetGo,
    Oscillator,
    Press,
    Pulse,
    Release,
    Repeat,
    Restart,
    Seconds,
    Select,
    Set,
    Steps,
    Strap,
)

LINE = re.compile(r"\b(i[0-7])\b")
NUMBERED = re.compile(r"\s*(?:- \[ \] )?([0-9]+(?:[a-z]+[0-9]*)*) *(?:\[ \])? *(.+)")
BOX = "[ ]"
SWITCH = r"(?:switch|line) (?:(i[0-7])\b|[^()]*?\((i[0-7])\b)(?:[^()]*\))?|(all others)| to ([01])\b"
TIMES = {"once": 1}


class Visible(HTMLParser):
    """The visible text of a page, a line for each paragraph, cell and item; a box that is drawn is `[ ]`."""

    BLOCKS = frozenset({"p", "h1", "h2", "li", "td", "th", "tr", "div", "section", "article", "ol"})

    def __init__(self) -> None:
        super().__init__()
        self.lines = [""]
        self.hidden = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if ("class", "box") in attrs:
            self.lines[-1] += f" {BOX} "
        self.hidden += tag in ("style", "title", "svg")
        if tag in self.BLOCKS and not (tag == "div" and self.lines[-1] == ""):
            self.lines.append("")

    def handle_endtag(self, tag: str) -> None:
        self.hidden -= tag in ("style", "title", "svg")

    def handle_data(self, data: str) -> None:
        if not self.hidden:
            self.lines[-1] += data


def visible(html: str) -> list[str]:
    page = Visible()
    page.feed(html)
    return [line.strip() for line in page.lines if line.strip()]


def start_of(lines: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Number and sentence of each task under the heading Start; a line that begins with no number goes on the last."""
    inside = False
    found: list[list[str]] = []
    for line in lines:
        word = line.strip().lstrip("# ")
        if word in ("Care", "Set", "Start", "See", "Probe", "Slips"):
            inside = word == "Start"
        elif inside and BOX in line and (form := NUMBERED.fullmatch(line.replace("\\", ""))):
            found.append([form[1], form[2].strip()])
        elif inside and line.strip():
            found[-1][1] += f" {line.strip()}"
    yield from ((number, sentence) for number, sentence in found)


def actions(lines: Sequence[str]) -> tuple[Action, ...]:
    """The procedure that the visible lines of a card tell."""
    return _below("", list(start_of(lines)))


def _below(number: str, told: Sequence[tuple[str, str]]) -> tuple[Action, ...]:
    inner = re.compile(re.escape(number) + (r"[0-9]+" if not number or number[-1].isalpha() else r"[a-z]+"))
    found: list[Action] = []
    for own, sentence in told:
        if inner.fullmatch(own):
            again = re.fullmatch(r"Do this (once|\d+ times):", sentence)
            found.append(Repeat(_times(again[1]), _below(own, told)) if again else one(sentence))
    return tuple(found)


def _times(words: str) -> int:
    return TIMES.get(words) or int(words.split(maxsplit=1)[0])


def one(sentence: str) -> Action:
    """The action of one sentence."""
    said = sentence.rstrip(".")
    for pattern, make in FORMS:
        if form := re.fullmatch(pattern, said):
            return make(form)
    raise AssertionError(f"a person would not know what to do: {sentence}")


def _levels(said: str) -> dict[str, int]:
    """`switch A0 (i0, roll) to 1 (closed), switch A1 (i1) to 0`: line by line; `all others` are the rest."""
    levels: dict[str, int] = {}
    waiting: list[str] = []
    for form in re.finditer(SWITCH, said):
        if line := form[1] or form[2]:
            waiting.append(line)
        elif form[3]:
            waiting += [f"i{n}" for n in range(8) if f"i{n}" not in levels]
        else:
            levels |= dict.fromkeys(waiting, int(form[4]))
            waiting = []
    return levels


FORMS = (
    (r"Turn the selector to slot (\d+)", lambda f: Select(int(f[1]))),
    (r"Set all eight switches to ([01])(?: \(\w+\))?", lambda f: Set({f"i{n}": int(f[1]) for n in range(8)})),
    (r"Set (switch .+)", lambda f: Set(_levels(f[1]))),
    (
        r"With the step clock off, set the input switches .*?to ((?:[01] ){7}[01]) \(code \d+[^)]*\), switch the step "
        r"clock on, then set the switches back as they were",
        lambda f: Strap(int(f[1].replace(" ", ""), 2)),
    ),
    (r"Set the step source to (\d+) and switch the step clock on", lambda f: Strap(int(f[1]))),
    (r"Switch the step clock on(?:;.*)?", lambda f: Enable()),
    (r"Switch the step clock off", lambda f: Disable()),
    (r"Switch the oscillator (on|off)", lambda f: Oscillator(f[1] == "on")),
    (
        r"Hold (?:the|the board's) restart line.*? (?:high|low) for (\d+) (?:step|frame)s?, then let go",
        lambda f: Restart(int(f[1])),
    ),
    (
        r"Hold down .*?\b(i[0-7])\b\)?(, whose contact touches several times)?",
        lambda f: Press(f[1], bool(f[2])),
    ),
    (
        r"Let go of .*?\b(i[0-7])\b\)?(, whose contact touches several times)?",
        lambda f: Release(f[1], bool(f[2])),
    ),
    (r"Wait for (\d+) steps?(?:, .*)?", lambda f: Steps(int(f[1]))),
    (r"Wait for (\d+) frames?(?:, .*)?", lambda f: Frames(int(f[1]))),
    (r"Wait ([\d.e+-]+) s", lambda f: Seconds(float(f[1]))),
    (
        r"With the step clock off, take .*? to 1 and back to 0, (once|\d+ times), ([\d.e+-]+) in a second",
        lambda f: Pulse(_times(f[1]), float(f[2])),
    ),
    (r"With (?:its switch|their switches) open, drive (.+) from outside,.*", lambda f: Drive(_levels(f[1]))),
    (r"Take the outside source off (.+)", lambda f: LetGo(tuple(sorted(LINE.findall(f[1]))))),
)
