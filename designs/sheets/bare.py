"""A source without a datasheet: lines as the board suggests, and a sentence for everything assumed."""

from __future__ import annotations

from pathlib import Path

from forelight.sim.errors import SourceError

from ..datasheet import DATASHEET_FILE, FORMATS, Datasheet, RestartLine, StepLine
from ..toml_file import quoted


def bare(path: Path, top: str | None, board_step: str | None, board_restart: str | None) -> Datasheet:
    """A source without a datasheet: lines as the board suggests, and a sentence for everything assumed."""
    if path.suffix not in FORMATS:
        raise SourceError(
            f"the ending {quoted(path.suffix)} is not that of a source",
            place=str(path),
            remedy=f"allowed: {', '.join(FORMATS)}, or a folder with a {DATASHEET_FILE}",
        )
    if not path.is_file():
        raise SourceError(
            "no such file", place=str(path), remedy="give the path of a source or of a contribution"
        )
    step, restart = _free_lines(board_step, board_restart)
    assumed = ["ports: inputs and outputs, eight bits each, bit 0 is line 0"]
    for role, line, suggested in (("step", step, board_step), ("restart", restart, board_restart)):
        reason = (
            f"which the board's own {role} line drives" if suggested == "own" else "as the board suggests"
        )
        active = ", active high" if role == "restart" else ""
        assumed.append(f"{role} line: {line}, {reason}{active}" if line else f"{role} line: none")
    assumed.append("all other inputs: 0 at rest")
    if not top:
        assumed.append("top: the only one in the source that no other uses")
    return Datasheet(
        name=path.stem,
        folder=path.parent,
        title=path.stem,
        sources=(path.name,),
        top=top,
        format=FORMATS[path.suffix],
        step=StepLine(step) if step else None,
        restart=RestartLine(restart) if restart else None,
        assumed=tuple(assumed),
    )


def _free_lines(step: str | None, restart: str | None) -> tuple[str | None, str | None]:
    """Input lines for both: a source with the ports `inputs` and `outputs` has no port for a line of its own."""
    if step == "own":
        step = "i6" if restart == "i7" else "i7"
    if restart == "own":
        restart = "i7" if step == "i6" else "i6"
    return step, restart
