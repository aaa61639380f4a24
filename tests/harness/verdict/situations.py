"""Situations as at a bench: something is wrong, `check` is asked, what it says is done, and it is asked again.

`python -m tests.harness.verdict.situations [NAME ...]` prints what a person reads. The chip is the whole one in
Amaranth, tick by tick; whoever obeys a remedy knows its own words and nothing of what stands wrongly on the bench. So a
remedy that names another switch, line or entry mends nothing, or makes it worse.
"""

from __future__ import annotations

import random
import re
import sys
import textwrap
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from click.testing import CliRunner
from forelight.designs.catalogue import load_design
from forelight.designs.datasheet import INPUT_LINES
from forelight.designs.procedures.procedure import (
    Action,
    Enable,
    Frames,
    Press,
    Procedure,
    Release,
    Repeat,
    Restart,
    Select,
    Set,
    Steps,
    Strap,
)
from forelight.harness.asking.question import Asked, Question, question
from forelight.harness.boards.profile import Board
from forelight.harness.boards.reader import load_board
from forelight.harness.boards.writer import write_board
from forelight.harness.cli import cli
from forelight.harness.hand.hand import Hand
from forelight.harness.hand.timeline import timeline
from numpy.typing import NDArray

from tests.harness.bench.rig import Setup, WokenChip
from tests.harness.bench.setups import chain

SLOTS = {1: "travelling_wave", 2: "bridge_counter", 4: "tide_gauge", 5: "lamp_dimmer", 6: "weather_report"}
SEED, JITTER, RATE = (
    12,
    0.03,
    1.003,
)  # edges stray by so much of a step, and the instrument counts so much too fast
MARGIN = 20  # frames that the chip runs on after the last action
FRAMES, STRAP = 8, 3  # of a step by the usual strap code
LISTED = 24  # entries of a list
Bytes = NDArray[np.uint8]


@cache
def board() -> Board:
    """A short chain that is labelled as the demo's board is."""
    quay = load_board("quay")
    made = chain(8, 1, "two-stage", pins=quay.pins, display=quay.display, pulls=quay.pulls)
    return replace(made, slots=SLOTS, buttons=quay.buttons)


@cache
def chip() -> WokenChip:
    return WokenChip(Setup(board(), {slot: load_design(name) for slot, name in SLOTS.items()}, {}))


@dataclass
class Standing:
    """What stands wrongly on the bench, and what whoever works at it does wrongly."""

    selector: int = 0  # switches of the selector that make no contact, by what they count
    swapped: set[str] = field(default_factory=set)  # two inputs whose leads are
    zero: set[str] = field(default_factory=set)  # inputs that are left at 0
    straps: set[str] = field(default_factory=set)  # switches that are not put back once the step clock is on
    restart: str = ""  # held, or never given
    clock_off: bool = False
    clips: list[int] = field(default_factory=lambda: list(range(8)))  # by channel the output that it is on
    late: dict[int, int] = field(default_factory=dict)  # by channel the steps by which it lags
    shorted: tuple[int, int] | None = None
    press: str = ""  # how the first press goes wrong: unseen, or bouncing
    entry: int = 0  # the one of a list that is written down wrong, from 1


# What is done


def _done(actions: Sequence[Action], wrong: Standing, restart: str) -> Iterator[Action]:
    """What is done at the bench by whoever means to do these actions."""
    presses = 0
    for action in actions:
        if isinstance(action, Press):
            presses += 1
        if presses == 1 and isinstance(action, Press | Release):
            yield from _pressed(action, wrong.press)
        elif isinstance(action, Repeat):
            yield Repeat(action.count, tuple(_done(action.actions, wrong, restart)))
        else:
            yield from _moved(action, wrong, restart)


def _pressed(action: Press | Release, how: str) -> Iterator[Action]:
    if how != "unseen":
        yield Press(action.line, bouncing=how == "bouncing") if isinstance(action, Press) else action


