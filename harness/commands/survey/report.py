"""`forelight survey report`: what works, what does not, and why, as Markdown, HTML, CSV or JSON."""

from __future__ import annotations

import json
from pathlib import Path

from forelight.sim.errors import ForelightError, UsageError
from forelight.sim.files import write_whole

from ...survey.findings import Findings, gathered
from ...survey.notebook import Notebook, reading
from ...survey.report import markdown, page
from ...survey.report.tables import plain, to_csv
from ...terminal.output import emit, emit_json, emit_words
from .places import board_at

ENDINGS = (".md", ".html", ".csv", ".json")


def run(path: Path, output: Path | None, board: str | None, names: bool, as_json: bool) -> int:
    """Write the report, or print it as Markdown."""
    if output is not None and output.suffix not in ENDINGS:
        raise UsageError(
            f"the ending '{output.suffix}' is not that of a report",
            place=str(output),
            remedy=f"allowed: {', '.join(ENDINGS)}; without -o it is printed here as Markdown",
        )
    if output is not None and output.resolve() == path.resolve():
        raise UsageError("this is the notebook itself", place=str(output), remedy="name another file")
    with reading(path) as notebook:
        found = gathered(notebook, board)
        if len(found) != 1:
            which = "nothing has been tried yet" if not found else f"it is about {len(found)} boards"
            raise UsageError(which, place=str(path), remedy="name a board that was tried with --board")
        text = _text(notebook, found[0], output.suffix if output else ".md", names)
    if output is not None:
        write_whole(output, text)
    if as_json:
        emit_json(plain(found[0], names=names) | {"file": None if output is None else str(output)})
    elif output is None:
        emit(text)
    else:
        emit_words(f"Wrote {output}: the survey of {found[0].chip.board}.")
    return 0


def _text(notebook: Notebook, found: Findings, ending: str, names: bool) -> str:
    match ending:
        case ".html":
            return page.page(found, _wiring(notebook, found), names=names)
        case ".csv":
            return to_csv(found, names=names)
        case ".json":
            return json.dumps(plain(found, names=names), indent=2, allow_nan=False) + "\n"
    return markdown.page(found, names=names)


def _wiring(notebook: Notebook, found: Findings) -> dict[str, str]:
    """How the display is wired; without the profile there are no pictures of it."""
    try:
        return dict(board_at(notebook.path, found.chip).display)
    except ForelightError:
        return {}
