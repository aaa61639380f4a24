"""Slips of the hand: selector, switches, straps left, restart, buttons, steps miscounted."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from functools import partial
from itertools import combinations

from forelight.designs.datasheet import INPUT_LINES
from forelight.designs.procedures.procedure import (
    Action,
    Enable,
    Press,
    Pulse,
    Release,
    Repeat,
    Restart,
    Select,
    Set,
    Steps,
    Strap,
)
from forelight.sim.frozen import frozen
from forelight.sim.plain_text import listed

from ...capture.record import Capture
from ...chip.routing import restart_input, routing
from ...hand.leads import Lead, other_leads
from .mishap import Change, Edit, Handling, Mishap, throughout

#: A repeat of more rounds is changed in all of them alone.
ROUNDS = 64


def causes(it: Handling, capture: Capture) -> Iterator[Mishap]:
    """All slips of the hand that this handling allows."""
    del capture
    yield from _selector(it)
    yield from _contacts(it)
    yield from _switches(it)
    yield from _moves(it)
    if it.sheet.restart is not None:
        yield from _restart(it)
    yield from _buttons(it)


# The selector


def _selector(it: Handling) -> Iterator[Mishap]:
    bits = range((it.board.slot_count - 1).bit_length())
    if not any(isinstance(action, Select) for action in it.before) and it.slot not in it.board.slots:
        return
    for count, kind in ((1, "selector, one switch"), (2, "selector, two switches")):
        for chosen in combinations(bits, count):
            other = it.slot ^ sum(1 << bit for bit in chosen)
            if other < it.board.slot_count:
                values = " and ".join(str(1 << bit) for bit in chosen)
                many = "switches that count" if count > 1 else "switch that counts"
                yield Mishap(
                    kind,
                    f"slot {other} selected",
                    f"Slot {other} was selected and not slot {it.slot}: the selector {many} {values} made no contact, "
                    "or stood the other way.",
                    f"Move the selector {many} {values} to and fro, and select slot {it.slot} again.",
                    _selected(other),
                )


def _selected(slot: int) -> Change:
    def other(action: Action) -> Iterable[Action]:
        return (Select(slot),) if isinstance(action, Select) else (action,)

    return lambda it: replace(throughout(other)(it), slot=slot)


# Switches


def _contacts(it: Handling) -> Iterator[Mishap]:
    for count, kind in ((1, "switch without contact"), (2, "two switches without contact")):
        for chosen in combinations(range(8), count):
            lines = " and ".join(INPUT_LINES[bit] for bit in chosen)
            gone = sum(1 << bit for bit in chosen)
            verb = "does" if count == 1 else "do"
            yield Mishap(
                kind,
                f"no contact at {lines}",
                f"The switch{'es' * (count > 1)} of {lines} {verb} not make contact.",
                f"Move the switch{'es' * (count > 1)} of {lines} to and fro a few times and begin again; or measure "
                f"the pin{'s' * (count > 1)} while you move {'it' if count == 1 else 'them'}.",
                lambda it, gone=gone: replace(it, contacts=it.contacts & ~gone),  # type: ignore[misc]
            )


def _switches(it: Handling) -> Iterator[Mishap]:
    special = {line for line in (_line(it.sheet.step), _line(it.sheet.restart)) if line}
    free = [line for line in INPUT_LINES if line not in special]
    for line in free:
        yield Mishap(
            "switch set the other way",
            f"{line} the other way",
            f"The switch of {line} stood the other way all the time.",
            f"Set {line} as the procedure says, and run it again.",
            throughout(_flipped(line)),
        )
    meant = _brought_up(it)
    if high := [line for line in free if meant.get(line)]:
        yield Mishap(
            "inputs left at zero",
            "inputs left at 0",
            "The inputs were left at 0 when the slot was brought up.",
            f"Bring the slot up again, and set {listed(high)} to 1 before you restart it.",
            lambda it: replace(it, before=throughout(_zeroed(free))(it).before),
        )
    code = next((action.code for action in it.before if isinstance(action, Strap)), None)
    if it.board.strapped and code is not None:
        yield Mishap(
            "straps not put back",
            "straps not put back",
            "The input switches still stood at the strap code: they were not put back once the step clock was on.",
            f"Once the step clock is on, {_put_back(code, meant)}; then restart.",
            throughout(_left),
        )


def _brought_up(it: Handling) -> dict[str, int]:
    """The levels of the inputs with which the slot is brought up."""
    found: dict[str, int] = {}
    for action in it.before:
        found |= action.levels if isinstance(action, Set) else {}
    return found


def _put_back(code: int, meant: Mapping[str, int]) -> str:
    """The switches that stand otherwise for the strap code than they should after that, and where to."""
    moved = {
        line: meant.get(line, 0)
        for bit, line in enumerate(INPUT_LINES)
        if meant.get(line, 0) != code >> bit & 1
    }
    said = [
        f"{listed(lines)} to {level}"
        for level in (0, 1)
        if (lines := [n for n, to in moved.items() if to == level])
    ]
    return (
        f"put the switch{'es' * (len(moved) != 1)} of {' and '.join(said)}" if said else "leave the switches"
    )


def _line(said: object) -> str | None:
    return getattr(said, "line", None)


def _flipped(line: str) -> Edit:
    def edit(action: Action) -> Iterable[Action]:
        if isinstance(action, Set) and line in action.levels:
            return (Set({**action.levels, line: 1 - action.levels[line]}),)
        return (action,)

    return edit


def _zeroed(lines: list[str]) -> Edit:
    def edit(action: Action) -> Iterable[Action]:
        if isinstance(action, Set):
            return (Set({line: 0 if line in lines else level for line, level in action.levels.items()}),)
        return (action,)

    return edit


def _left(action: Action) -> Iterable[Action]:
    if isinstance(action, Strap):
        return Set({line: action.code >> bit & 1 for bit, line in enumerate(INPUT_LINES)}), Enable()
    return (action,)


# Moves that were not made


def _moves(it: Handling) -> Iterator[Mishap]:
    for spot in _spots(it.then):
        action, words = spot.action, spot.words
        if isinstance(action, Set):
            said = " ".join(f"{line}={level}" for line, level in sorted(action.levels.items()))
            yield Mishap(
                "switch not moved",
                f"move {words} ({said}) left out",
                f"One move was left out: {said}, action {words} after the restart.",
                "Run it again, and tick off each action of the procedure as you make it.",
                spot.put(),
            )
        if isinstance(action, Pulse):
            for more, word in ((1, "one too many"), (-1, "one too few")):
                made = action.count + more
                if made:
                    yield Mishap(
                        "steps miscounted",
                        f"steps of {words}, {word}",
                        f"Steps by hand were miscounted, {word}: {made} and not {action.count}, in action "
                        f"{words} after the restart.",
                        "Run it again, and count the steps aloud.",
                        spot.put(replace(action, count=made)),
                    )


@frozen
class Spot:
    """An action after the restart: `path` leads to it in what `opened` makes of the actions.

    One that is repeated is one spot in all rounds, and one in each.
    """

    path: tuple[int, ...]
    action: Action
    words: str
    opened: Callable[[tuple[Action, ...]], tuple[Action, ...]]

    def put(self, *new: Action) -> Change:
        """These actions in its place."""
        return lambda it: replace(it, then=_put(self.opened(it.then), self.path, new))


def _spots(actions: tuple[Action, ...]) -> Iterator[Spot]:
    for path, action in _with_paths(actions):
        yield Spot(path, action, _words(path), tuple)
    for at, repeat in enumerate(actions):
        if isinstance(repeat, Repeat) and 1 < repeat.count <= ROUNDS:
            for number in range(repeat.count):
                first = at + (number > 0)
                for path, action in _with_paths(repeat.actions):
                    words = f"{_words((at, *path))} (round {number + 1} of {repeat.count})"
                    opened = partial(_opened, at=at, number=number)
                    yield Spot((first + path[0], *path[1:]), action, words, opened)


def _opened(actions: tuple[Action, ...], at: int, number: int) -> tuple[Action, ...]:
    """The same actions, with this round of the repeat that stands there written out."""
    repeat = actions[at]
    assert isinstance(repeat, Repeat)
    before, after = number, repeat.count - number - 1
    return (
        *actions[:at],
        *([Repeat(before, repeat.actions)] if before else []),
        *repeat.actions,
        *([Repeat(after, repeat.actions)] if after else []),
        *actions[at + 1 :],
    )


def _with_paths(
    actions: tuple[Action, ...], before: tuple[int, ...] = ()
) -> Iterator[tuple[tuple[int, ...], Action]]:
    """The actions of the second part, with the number of each, and of the repeats that it stands in."""
    for number, action in enumerate(actions):
        if isinstance(action, Repeat):
            yield from _with_paths(action.actions, (*before, number))
        else:
            yield (*before, number), action


def _words(path: tuple[int, ...]) -> str:
    return ".".join(str(number + 1) for number in path)


def _put(actions: tuple[Action, ...], path: tuple[int, ...], new: tuple[Action, ...]) -> tuple[Action, ...]:
    at, inner = path[0], path[1:]
    if inner:
        old = actions[at]
        assert isinstance(old, Repeat)
        within = _put(old.actions, inner, new)
        new = (Repeat(old.count, within),) if within else ()
    return (*actions[:at], *new, *actions[at + 1 :])


# Restart


def _restart(it: Handling) -> Iterator[Mishap]:
    index = restart_input(it.sheet)
    restart = it.sheet.restart
    assert index is not None and restart is not None
    pin = routing(it.board, it.sheet)[index]
    active = int(restart.active == "high")
    level = "1" if active else "0"
    name = restart.line if restart.line != "own" else "the restart line"
    yield Mishap(
        "restart never given",
        "restart never given",
        "The design was never restarted.",
        f"Restart it: take {name} to {level}, wait some steps, and take it back to {1 - active}.",
        _never_given,
    )
    if pin >= 8:
        held: Change = lambda it: replace(it, leads=other_leads(it.leads, {pin: Lead(pin, level=active)}))  # noqa: E731
        wrong: Change = lambda it: replace(it, leads=other_leads(it.leads, {pin: Lead(pin, inverted=True)}))  # noqa: E731
    else:
        held, wrong = throughout(_held(INPUT_LINES[pin], active)), _polarity(INPUT_LINES[pin], active)
    yield Mishap(
        "restart held",
        "restart held",
        f"Restart was held: {name} stayed at {level}.",
        f"Let restart go: take {name} to {1 - active}, and look again.",
        held,
    )
    yield Mishap(
        "restart of the wrong polarity",
        "restart of the wrong polarity",
        f"Restart was given the wrong way round: {name} rested at {level}, the level that restarts the design.",
        f"Let {name} rest at {1 - active}; to restart, take it to {level}, wait some steps, and take it back.",
        wrong,
    )
    for line in INPUT_LINES[:pin]:
        if line not in (restart.line, _line(it.sheet.step)):
            yield Mishap(
                "restart on another line",
                f"restart on {line}",
                f"The wrong line was moved for the restart: {line} and not {name}.",
                f"Leave {line} as it should stand, and give the restart on {name}.",
                throughout(_elsewhere(line, active)),
            )


def _never_given(it: Handling) -> Handling:
    """As much time passes; where nothing steps the design, none."""
    clocked = any(isinstance(action, Strap | Enable) for action in it.before)
    return throughout(_waited if clocked else _skipped)(it)


def _skipped(action: Action) -> Iterable[Action]:
    return () if isinstance(action, Restart) else (action,)


def _waited(action: Action) -> Iterable[Action]:
    return (Steps(action.length),) if isinstance(action, Restart) else (action,)


def _held(line: str, active: int) -> Edit:
    def edit(action: Action) -> Iterable[Action]:
        if isinstance(action, Restart):
            return (Set({line: active}),)
        if isinstance(action, Set) and line in action.levels:
            return (Set({**action.levels, line: active}),)
        return (action,)

    return edit


def _polarity(line: str, active: int) -> Change:
    """At rest the line is active, and for the restart it is not."""

    def change(it: Handling) -> Handling:
        restart = it.sheet.restart
        assert restart is not None
        sheet = replace(it.sheet, restart=replace(restart, active="low" if active else "high"))
        return throughout(_flipped(line))(replace(it, sheet=sheet))

    return change


def _elsewhere(line: str, active: int) -> Edit:
    def edit(action: Action) -> Iterable[Action]:
        if isinstance(action, Restart):
            return Set({line: active}), Steps(1), Set({line: 1 - active})
        return (action,)

    return edit


# Buttons


def _buttons(it: Handling) -> Iterator[Mishap]:
    for spot in _spots(it.then):
        action = spot.action
        if not isinstance(action, Press):
            continue
        label = it.board.buttons.get(action.line, action.line)
        button = f"button {label}" if label == action.line else f"button {label} ({action.line})"
        if not action.bouncing:
            yield Mishap(
                "button bounced",
                f"bounce {spot.words}",
                f"The {button} bounced, action {spot.words} after the restart: one press counted as several.",
                f"Run it again and press briskly; if it bounces again, use the switch of {action.line}.",
                spot.put(Press(action.line, bouncing=True)),
            )
        yield Mishap(
            "press not seen",
            f"press {spot.words} not seen",
            f"A press of the {button} was not seen, action {spot.words} after the restart: perhaps it was too short.",
            "Run it again, and hold the button down for longer than a step.",
            _unpressed(spot, action.line),
        )


def _unpressed(spot: Spot, line: str) -> Change:
    """Neither pressed there nor let go after it."""

    def change(it: Handling) -> Handling:
        then = spot.opened(it.then)
        after = (path for path, its in _with_paths(then) if isinstance(its, Release) and its.line == line)
        let_go = next((path for path in after if path > spot.path), None)
        then = _put(then, let_go, ()) if let_go else then
        return replace(it, then=_put(then, spot.path, ()))

    return change