def _moved(action: Action, wrong: Standing, restart: str) -> Iterator[Action]:
    match action:
        case Select(slot):
            yield Select(slot & ~wrong.selector)
        case Strap(code):
            if wrong.straps:
                strapped = {line: code >> bit & 1 for bit, line in enumerate(INPUT_LINES)}
                yield from (Set(strapped), Enable())
                if back := {
                    line: 0 for line, level in strapped.items() if level and line not in wrong.straps
                }:
                    yield Set(back)
            elif not wrong.clock_off:
                yield action
        case Steps(count) if wrong.clock_off:
            yield Frames(FRAMES * count)
        case Restart(length) if wrong.restart == "never":
            yield Steps(length)
        case Restart(length) if wrong.restart == "held" or wrong.clock_off:
            yield from (Set({restart: 1}), Frames(FRAMES * length))
            if wrong.restart != "held":
                yield Set({restart: 0})
        case Set(levels):
            yield Set(
                {_lead(line, wrong): level * (line not in wrong.zero) for line, level in levels.items()}
            )
        case _:
            yield action


def _lead(line: str, wrong: Standing) -> str:
    return next(iter(wrong.swapped - {line})) if line in wrong.swapped else line


# What is recorded


@dataclass(frozen=True)
class Recorded:
    """What the pins showed after each frame from the moment on at which the slot was up, and which frames are steps."""

    pins: Bytes
    rises: NDArray[np.int64]
    step: float


def recorded(asking: Question, wrong: Standing) -> Recorded:
    """The whole chip, worked by that hand."""
    actions, up = asking.procedure.actions, asking.setting_up
    line = asking.sheet.restart.line if asking.sheet.restart else ""
    done = [tuple(_done(some, wrong, line)) for some in (actions[:up], (*actions[up:], Frames(MARGIN)))]
    slot = asking.slot or 0
    plan = timeline(
        board(), asking.sheet, Procedure("bench", (*done[0], *done[1])), slot=slot & ~wrong.selector
    )
    hand = Hand(board(), asking.sheet, slot & ~wrong.selector)
    hand.do(done[0])
    pins, lines = chip().pins_and_lines(plan, slot & ~wrong.selector, random.Random(SEED))
    rises = np.flatnonzero(np.diff((lines >> 7).astype(np.int8), prepend=0) == 1)
    rises = rises[rises >= hand.frame] - hand.frame
    step = float(np.median(np.diff(rises))) if len(rises) > 4 else 4.0
    return Recorded(_shown(pins[hand.frame :], wrong, round(step)), rises, step)


def _shown(pins: Bytes, wrong: Standing, step: int) -> Bytes:
    """What the channels show."""
    found = np.zeros_like(pins)
    if wrong.shorted:
        a, b = wrong.shorted
        both = (pins >> a & pins >> b & 1).astype(np.uint8)
        pins = (pins & np.uint8(0xFF & ~(1 << a | 1 << b))) | both << np.uint8(a) | both << np.uint8(b)
    for channel, output in enumerate(wrong.clips):
        level = pins >> output & 1
        late = wrong.late.get(channel, 0) * step
        level = np.concatenate([np.repeat(level[:1], late), level[: len(level) - late]])
        found |= level << np.uint8(channel)
    return found


def as_instrument(shown: Recorded, wrong: Standing) -> str:
    """A table of changes, by an instrument that is a little off."""
    del wrong
    rng = random.Random(SEED)
    rows = ["time_s," + ",".join(f"o{n}" for n in range(8))]
    hz = float(board().frame_hz) / RATE
    moved = np.flatnonzero(np.diff(shown.pins)) + 1
    last = 0.0
    for frame in [0, *moved.tolist(), len(shown.pins)]:
        value = int(shown.pins[min(frame, len(shown.pins) - 1)])
        last = max(frame + rng.uniform(-JITTER, JITTER) * shown.step, last) if frame else 0.0
        rows.append(f"{last / hz:.7f}," + ",".join(str(value >> n & 1) for n in range(8)))
    return "\n".join(rows) + "\n"


def as_list(shown: Recorded, wrong: Standing) -> str:
    """What an eye writes down at the end of each step, with a segment of one entry seen wrongly."""
    ends = shown.rises[: LISTED + 1][1:] - 1
    values = shown.pins[ends].tolist()
    if wrong.entry:
        values[wrong.entry - 1] ^= 0x10
    return "step,outputs\n" + "".join(f"{n},{value:08b}\n" for n, value in enumerate(values, 1))


# What is said, and done because of it


def _lines(said: str) -> set[str]:
    return set(re.findall(r"i[0-7]", said))


