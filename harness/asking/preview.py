"""A prediction as a person looks at it: pictures, what the eye makes of them, status, levels, and how far it holds."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from forelight.designs.procedures.procedure import Restart
from forelight.sim.frozen import frozen
from forelight.sim.traces.trace import Trace
from rich.console import RenderableType

from ..attach.report import paragraphs, reports
from ..bench.settling import Settling
from ..bench.watch import Watch
from ..boards.profile import Board
from ..golden.golden import Golden
from ..view.bits import LineRow, lines, table
from ..view.brightness import seen
from ..view.display import ASCII, Glyphs, legend, shade
from ..view.eye import Impressions, impressions
from ..view.filmstrip import strip
from ..view.levels import LevelRows, drawn, of_interest, recent, room, signals
from ..view.limits import FOLLOWED_HZ
from ..view.pictures import Picture, pictures, since
from ..view.status import sentences
from ..view.stave import BLOCKS, PLAIN, StaveGlyphs
from ..view.words import ranges
from .facts import runs
from .question import Question
from .settled import told
from .sight import FirstLight, Readable, first_light, readable, words
from .signals import watched

#: Columns that the table of levels needs with segments and meanings.
FOR_ALL_COLUMNS = 60


@frozen
class Preview:
    """All that there is to show: the question, its golden from the moment at which the slot is up, and what follows."""

    asking: Question
    golden: Golden
    settling: Settling
    sight: Impressions
    offered: Readable | None
    watch: Watch | None
    light: FirstLight | None
    watched: Trace | None
    gate_delay: tuple[float, float] | None = None

    @property
    def meanings(self) -> dict[str, str]:
        """Line -> what the datasheet says of it."""
        sheet = self.asking.sheet
        roles = ((sheet.step, "step"), (sheet.restart, "restart"))
        return {one.line: role for one, role in roles if one} | {
            line: said.means for line, said in sheet.lines.items()
        }

    @property
    def lines(self) -> list[str]:
        """The lines whose levels are worth a row."""
        step = self.asking.sheet.step
        return of_interest(self.golden, self.meanings, step.line if step else "")

    def signals(self, rows: LevelRows, glyphs: Glyphs) -> dict[str, str]:
        """The watched signals beside these rows of levels."""
        return {} if self.watched is None else signals(self.watched, rows.bounds, stave_glyphs(glyphs))

    def status(self, tick: int, recent_s: float | None = None) -> list[str]:
        """The status line at a tick of the golden; nothing is known of it where a loop runs free."""
        if self.watch is None:
            return []
        return sentences(self.watch.status(tick + self.watch.origin, recent_s=recent_s))


def preview(
    asking: Question, gate_delay: tuple[float, float] | None = None, watch: Sequence[str] = ()
) -> Preview:
    """Foretell, and look at what was foretold; `watch` names signals of the source."""
    whole, origin = asking.golden(), asking.start()
    golden = since(whole, origin)
    sight = impressions(golden, asking.board.shown)
    over = light = None
    if not golden.loops:
        inside = asking.inside(int(whole.facts["slot"]))
        over, light = Watch(inside, golden, origin), first_light(asking, golden, inside)
    offered = None if golden.loops else readable(asking, sight)
    signals = watched(asking, int(whole.facts["slot"]), watch).since(origin) if watch else None
    return Preview(asking, golden, asking.settling(whole), sight, offered, over, light, signals, gate_delay)


def below(found: Preview, glyphs: Glyphs, width: int, *, strips: bool = True) -> Iterator[RenderableType]:
    """What stands below the pictures: the eye, the status, levels, how far the prediction holds, attachments, runs.

    The recent levels are left out without `strips`, where they are drawn already.
    """
    asking, golden = found.asking, found.golden
    yield from words(asking, found.sight, found.offered)
    if found.light is not None:
        yield str(found.light)
    yield " ".join(found.status(golden.end))
    yield ""
    if strips and (found.lines or found.watched):
        names = [*found.lines, *(found.watched.values if found.watched else ())]
        rows = recent(golden, found.lines, room(names, found.meanings, width))
        yield from drawn(
            rows,
            found.meanings,
            golden.oscillator_hz,
            width,
            stave_glyphs(glyphs),
            glyphs,
            found.signals(rows, glyphs),
        )
        yield ""
    yield from levels(asking, golden, glyphs, width)
    yield from told(golden, found.settling, asking.restarting())
    yield from paragraphs(reports(asking.sheet, golden))
    others = runs(asking)
    if others:
        yield from ("", *others)


def stave_glyphs(glyphs: Glyphs) -> StaveGlyphs:
    """Characters for levels, of the same encoding as those of a display."""
    return PLAIN if glyphs is ASCII else BLOCKS


def opening(asking: Question) -> str:
    """What the time 0 of the pictures is."""
    first = asking.procedure.actions[: asking.setting_up]
    if first and isinstance(first[-1], Restart):
        return "From the moment at which the restart is let go:"
    return "From the moment at which the slot is set up:"


def key(sequence: Sequence[Picture], asking: Question, glyphs: Glyphs) -> Iterator[str]:
    """What the characters of a drawing mean."""
    looks = {picture.lamps for picture in sequence}
    if asking.board.display:
        yield legend(list({shade(lamps[line]) for lamps in looks for line in asking.board.shown}), glyphs)
    marks = ["o7 first"]
    if any(lamp not in (0, 1, None) for lamps in looks for lamp in lamps):
        marks.append("~ changes faster than the eye follows")
    if not asking.board.display and any(None in lamps for lamps in looks):
        marks.append(f"{glyphs.unsettled} unsettled")
    yield "Eight levels: " + ", ".join(marks)


def still(found: Preview, most: int, glyphs: Glyphs, width: int) -> Iterator[RenderableType]:
    """Pictures in a row, and what their characters mean."""
    asking, golden = found.asking, found.golden
    sequence = drawn_pictures(golden, asking.board)
    wiring = asking.board.display
    code = asking.code
    step_s = None if code is None else 1 / float(asking.board.step_hz(code))
    hz = golden.oscillator_hz
    yield from strip(sequence, wiring, hz, width=width, limit=most, glyphs=glyphs, step_s=step_s)
    yield from key(sequence, asking, glyphs)


def drawn_pictures(golden: Golden, board: Board, speed: float = 1.0) -> list[Picture]:
    """The pictures that an eye can follow; what it cannot is in them at its mean."""
    return pictures(golden, seen(golden, speed, FOLLOWED_HZ), board.shown)


def levels(asking: Question, golden: Golden, glyphs: Glyphs, width: int) -> Iterator[RenderableType]:
    """What a probe on each output would tell, and how far that holds."""
    found = lines(golden)
    meanings = {name: said.means for name, said in asking.sheet.lines.items() if name.startswith("o")}
    if width >= FOR_ALL_COLUMNS:
        yield table(found, asking.board.display, meanings, glyphs)
    else:
        yield table(found, {}, {}, glyphs)
        yield from (f"{name}: {means}" for name, means in meanings.items())
    yield ""
    yield from unsettled(found)


def unsettled(found: Sequence[LineRow]) -> Iterator[str]:
    """The outputs that the prediction leaves open."""
    shares: dict[str, list[str]] = {}
    for line in found:
        if line.unsettled:
            some = f"{line.unsettled:.0%}" if line.unsettled >= 0.01 else "less than 1%"
            share = "all the time" if line.unsettled == 1 else f"{some} of the time"
            shares.setdefault(share, []).append(line.name)
    if shares:
        names = (f"{ranges(lines)} {share}" for share, lines in shares.items())
        yield f"Unsettled: {'; '.join(names)}."
