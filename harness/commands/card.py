"""`forelight card`: how to bring a slot up, switch by switch, on paper; with --all the booklet of the chip."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING

from forelight.sim.errors import UsageError
from forelight.sim.files import write_whole

from ..asking.question import Asked, Question, question
from ..boards.reader import load_board
from ..boards.roster import find
from ..card.compose import Occasion, compose
from ..card.leaf import Card, Sentences, Shots, Switches, Task, Tasks
from ..card.plain import lines
from ..golden.golden import Golden
from ..terminal.cores import for_each
from ..terminal.output import console, emit, emit_json, emit_words, show
from ..view.display import glyphs_for

if TYPE_CHECKING:
    from ..survey.keeping import Entry

ENDINGS = (".html", ".md")


def run(asked: Asked, output: Path | None, as_json: bool, entry: Entry | None = None) -> int:
    """One card, which is written down in a notebook if `entry` says so."""
    _check(output)
    if entry:
        entry.ready(output)
    asked, asking = usual(asked)
    golden = asking.golden()
    made = composed(asked, asking, golden)
    written = {}
    if entry:
        from . import noting

        told = noting.Reply("card", {"run": made.run, "file": None if output is None else output.name})
        written = {"survey": noting.note(entry, asked, asking, golden, told)}
    if output is not None:
        write_whole(output, _writer(output).page(made))
    if as_json:
        emit_json(answer(made) | {"file": None if output is None else str(output)} | written)
    elif output is None:
        show(*lines(made, console().width, glyphs_for(sys.stdout.encoding)))
    else:
        emit_words(f"Wrote {output}: the card of {made.title}, {made.where}.")
    if entry and not as_json:
        from . import noting

        emit_words(noting.said(entry))
    return 0


def run_all(asked: Asked, output: Path | None, as_json: bool) -> int:
    """The booklet of a board, made over all cores."""
    _check(output)
    board = load_board(asked.board)
    slots = sorted(board.slots)
    if not slots:
        raise UsageError(f"{board.name} holds no design", remedy="fill its roster, or name another board")
    cards = list(for_each(card, [replace(asked, slot=str(slot)) for slot in slots], "Cards"))
    if output is not None:
        write_whole(output, _writer(output).booklet(board.title, cards, by_kind(cards)))
    if as_json:
        emit_json(
            {
                "board": board.name,
                "cards": [answer(made) for made in cards],
                "file": None if output is None else str(output),
            }
        )
    elif output is None:
        for made in cards:
            show(*lines(made, console().width, glyphs_for(sys.stdout.encoding)))
            emit("\n")
    else:
        emit_words(f"Wrote {output}: the cards of the {len(cards)} slots of {board.name} that hold a design.")
    return 0


def _check(output: Path | None) -> None:
    if output is not None and output.suffix not in ENDINGS:
        raise UsageError(
            f"the ending '{output.suffix}' is not that of a card",
            place=str(output),
            remedy=f"allowed: {', '.join(ENDINGS)}; without -o it is printed here",
        )


def _writer(output: Path) -> ModuleType:
    """What writes a file of this ending; it takes long to load."""
    if output.suffix == ".html":
        from ..card import page

        return page
    from ..card import markdown

    return markdown


def card(asked: Asked) -> Card:
    """The card of the slot under what was asked."""
    asked, asking = usual(asked)
    return composed(asked, asking, asking.golden())


def usual(asked: Asked) -> tuple[Asked, Question]:
    """What is asked: the same, but under the first run of the datasheet where nothing was said."""
    board = load_board(asked.board)
    found = find(board, asked.slot)
    runs, said = found.datasheet.runs, (asked.run_name, asked.procedure, asked.play, asked.seconds)
    if runs and all(one is None for one in said):
        asked = replace(asked, run_name=runs[0].name)
    return asked, question(asked, board, found=found)


def composed(asked: Asked, asking: Question, golden: Golden) -> Card:
    """The card from the answer."""
    told = (
        (*asking.procedure.actions[: asking.added], *asking.told) if asking.told else asking.procedure.actions
    )
    return compose(
        Occasion(
            asking.board,
            asking.seat,
            asking.slot,
            asking.procedure,
            told,
            asking.setting_up,
            golden,
            asking.restarting(),
            _options(asked),
        )
    )


def _options(asked: Asked) -> str:
    """The options that ask for the same procedure."""
    said = [f"--board {shlex.quote(asked.board)}"] if asked.board != "quay" else []
    said += [f"--run {_quoted(asked.run_name)}"] if asked.run_name else []
    said += [f"--procedure {shlex.quote(str(asked.procedure))}"] if asked.procedure else []
    said += [f"--play {shlex.quote(str(asked.play))}"] if asked.play else []
    said += [f"--strap {asked.strap}"] if asked.strap is not None else []
    said += [f"--hz {asked.hz:g}"] if asked.hz is not None else []
    said += [f"--set {line}={level}" for line, level in asked.levels.items()]
    return "".join(f" {option}" for option in said)


def _quoted(name: str) -> str:
    return f'"{name}"' if name.replace(" ", "").isalnum() else shlex.quote(name)


def by_kind(cards: Sequence[Card]) -> list[tuple[str, list[Card]]]:
    """Which cards are of which kind, the kinds in alphabetical order."""
    kinds = sorted({kind for made in cards for kind in made.kinds})
    return [(kind, [made for made in cards if kind in made.kinds]) for kind in kinds]


def answer(made: Card) -> dict[str, object]:
    """The card for scripts: what stands under each heading."""
    parts: dict[str, object] = {}
    for part in made.parts:
        found: dict[str, object] = {}
        for block in part.blocks:
            match block:
                case Sentences(said):
                    found.setdefault("sentences", []).extend(said)  # type: ignore[attr-defined]
                case Tasks(tasks):
                    found["tasks"] = [_plain(task) for task in tasks]
                case Switches(switches):
                    found["settings"] = [
                        vars(switch) | {"contact": switch.contact(switch.then) or None} for switch in switches
                    ]
                case Shots(shots):
                    found["pictures"] = [
                        {"words": list(shot.words), "brightness": list(shot.picture.lamps)} for shot in shots
                    ]
                case _:
                    pass
        parts[part.heading.lower()] = found
    head = {key: getattr(made, key) for key in ("name", "slot", "title", "creator", "description", "run")}
    return head | {"kinds": list(made.kinds)} | made.facts | {"headings": parts}


def _plain(task: Task) -> dict[str, object]:
    return {
        "item": task.number,
        "sentence": task.sentence,
        "tasks": [_plain(inner) for inner in task.inner],
    }