def _contact(wrong: Standing, said: re.Match[str]) -> None:
    for number in re.findall(r"[0-9]+", said[1]):
        wrong.selector &= ~int(number)


def _put_back(wrong: Standing, said: re.Match[str]) -> None:
    wrong.straps -= _lines(said[1])


def _set_high(wrong: Standing, said: re.Match[str]) -> None:
    wrong.zero -= _lines(said[1])


def _change_over(wrong: Standing, said: re.Match[str]) -> None:
    wrong.swapped ^= _lines(said[1])


def _let_go(wrong: Standing, said: re.Match[str]) -> None:
    if wrong.restart == "held" and said[1] == "i6 to 0":
        wrong.restart = ""


def _give(wrong: Standing, said: re.Match[str]) -> None:
    if wrong.restart == "never" and said[1] == "i6":
        wrong.restart = ""


def _switch_on(wrong: Standing, said: re.Match[str]) -> None:
    wrong.clock_off &= int(said[1]) != STRAP


def _turn(wrong: Standing, said: re.Match[str]) -> None:
    del said
    wrong.clips.reverse()


def _take_out(wrong: Standing, said: re.Match[str]) -> None:
    wrong.late.pop(int(said[1]), None)


def _hold_longer(wrong: Standing, said: re.Match[str]) -> None:
    del said
    wrong.press = wrong.press.replace("unseen", "")


def _press_briskly(wrong: Standing, said: re.Match[str]) -> None:
    del said
    wrong.press = wrong.press.replace("bouncing", "")


def _look_again(wrong: Standing, said: re.Match[str]) -> None:
    if wrong.entry in range(int(said[1]), int(said[2] or said[1]) + 1):
        wrong.entry = 0


def _find_bridge(wrong: Standing, said: re.Match[str]) -> None:
    if wrong.shorted == (int(said[1]), int(said[2])):
        wrong.shorted = None


#: The words of a remedy, and what whoever reads them does.
WORDS: Mapping[str, Callable[[Standing, re.Match[str]], None]] = {
    r"Move the selector switch(?:es)? that counts? ([0-9 and]+) to and fro": _contact,
    r"put the switch(?:es)? of ([^;]*) to 0; then restart": _put_back,
    r"Bring the slot up again, and set ([^.]*) to 1 before you restart it": _set_high,
    r"Change the leads of (i[0-7] and i[0-7]) over": _change_over,
    r"Let restart go: take (i[0-7] to [01])": _let_go,
    r"Restart it: take (i[0-7]) to 1, wait some steps, and take it back to 0": _give,
    r"Set strap code ([0-9]+) and switch the step clock on, put the input switches back, and restart": _switch_on,
    r"Switch the step clock off, set strap code ([0-9]+) switch by switch, and switch it on again": _switch_on,
    r"Turn the clip round": _turn,
    r"Look for a filter or a delay in the channel of o([0-7]), and take it out": _take_out,
    r"hold the button down for longer than a step": _hold_longer,
    r"Run it again and press briskly": _press_briskly,
    r"Look at entr(?:y|ies) ([0-9]+)(?: to ([0-9]+))? again": _look_again,
    r"look for a bridge between o([0-7]) and o([0-7])": _find_bridge,
}


def obey(wrong: Standing, remedy: str) -> bool:
    """Do what the remedy says; whether it says anything that can be done."""
    found = False
    for words, do in WORDS.items():
        for said in re.finditer(words, remedy):
            found = True
            do(wrong, said)
    return found


@dataclass(frozen=True)
class Situation:
    """What is asked for, and what stands wrongly."""

    name: str
    design: str
    wrong: Callable[[], Standing]
    do: tuple[str, ...] = ("restart", "steps 300")
    levels: tuple[str, ...] = ()
    strap: int = STRAP
    by_eye: bool = False
    rounds: int = 1


