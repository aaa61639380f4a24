"""A card as Markdown: boxes to tick, tables, and pictures made of characters."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from ..view.display import UNICODE
from ..view.stave import BLOCKS, as_text, columns
from .leaf import Block, Card, Sentences, Shots, Switches, Table, Task, Tasks, Traces
from .plain import BOX, figures, marked, switch_table, trace_names

#: Columns of a picture row, and of a trace.
WIDE, TRACE = 78, 48


def page(card: Card) -> str:
    """The card."""
    creator = f"; from {_escaped(card.creator)}" if card.creator else ""
    out = [f"# {_escaped(card.title)}", "", f"{_escaped(card.where)}{creator}", ""]
    out += [_escaped(card.description), ""] if card.description else []
    for part in card.parts:
        out += [f"## {part.heading}", ""]
        for block in part.blocks:
            out += [*_block(block), ""]
    return "\n".join(out).rstrip() + "\n"


def booklet(title: str, cards: Sequence[Card], index: Sequence[tuple[str, Sequence[Card]]]) -> str:
    """Contents, index of kinds, then each card."""
    out = [f"# {_escaped(title)}", "", "## Contents, by slot", ""]
    out += [f"- {card.where}: {_escaped(card.title)}" for card in cards]
    out += ["", "## By kind", ""]
    out += [f"- {kind}: {', '.join(_escaped(card.title) for card in found)}" for kind, found in index]
    return "\n".join(out) + "\n\n" + "\n\n".join(page(card) for card in cards)


def _escaped(text: str) -> str:
    return re.sub(r"([\\`*_\[\]<>|#])", r"\\\1", text)


def _block(block: Block) -> Iterator[str]:
    match block:
        case Sentences(said):
            yield from (f"- {_escaped(sentence)}" for sentence in said)
        case Tasks(tasks):
            for task in tasks:
                yield from _task(task, "")
        case Switches():
            yield from _table(switch_table(block))
        case Table():
            yield from _table(block)
        case Shots():
            yield from ("```text", *figures(block, UNICODE, WIDE), "```", "", _escaped(block.note))
        case Traces():
            names = trace_names(block)
            beside = min(max(map(len, names), default=0), WIDE - TRACE)
            yield "```text"
            for name, line in zip(names, block.lines, strict=True):
                yield f"{name:<{beside}.{beside}}  {as_text(columns(block.golden, line, TRACE), BLOCKS)}"
            if block.marks:
                yield f"{'task begins':<{beside}.{beside}}  {marked(block, TRACE)}"
            yield "```"


def _task(task: Task, indent: str) -> Iterator[str]:
    yield f"{indent}- {BOX} {task.number} {_escaped(task.sentence)}"
    for inner in task.inner:
        yield from _task(inner, indent + "  ")


def _table(table: Table) -> Iterator[str]:
    yield f"| {' | '.join(map(_escaped, table.head))} |"
    yield f"|{'|'.join('--:' if n in table.numbers else '---' for n in range(len(table.head)))}|"
    for row in table.rows:
        yield f"| {' | '.join(map(_escaped, row))} |"
