"""`forelight vet` and `forelight draft`: is a contribution ready, and a folder to start one from."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from pathlib import Path

from forelight.designs.catalogue import load_design, names
from forelight.designs.sheets.reader import load
from forelight.designs.sources.trust import trust
from forelight.sim.errors import UsageError
from rich.text import Text

from ..asking.settled import settles
from ..boards.profile import Board
from ..boards.reader import load_board
from ..boards.roster import find
from ..coverage.words import brief, share
from ..limits import stage
from ..terminal.cores import for_each
from ..terminal.output import emit_json, progress, show
from ..vet.draft import draft
from ..vet.tried import RunsTried, tried
from ..vet.vetting import Vetting, vet

ACCEPTED, NOT_YET = 0, 1


def run(
    folder: str | None, everything: bool, board_name: str, power_ups: int, seed: int, as_json: bool
) -> int:
    """Vet one folder, or the whole catalogue."""
    if everything and folder is not None:
        raise UsageError("a folder and --all contradict each other", remedy="give one of them")
    if everything:
        work = partial(_one, board_name=board_name, power_ups=power_ups, seed=seed)
        vettings = list(for_each(work, names(), "Vetting"))
    elif folder is None:
        raise UsageError(
            "no folder was named", remedy="give a contribution's folder, or --all for the catalogue"
        )
    else:
        vettings = [_one(folder, board_name, power_ups, seed)]
    tries = [None] * len(vettings) if everything else [_tried(vettings[0], folder or "", board_name, seed)]
    if as_json:
        answers = [
            {**answer(found), "coverage": _proves(one)} for found, one in zip(vettings, tries, strict=True)
        ]
        emit_json(answers if everything else answers[0])
    else:
        for found, one in zip(vettings, tries, strict=True):
            show(*paragraphs(found, one, brief=everything))
        if everything:
            ready = sum(found.accepted for found in vettings)
            show(f"{ready} of {len(vettings)} designs accepted.")
    return ACCEPTED if all(found.accepted for found in vettings) else NOT_YET


def _tried(found: Vetting, folder: str, board_name: str, seed: int) -> RunsTried | None:
    """How much its runs try; None where none was carried out."""
    if not found.carried:
        return None
    board = load_board(board_name)
    doing = f"trying faults of {found.name}"
    with progress(doing.capitalize()) as advance, stage(doing):
        return tried(load(_folder(folder, board)), board, found.carried, seed, advance)


def _proves(one: RunsTried | None) -> dict[str, object] | None:
    if one is None:
        return None
    return {
        "why_not": one.why,
        "runs": [{"run": name, **found.to_json()} for name, found in one.runs.items()],
        "together": one.together.to_json() if one.together else None,
    }


def _one(name: str, board_name: str, power_ups: int, seed: int) -> Vetting:
    board = load_board(board_name)
    return vet(_folder(name, board), board, power_ups, seed)


def _folder(name: str, board: Board) -> Path:
    """The folder of a contribution: its path, a design of the catalogue, or what sits in a slot."""
    if name in names():
        return load_design(name).folder
    path = Path(name)
    mine = path.is_dir() or (path.exists() and not name.isdecimal())
    return path if mine else find(board, name).datasheet.folder


def paragraphs(found: Vetting, one: RunsTried | None = None, *, brief: bool = False) -> list[Text]:
    """What must be put right, then what is worth knowing, when it settles, how much its runs try, then the verdict."""
    head = Text(found.title, style="bold")
    if found.title != found.name:
        head.append(f", {found.name}", style="not bold")
    must = [str(finding) for finding in found.findings if finding.must]
    known = [str(finding) for finding in found.findings if not finding.must]
    out = [] if brief and not found.findings else [head]
    for title, sentences in (("To put right:", must), ("To know:", known)):
        if sentences:
            ends = ("" if sentence.endswith("?") else "." for sentence in sentences)
            out += [
                Text(title),
                *(Text(f"  {sentence}{end}") for sentence, end in zip(sentences, ends, strict=True)),
            ]
    if not brief:
        out += [Text(sentence) for sentence in _settles(found)]
        out += map(Text, _tries(one) if one else ())
        out.append(Text(verdict(found)))
    elif out:
        out.append(Text())
    return out


def _tries(one: RunsTried) -> Iterator[str]:
    """How much its runs try."""
    if one.together is None:
        yield f"How many faults its runs would reveal cannot be said: {one.why}."
        return
    names = [f'"{name}"' for name in one.runs]
    yield from brief(
        one.together, f"Its run {names[0]}" if len(names) == 1 else f"Its {len(names)} runs together"
    )
    if len(names) > 1:
        alone = (f"{name} {share(found)}" for name, found in zip(names, one.runs.values(), strict=True))
        yield f"Each by itself: {', '.join(alone)}."


def _settles(found: Vetting) -> Iterator[str]:
    """When it settles, where no finding speaks of that."""
    if any(finding.subject == "restart" for finding in found.findings):
        return
    if found.restarting is not None:
        yield str(found.restarting)
    elif found.look is not None:
        yield from settles(found.look.golden, found.look.settling, None)


def verdict(found: Vetting) -> str:
    """In one sentence."""
    must = sum(finding.must for finding in found.findings)
    if must:
        return f"Not accepted yet: {must} thing{'s' if must > 1 else ''} to put right."
    return "Accepted."


def answer(found: Vetting) -> dict[str, object]:
    return {
        "name": found.name,
        "title": found.title,
        "accepted": found.accepted,
        "findings": [vars(finding) for finding in found.findings],
        "settling": None if found.look is None else vars(found.look.settling),
        "restarting": None if found.restarting is None else found.restarting.answer(),
    }


def start(name: str, language: str, parent: Path, as_json: bool) -> int:
    """Make a folder to start from."""
    folder = draft(name, language, parent)
    if as_json:
        emit_json({"folder": str(folder), "files": sorted(path.name for path in folder.iterdir())})
        return 0
    files = " and ".join(sorted(path.name for path in folder.iterdir()))
    consent = " --trust" if language == "amaranth" and not trust().sandbox else ""
    show(
        f"{folder} holds {files}. It counts the steps as it is: make it yours.",
        "Write where it says FILL IN, then ask what is still missing:",
        f"  forelight vet {folder}{consent}",
        "And look at it:",
        f"  forelight show {folder}{consent}",
    )
    return 0