COUNTED = (
    "restart",
    "steps 10",
    *("set i0=1", "steps 12", "set i1=1", "steps 14", "set i0=0", "steps 12", "set i1=0", "steps 16") * 3,
    *("set i1=1", "steps 12", "set i0=1", "steps 10", "set i1=0", "steps 12", "set i0=0", "steps 16"),
)
PRESSED = (
    "restart",
    "steps 20",
    *("press i0", "steps 7", "release i0", "steps 25") * 2,
    "steps 40",
)
SITUATIONS = (
    Situation("wrong selector switch", "lamp_dimmer", lambda: Standing(selector=4)),
    Situation("strap not put back", "travelling_wave", lambda: Standing(straps={"i0", "i1"})),
    Situation(
        "input left at zero", "travelling_wave", lambda: Standing(zero={"i0", "i1"}), levels=("i1=1", "i0=1")
    ),
    Situation("inputs swapped", "bridge_counter", lambda: Standing(swapped={"i0", "i1"}), COUNTED),
    Situation("restart held", "weather_report", lambda: Standing(restart="held")),
    Situation("restart never given", "travelling_wave", lambda: Standing(restart="never"), levels=("i0=1",)),
    Situation("step clock off", "tide_gauge", lambda: Standing(clock_off=True), rounds=2),
    Situation("clip turned round", "tide_gauge", lambda: Standing(clips=list(range(7, -1, -1)))),
    Situation("a channel late", "travelling_wave", lambda: Standing(late={3: 1}), levels=("i0=1",)),
    Situation("a press not seen", "tide_gauge", lambda: Standing(press="unseen"), PRESSED),
    Situation("a button bounced", "tide_gauge", lambda: Standing(press="bouncing"), PRESSED, strap=0),
    Situation("an entry written wrong", "tide_gauge", lambda: Standing(entry=9), by_eye=True),
    Situation("outputs shorted", "tide_gauge", lambda: Standing(shorted=(2, 3))),
)


@dataclass(frozen=True)
class Told:
    """What `check` said: its exit code and its text, and of that the remedies of the likeliest causes, in order."""

    code: int
    text: str

    @property
    def remedies(self) -> list[str]:
        found = re.search(r"^Likely cause: .*\n((?:  .*\n)+)", self.text, re.MULTILINE)
        return [line.strip() for line in found[1].splitlines()] if found else []


def told(one: Situation, wrong: Standing, folder: Path) -> Told:
    """What `check` says of a recording of what was meant, with the bench as it stands."""
    profile, plan, capture = folder / "small.toml", folder / "run.toml", folder / "bench.csv"
    write_board(board(), profile)
    do = ", ".join(f'"{action}"' for action in one.do)
    plan.write_text(f'name = "{one.name}"\ndo = [{do}]\n')
    slot = next(slot for slot, name in SLOTS.items() if name == one.design)
    levels = {line: int(level) for line, level in (said.split("=") for said in one.levels)}
    asked = Asked(str(slot), str(profile), one.strap, None, levels, None, plan, None, 0)
    shown = recorded(question(asked), wrong)
    capture.write_text((as_list if one.by_eye else as_instrument)(shown, wrong))
    command = ["check", str(slot), str(capture), "--board", str(profile), "--strap", str(one.strap)]
    command += ["--procedure", str(plan), *(word for said in one.levels for word in ("--set", said))]
    answer = CliRunner(env={"COLUMNS": "100000"}).invoke(cli, command)
    return Told(answer.exit_code, answer.stdout.replace(str(folder) + "/", ""))


def played(one: Situation, folder: Path) -> list[tuple[str, Told]]:
    """What was said at first; and each of its remedies that was obeyed, one after the other until it agreed, with what
    was said after that. Raises AssertionError for words that nobody can follow."""
    wrong = one.wrong()
    found = [("", told(one, wrong, folder))]
    for remedy in found[0][1].remedies:
        if not obey(wrong, remedy):
            raise AssertionError(f"{one.name}: nobody can follow: {remedy}")
        found.append((remedy, told(one, wrong, folder)))
        if found[-1][1].code == 0:
            break
    return found


def main() -> None:
    print("seed", SEED)
    for one in SITUATIONS:
        if sys.argv[1:] and not any(name in one.name for name in sys.argv[1:]):
            continue
        with TemporaryDirectory() as folder:
            said = played(one, Path(folder))
        print(f"\n=== {one.name}")
        for remedy, after in said:
            print(f"--- done: {remedy}" if remedy else "--- at first")
            for line in after.text.splitlines():
                print(textwrap.fill(line, 100, subsequent_indent="    "))


if __name__ == "__main__":
    main()
