"""The words for bench actions: texts to records and back.

An action is written as one of

    select 12          strap 29          enable            disable           oscillator off
    set i2=1 i3=0      press i6          release i6        restart           restart 5
    steps 97500        frames 10         wait 3 s          pulse 4           repeat 3 (pulse 1; wait 250 ms)
    press i6 bouncing  drive i2=1        let go i2         play hands.csv    pulse 4 at 10 Hz

Only inside a repeat does a text hold several actions, parted by semicolons; repeats may stand inside repeats.
`wait` takes s, ms, us or min. `parse` and `to_text` are each other's inverse.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from fractions import Fraction

from forelight.sim.errors import DatasheetError
from forelight.sim.units import SECONDS

from ..toml_file import did_you_mean, quoted
from .actions import (
    HAND_HZ,
    Action,
    Disable,
    Drive,
    Enable,
    Frames,
    LetGo,
    Oscillator,
    Play,
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

#: What a whole procedure may come to with its repeats written out.
MOST_STEPS = 10**9  # steps, frames and pulses together
MOST_ACTIONS = 10**6
MOST_SECONDS = 10**6
#: The fastest pace that can be written for steps by hand, which no hand keeps.
FASTEST_HZ = 10**9
_DEEPEST = 8
_LARGEST_CODE = 2**32 - 1
_LARGEST_SLOT = 65535
_LONGEST_TEXT = 20_000
_UNITS = ("s", "ms", "us", "min")  # of a wait


#: File and line that an error shall name: one for all actions, one for each, or none where they were made in code.
Where = str | Sequence[str]


def place_of(where: Where, number: int) -> str:
    """Where the action stands that has this number, from 1."""
    line = where if isinstance(where, str) or not where else where[number - 1]
    return f"{line}, action {number}" if line else f"action {number}"


def parse(texts: Sequence[str], where: Where = "") -> tuple[Action, ...]:
    """Action texts to records."""
    actions = tuple(parse_one(text, place_of(where, number)) for number, text in enumerate(texts, 1))
    check_bounds(actions, where)
    return actions


def parse_one(text: str, place: str) -> Action:
    """One action; `place` is what an error shall name."""
    if len(text) > _LONGEST_TEXT:
        raise DatasheetError(
            f"a text of {len(text)} characters", place=place, remedy="split it into several actions"
        )
    found = _sequence(text, place, 0)
    if len(found) > 1:
        raise DatasheetError(
            f"{quoted(text)}: {len(found)} actions in one text",
            place=place,
            remedy="give each a text of its own",
        )
    return found[0]


def to_text(action: Action) -> str:
    """The action as `parse` reads it."""
    verb = _VERB_OF.get(type(action), type(action).__name__.lower())
    match action:
        case Enable() | Disable():
            rest = ""
        case Oscillator(on):
            rest = "on" if on else "off"
        case Set(levels) | Drive(levels):
            rest = " ".join(f"{line}={int(level)}" for line, level in sorted(levels.items()))
        case Press(line, bouncing) | Release(line, bouncing):
            rest = f"{line} bouncing" if bouncing else line
        case LetGo(lines):
            rest = " ".join(sorted(lines))
        case Play(file):
            rest = file
        case Restart(length):
            rest = "" if length == Restart().length else str(length)
        case Select(number) | Strap(number) | Steps(number) | Frames(number):
            rest = str(number)
        case Pulse(number, hz):
            rest = str(number) if hz == HAND_HZ else f"{number} at {repr(float(hz)).removesuffix('.0')} Hz"
        case Seconds(seconds):
            rest = f"{float(seconds)!r} s"
        case Repeat(count, actions):
            verb, rest = "repeat", f"{count} ({'; '.join(to_text(inner) for inner in actions)})"
    return f"{verb} {rest}".rstrip()


class _FormError(Exception):
    """An action that cannot be read: what was found."""


def _count(text: str, low: int, high: int) -> int:
    """A whole number from low to high, in plain ASCII digits."""
    if not re.fullmatch(r"-?[0-9]{1,99}", text):
        raise _FormError(f"{quoted(text)} is no whole number")
    if not low <= int(text) <= high:
        raise _FormError(f"{quoted(text)} is no whole number from {low} to {high}")
    return int(text)


def _input_line(text: str) -> str:
    if not re.fullmatch(r"i[0-7]", text):
        kind = "an output" if re.fullmatch(r"o[0-7]", text) else "no line"
        raise _FormError(f"{quoted(text)} is {kind}, the input lines are i0 to i7")
    return text


def _button(words: list[str]) -> tuple[str, bool]:
    if words[1:] not in ([], ["bouncing"]):
        raise _FormError(f"{quoted(words[1])} stands where may be bouncing or nothing")
    return _input_line(words[0]), bool(words[1:])


def _let_go(words: list[str]) -> LetGo:
    if words[0] != "go":
        raise _FormError(f"{quoted(words[0])} stands after let")
    return LetGo(tuple(sorted({_input_line(word) for word in words[1:]})))


def _levels(words: list[str]) -> dict[str, int]:
    levels: dict[str, int] = {}
    for word in words:
        name, equals, level = word.partition("=")
        line = _input_line(name)
        if not equals or level not in {"0", "1"}:
            raise _FormError(
                f"{quoted(level) if level else 'nothing'} is no level of {line}, which is 0 or 1"
            )
        if line in levels:
            raise _FormError(f"{line} is set twice at one instant")
        levels[line] = int(level)
    return levels


def _wait(text: str) -> Seconds:
    form = re.fullmatch(r"([0-9]{1,12}(?:\.[0-9]{1,24})?(?:e[+-]?[0-9]{1,2})?) ?([a-z]*)", text)
    if not form or form[2] not in _UNITS:
        raise _FormError(f"{quoted(text)} is no time, its units are {', '.join(_UNITS)}")
    seconds = Fraction(form[1]) * SECONDS[form[2]]
    if not Fraction(1, 10**9) <= seconds <= MOST_SECONDS:
        raise _FormError(f"{quoted(text)} does not fit, a wait is from 1 ns to {MOST_SECONDS} s")
    return Seconds(float(seconds))


def _pulse(words: list[str]) -> Pulse:
    count = _count(words[0], 1, MOST_STEPS)
    if not words[1:]:
        return Pulse(count)
    form = re.fullmatch(r"at ([0-9]{1,12}(?:\.[0-9]{1,24})?(?:e[+-]?[0-9]{1,2})?) ?hz", " ".join(words[1:]))
    if not form or not 0 < float(form[1]) <= FASTEST_HZ:
        raise _FormError(
            f"{quoted(' '.join(words[1:]))} is no rate such as at 10 Hz, up to {FASTEST_HZ:g} Hz"
        )
    return Pulse(count, float(form[1]))


def _switch(word: str) -> Oscillator:
    if word not in {"on", "off"}:
        raise _FormError(f"{quoted(word)} does not fit, the oscillator is on or off")
    return Oscillator(word == "on")


#: Verb -> how it is written, fewest and most words after it, and what makes the record of them.
FORMS: dict[str, tuple[str, int, int, Callable[[list[str]], Action]]] = {
    "select": ("select SLOT", 1, 1, lambda w: Select(_count(w[0], 0, _LARGEST_SLOT))),
    "strap": ("strap CODE", 1, 1, lambda w: Strap(_count(w[0], 0, _LARGEST_CODE))),
    "enable": ("enable", 0, 0, lambda w: Enable()),
    "disable": ("disable", 0, 0, lambda w: Disable()),
    "oscillator": ("oscillator on or oscillator off", 1, 1, lambda w: _switch(w[0])),
    "set": ("set i2=1 i3=0", 1, 8, lambda w: Set(_levels(w))),
    "press": ("press i6 or press i6 bouncing", 1, 2, lambda w: Press(*_button(w))),
    "release": ("release i6 or release i6 bouncing", 1, 2, lambda w: Release(*_button(w))),
    "drive": ("drive i2=1 i3=0", 1, 8, lambda w: Drive(_levels(w))),
    "let": ("let go i2 i3", 2, 9, _let_go),
    "restart": ("restart or restart LENGTH", 0, 1, lambda w: Restart(*(_count(n, 1, MOST_STEPS) for n in w))),
    "steps": ("steps COUNT", 1, 1, lambda w: Steps(_count(w[0], 1, MOST_STEPS))),
    "frames": ("frames COUNT", 1, 1, lambda w: Frames(_count(w[0], 1, MOST_STEPS))),
    "wait": ("wait 3 s", 1, 2, lambda w: _wait(" ".join(w))),
    "pulse": ("pulse COUNT or pulse COUNT at 10 Hz", 1, 4, _pulse),
}
VERBS = (*FORMS, "play", "repeat")
_VERB_OF: dict[type, str] = {Seconds: "wait", LetGo: "let go"}


def _sequence(text: str, place: str, depth: int) -> list[Action]:
    """Actions parted by semicolons, but for those inside parentheses."""
    parts, level, start = [], 0, 0
    for position, char in enumerate(text):
        level += (char == "(") - (char == ")")
        if level < 0:
            break
        if char == ";" and level == 0:
            parts.append(text[start:position])
            start = position + 1
    if level:
        raise DatasheetError(
            f"{quoted(text)}: a parenthesis without its partner",
            place=place,
            remedy="write repeat 3 (pulse 1; wait 1 s)",
        )
    return [_action(part.strip(), place, depth) for part in (*parts, text[start:])]


def _action(text: str, place: str, depth: int) -> Action:
    verb, *words = text.lower().split() or [""]
    verb = verb.partition("(")[0]
    if not verb:
        raise DatasheetError(
            "an empty action", place=place, remedy=f"take it out, or write one of {', '.join(VERBS)}"
        )
    others = {"play": "play FILE, a recording beside this file", "repeat": "repeat COUNT (ACTION; ACTION)"}
    form = FORMS[verb][0] if verb in FORMS else others.get(verb, "")
    try:
        if verb == "play":
            return _play(text, depth)
        if verb == "repeat":
            return _repeat(text, place, depth)
        if verb not in FORMS:
            near = did_you_mean(verb, VERBS)
            known = f"the actions are {', '.join(VERBS)}"
            raise DatasheetError(
                f"{quoted(text)}: no such action", place=place, remedy=f"{near} {known}" if near else known
            )
        _, fewest, most, make = FORMS[verb]
        if not fewest <= len(words) <= most:
            stands = (
                "nothing stands"
                if not words
                else "1 word stands"
                if len(words) == 1
                else f"{len(words)} words stand"
            )
            raise _FormError(f"{stands} after {verb}")
        return make(words)
    except _FormError as error:
        raise DatasheetError(f"{quoted(text)}: {error}", place=place, remedy=f"write {form}") from None


def _play(text: str, depth: int) -> Play:
    file = text.strip()[len("play") :].strip()
    if not file or not file.isprintable():
        raise _FormError("the name of a file is missing")
    if depth:
        raise _FormError("a recording is played once, outside of repeats")
    return Play(file)


def _repeat(text: str, place: str, depth: int) -> Repeat:
    form = re.fullmatch(r"repeat\s+(\S+?)\s*\((.*)\)", text, re.DOTALL | re.IGNORECASE)
    if not form:
        raise _FormError("a count, or actions in parentheses, are missing")
    if depth == _DEEPEST:
        raise _FormError(f"repeats stand more than {_DEEPEST} deep")
    return Repeat(_count(form[1], 1, MOST_STEPS), tuple(_sequence(form[2], place, depth + 1)))


def check_bounds(actions: Sequence[Action], where: Where = "") -> None:
    """Refuse what would never end: too many steps, actions or seconds once the repeats are written out."""
    steps, number, seconds = _extent(actions)
    if steps > MOST_STEPS or number > MOST_ACTIONS or seconds > MOST_SECONDS:
        raise DatasheetError(
            f"the procedure comes to {steps} steps and frames, {number} actions and {seconds:g} s of waiting",
            place=where if isinstance(where, str) else where[0],
            remedy=f"at most {MOST_STEPS}, {MOST_ACTIONS} and {MOST_SECONDS} s are allowed",
        )


def _extent(actions: Sequence[Action]) -> tuple[int, int, float]:
    """Steps and frames, actions, and seconds of waiting, with the repeats written out."""
    steps, number, seconds = 0, 0, 0.0
    for action in actions:
        number += 1
        match action:
            case Steps(count) | Frames(count) | Restart(count):
                steps += count
            case Pulse(count, hz):
                steps, seconds = steps + count, seconds + count / hz
            case Seconds(wait):
                seconds += wait
            case Repeat(count, inner):
                more = _extent(inner)
                steps, number, seconds = (
                    steps + count * more[0],
                    number + count * more[1],
                    seconds + count * more[2],
                )
            case _:
                pass
    return steps, number, seconds
