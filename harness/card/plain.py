"""A card as lines of characters, for a terminal or a pipe of any width."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from rich.text import Text

from ..boards.segments import SMALL
from ..view.display import ASCII, Glyphs, draw
from ..view.filmstrip import side_by_side
from ..view.pictures import display_lamps
from ..view.stave import BLOCKS, PLAIN, as_text, columns
from .leaf import Block, Card, Sentences, Shots, Switches, Table, Task, Tasks, Traces

INDENT = "  "
BOX = "[ ]"
#: Columns of a trace at least and at most, and of the words beside it.
LEAST, MOST, BESIDE = 12, 64, 30


def lines(card: Card, width: int, glyphs: Glyphs) -> Iterator[Text]:
    """The card at this width."""
    creator = f"; from {card.creator}" if card.creator else ""
    for number, line in enumerate(_filled(f"{card.title}, {card.where}{creator}", width)):
        line.stylize("bold" if number == 0 else "", 0, len(card.title))
        yield line
    yield from _filled(card.description, width)
    for part in card.parts:
        yield Text()
        yield Text(part.heading, style="bold")
        for block in part.blocks:
            yield from _block(block, width, glyphs)


def _filled(text: str, width: int, first: str = "", later: str = "") -> Iterator[Text]:
    for line in textwrap.wrap(
        text,
        max(width, 20),
        initial_indent=first,
        subsequent_indent=later,
        break_long_words=False,
        break_on_hyphens=False,
    ):
        yield Text(line)


def _block(block: Block, width: int, glyphs: Glyphs) -> Iterator[Text]:
    match block:
        case Sentences(said):
            for sentence in said:
                yield from _filled(sentence, width, INDENT, INDENT * 2)
        case Tasks(tasks):
            for task in tasks:
                yield from _task(task, width, INDENT)
        case Switches():
            yield from _table(switch_table(block), width)
        case Table():
            yield from _table(block, width)
        case Shots():
            yield from _shots(block, width, glyphs)
        case Traces():
            yield from _traces(block, width, glyphs)


def _task(task: Task, width: int, indent: str) -> Iterator[Text]:
    head = f"{indent}{task.number} {BOX} "
    yield from _filled(task.sentence, width, head, " " * len(head))
    for inner in task.inner:
        yield from _task(inner, width, indent + INDENT)


def switch_table(block: Switches) -> Table:
    """The switches as a table of words."""
    strapped = any(switch.strapped is not None for switch in block.switches)
    labels = any(switch.label for switch in block.switches)
    head = ("line", *(["label"] if labels else []), *(["for the code"] if strapped else []), "then", "means")
    rows = []
    for switch in block.switches:
        row = [switch.line, *([switch.label] if labels else [])]
        if switch.strapped is not None:
            row.append(f"{switch.strapped} {switch.contact(switch.strapped)}".rstrip())
        rows.append((*row, f"{switch.then} {switch.contact(switch.then)}".rstrip(), switch.means))
    return Table(head, tuple(rows))


def _table(table: Table, width: int) -> Iterator[Text]:
    """Columns as wide as their words; the last one is broken into lines."""
    wide = [max(len(row[n]) for row in (table.head, *table.rows)) for n in range(len(table.head) - 1)]
    for number, row in enumerate((table.head, *table.rows)):
        cells = [
            f"{cell:>{size}}" if n in table.numbers else f"{cell:<{size}}"
            for n, (cell, size) in enumerate(zip(row, wide, strict=False))
        ]
        head = INDENT + "  ".join(cells) + "  "
        if width - len(head) >= LEAST or not row[-1]:
            found = list(_filled(row[-1], width, head, " " * len(head))) or [Text(head.rstrip())]
        else:  # no room beside them: the last one stands below
            found = [
                Text(head.rstrip()),
                *(_filled(row[-1], width, INDENT * 3, INDENT * 3) if number else ()),
            ]
        for line in found:
            line.stylize("bold" if number == 0 else "")
        yield from found


def _shots(block: Shots, width: int, glyphs: Glyphs) -> Iterator[Text]:
    frames = []
    for shot in block.shots:
        drawn = draw(display_lamps(shot.picture.lamps, block.wiring), SMALL, glyphs) if block.wiring else []
        frames.append([Text(shot.words[0]), *drawn, *(Text(word) for word in shot.words[1:])])
    for row in side_by_side(frames, width - len(INDENT)):
        yield Text(INDENT).append_text(row) if row.plain else row
    yield from _filled(block.note, width, INDENT, INDENT)


def _traces(block: Traces, width: int, glyphs: Glyphs) -> Iterator[Text]:
    characters = PLAIN if glyphs is ASCII else BLOCKS
    names = dict(zip(block.lines, trace_names(block), strict=True))
    beside = min(max((len(name) for name in names.values()), default=0), BESIDE, width // 2)
    count = min(max(width - len(INDENT) - beside - 2, LEAST), MOST)
    for line, name in names.items():
        short = name if len(name) <= beside else name[: beside - 3].rstrip() + "..."
        yield Text(f"{INDENT}{short:<{beside}}  {as_text(columns(block.golden, line, count), characters)}")
    marks = marked(block, count)
    if marks.strip():
        yield Text(f"{INDENT}{'task begins':<{beside}.{beside}}  {marks}")


def trace_names(block: Traces) -> list[str]:
    """Label, line and meaning of each trace."""
    wide = max(map(len, block.labels.values()), default=0)
    return [f"{block.labels[line]:<{wide}} {line} {means}".strip() for line, means in block.lines.items()]


def marked(block: Traces, count: int) -> str:
    """Under the columns, the numbers of the tasks where they begin; one that has no room is left out."""
    row = [" "] * count
    free = 0
    for tick, number in block.marks:
        at = min(tick * count // max(block.golden.end, 1), count - len(number))
        if at >= free:
            row[at : at + len(number)] = number
            free = at + len(number) + 1
    return "".join(row).rstrip()


def figures(block: Shots, glyphs: Glyphs, width: int) -> Sequence[str]:
    """The pictures in rows, as plain characters."""
    return [line.plain for line in _shots(Shots(block.shots, block.wiring, ""), width, glyphs)]
