"""A prediction written as a picture or a page that moves: `forelight show -o FILE`."""

from __future__ import annotations

from html import escape
from pathlib import Path

from forelight.sim.errors import UsageError
from forelight.sim.files import write_whole

from ..terminal.output import as_text
from ..view.display import UNICODE
from ..view.ink import figure
from ..view.live import plan
from ..view.motion import over_and_over
from ..view.pictures import display_lamps
from ..view.scene import Scene, as_html, as_svg
from .facts import facts
from .preview import Preview, below, drawn_pictures, opening
from .sight import words

ENDINGS = (".svg", ".html")
#: As long as a picture may last: it holds every change.
LONGEST_S = 600.0
#: Columns of the words in a page, and the height of its pictures.
COLUMNS, FIGURE_MM = 96, 12.0


def check_ending(output: Path, what: str) -> None:
    """Raise UsageError for a file whose name does not end as that of a picture."""
    if output.suffix not in ENDINGS:
        raise UsageError(
            f"the ending '{output.suffix}' is not that of {what}",
            place=str(output),
            remedy="allowed: .svg, .html",
        )


def check_length(seconds: float) -> None:
    """Raise UsageError for a picture that would play for too long."""
    if seconds > LONGEST_S:
        raise UsageError(
            f"a picture that plays for {seconds:.0f} s would be too large",
            remedy=f"ask for a run of at most {LONGEST_S:.0f} s, or for a higher --speed",
        )


def write(found: Preview, output: Path, *, speed: float, motion: bool, most: int) -> Scene:
    """Write it, to be played `speed` times as fast, or without `motion`; a page has the first `most` pictures too."""
    check_length(found.golden.end / found.golden.oscillator_hz / speed)
    drawn = scene(found, speed, motion=motion)
    write_whole(output, as_svg(drawn) if output.suffix == ".svg" else as_html(drawn, _rest(found, most)))
    return drawn


def scene(found: Preview, speed: float, *, motion: bool) -> Scene:
    """What there is to draw. What flashes too much begins only when whoever looks at it asks for that."""
    asking, golden = found.asking, found.golden
    flash = over_and_over(golden, speed)
    shots = plan(golden, speed)
    sheet, lasts = asking.sheet, golden.end / golden.oscillator_hz / speed
    where = (
        f"slot {asking.slot} of {asking.board.name}"
        if asking.slot is not None
        else f"tried on {asking.board.name}"
    )
    rate = "" if speed == 1 else f" Here it plays {speed:g} times as fast as on the board."
    return Scene(
        title=sheet.title,
        where=where + (f"; from {sheet.creator}" if sheet.creator else ""),
        said=[
            sheet.description,
            *words(asking, found.sight, found.offered),
            *found.status(golden.end)[:2],
            rate,
        ],
        golden=golden,
        shots=shots if motion else shots[:1],
        lasts_s=lasts,
        wiring=asking.board.display,
        lines={line: f"{line} {found.meanings.get(line, '')}".strip() for line in found.lines},
        caution=f"Held still. Caution: {flash}." if motion and flash.too_much else "",
    )


def _rest(found: Preview, most: int) -> str:
    """What a page says below its picture: the pictures one by one, then as `show` says it in a pipe."""
    asking, golden = found.asking, found.golden
    sequence = drawn_pictures(golden, asking.board)
    shown = "".join(
        f"<figure>{figure(display_lamps(one.lamps, asking.board.display), FIGURE_MM)}"
        f"<figcaption>{one.start / golden.oscillator_hz:.3f} s<br>step {one.step}</figcaption></figure>"
        for one in sequence[:most]
    )
    more = len(sequence) - most
    note = f"<p>and {more} more</p>" if more > 0 else ""
    said = as_text([*facts(asking), "", *below(found, UNICODE, COLUMNS, strips=bool(found.watched))], COLUMNS)
    pictures = f'<p>{opening(asking)}</p>\n<div class="wall pictures">{shown}</div>{note}\n'
    return (pictures if asking.board.display else "") + f"<pre>{escape(said)}</pre>\n"
