"""A card as one HTML page with its pictures inside, set for paper of size A5 at 8 point."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape

from ..view.ink import figure
from ..view.pictures import display_lamps
from ..view.stave import as_svg, columns
from .leaf import Block, Card, Sentences, Shots, Switches, SwitchPlace, Table, Task, Tasks, Traces

STYLE = """
@page { size: 148mm 210mm; margin: 5mm 7mm }
* { box-sizing: border-box }
body { font: 8pt/1.13 "DejaVu Sans Condensed", "Liberation Sans", Arial, sans-serif; color: #000; background: #fff;
  margin: 0 auto; max-width: 134mm; font-variant-numeric: tabular-nums }
@media screen { body { padding: 6mm; max-width: 146mm } }
article { break-after: page }
article:last-child { break-after: auto }
header { border-bottom: 0.5mm solid; padding-bottom: 0.6mm; margin-bottom: 0.5mm }
h1 { font-size: 12pt; line-height: 1.1; margin: 0; display: inline }
h1 + p { display: inline; margin: 0 0 0 2mm }
header p:last-child { margin: 0.8mm 0 0 }
section { display: grid; grid-template-columns: 11.5mm 1fr; border-bottom: 0.15mm solid; padding: 0.5mm 0 }
section:last-child { border: 0 }
h2 { font-size: 9pt; line-height: 1.1; margin: 0 }
section > div { min-width: 0 }
p { margin: 0 }
.said p { padding-left: 2.2mm; text-indent: -2.2mm }
.said p + p { margin-top: 0.2mm }
.block + .block { margin-top: 0.4mm }
table { border-collapse: collapse; width: 100% }
th, td { text-align: left; font-weight: normal; padding: 0 1.6mm 0 0; vertical-align: middle; line-height: 1.05 }
th { font-style: italic }
.right { text-align: right }
.line { width: 6mm } .label { width: 11mm; font-weight: bold }
.contact, .trace { display: block }
.word { white-space: nowrap; width: 1% }
ol { list-style: none; margin: 0; padding: 0 }
li { display: block; break-inside: avoid }
li > .task { display: grid; grid-template-columns: auto auto 1fr; gap: 1.2mm }
li ol { padding-left: 5mm }
.number { min-width: 3.4mm; text-align: right }
.box { width: 2.4mm; height: 2.4mm; border: 0.25mm solid; margin-top: 0.25mm }
.shots { display: flex; flex-wrap: wrap; gap: 1.2mm 2.2mm }
.shot { text-align: center; line-height: 1.1; white-space: nowrap }
.shot svg { display: block; margin: 0.2mm auto }
.traces td:last-child, .traces th:last-child { width: 62mm; padding: 0 }
.traces { break-inside: avoid }
.traces td { line-height: 1 }
.means { overflow-wrap: anywhere }
.contents { columns: 2; column-gap: 6mm }
.contents p { break-inside: avoid }
a { color: inherit; text-decoration: none }
"""
TRACE_MM, TRACE_HIGH_MM, COLUMNS = 62.0, 2.8, 248
FIGURE_MM = 7.0


def page(card: Card) -> str:
    """The page of one card."""
    return _whole(f"{card.title}, {card.where}", [_article(card)])


def booklet(title: str, cards: Sequence[Card], index: Sequence[tuple[str, Sequence[Card]]]) -> str:
    """Contents and index of kinds, then a card on a page of its own each."""
    contents = "".join(f"<p>{_link(card)}</p>" for card in cards)
    kinds = "".join(
        f"<p><b>{escape(kind)}</b>: {', '.join(_link(card) for card in found)}</p>" for kind, found in index
    )
    front = (
        f"<article><header><h1>{escape(title)}</h1></header><section><h2></h2><div>"
        f'<h2>Contents, by slot</h2><div class="contents">{contents}</div></div></section>'
        f'<section><h2></h2><div class="said"><h2>By kind</h2>{kinds}</div></section></article>'
    )
    return _whole(title, [front, *map(_article, cards)])


def _link(card: Card) -> str:
    number = "" if card.slot is None else f"{card.slot} "
    return f'<a href="#{escape(card.name)}">{number}{escape(card.title)}</a>'


def _whole(title: str, articles: Sequence[str]) -> str:
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>{escape(title)}</title>\n'
        f"<style>{STYLE}</style>\n</head>\n<body>\n{''.join(articles)}\n</body>\n</html>\n"
    )


def _article(card: Card) -> str:
    creator = f"; from {escape(card.creator)}" if card.creator else ""
    head = (
        f"<h1>{escape(card.title)}</h1><p>{escape(card.where)}{creator}</p><p>{escape(card.description)}</p>"
    )
    parts = "".join(
        f"<section><h2>{escape(part.heading)}</h2><div>{''.join(map(_block, part.blocks))}</div></section>\n"
        for part in card.parts
    )
    return f'<article id="{escape(card.name)}"><header>{head}</header>\n{parts}</article>\n'


def _block(block: Block) -> str:
    match block:
        case Sentences(said):
            return (
                f'<div class="block said">{"".join(f"<p>{escape(sentence)}</p>" for sentence in said)}</div>'
            )
        case Tasks(tasks):
            return f'<ol class="block">{"".join(map(_task, tasks))}</ol>'
        case Switches(switches):
            return f'<table class="block">{"".join(_switches(switches))}</table>'
        case Table():
            return f'<table class="block">{"".join(_rows(block))}</table>'
        case Shots():
            return f'<div class="block shots">{"".join(_shots(block))}</div><p>{escape(block.note)}</p>'
        case Traces():
            return f'<table class="block traces">{"".join(_traces(block))}</table>'


def _task(task: Task) -> str:
    inner = f"<ol>{''.join(map(_task, task.inner))}</ol>" if task.inner else ""
    return (
        f'<li><div class="task"><span class="number">{task.number}</span> <span class="box"></span> '
        f"<span>{escape(task.sentence)}</span></div>{inner}</li>"
    )


def _switches(switches: Sequence[SwitchPlace]) -> Iterator[str]:
    """A row for each line, on which its switch lies: a closed one joins the line, an open one leaves a gap."""
    strapped = any(switch.strapped is not None for switch in switches)
    code = '<th colspan="2">for the code</th>' if strapped else ""
    yield f'<tr><th class="label"></th><th class="line"></th>{code}<th colspan="2">then</th><th>means</th></tr>'
    for switch in switches:
        cells = [f'<td class="label">{escape(switch.label)}</td><td class="line">{switch.line}</td>']
        for level in ([switch.strapped] if switch.strapped is not None else []) + [switch.then]:
            contact = switch.contact(level)
            cells.append(f'<td class="word">{level} {contact}</td><td class="word">{_contact(contact)}</td>')
        yield f"<tr>{''.join(cells)}<td>{escape(switch.means)}</td></tr>"


def _contact(contact: str) -> str:
    """The line at its switch: joined, or with a gap."""
    strokes = {"closed": "M0 1.2H10", "open": "M0 1.2H3.2M6.8 1.2H10"}
    if contact not in strokes:
        return ""
    ends = '<circle cx="3.2" cy="1.2" r="0.55"/><circle cx="6.8" cy="1.2" r="0.55"/>'
    return (
        '<svg class="contact" width="10mm" height="2.4mm" viewBox="0 0 10 2.4" aria-hidden="true">'
        f'<path d="{strokes[contact]}" fill="none" stroke="currentColor" stroke-width="0.4"/>{ends}</svg>'
    )


def _rows(table: Table) -> Iterator[str]:
    for tag, rows in (("th", [table.head]), ("td", table.rows)):
        for row in rows:
            cells = (
                f"<{tag}{' class=right' if n in table.numbers else ''}>{escape(cell)}</{tag}>"
                for n, cell in enumerate(row)
            )
            yield f"<tr>{''.join(cells)}</tr>"


def _shots(block: Shots) -> Iterator[str]:
    for shot in block.shots:
        drawn = figure(display_lamps(shot.picture.lamps, block.wiring), FIGURE_MM) if block.wiring else ""
        words = "".join(f"<div>{escape(word)}</div>" for word in shot.words[1:])
        yield f'<div class="shot"><div>{escape(shot.words[0])}</div>{drawn}{words}</div>'


def _traces(block: Traces) -> Iterator[str]:
    if block.marks:
        yield f"<tr><th></th><th></th><th></th><th>{_marks(block)}</th></tr>"
    for line, means in block.lines.items():
        drawn = as_svg(columns(block.golden, line, COLUMNS), TRACE_MM, TRACE_HIGH_MM)
        label = (
            f'<td class="label">{escape(block.labels[line])}</td>'
            if any(block.labels.values())
            else "<td></td>"
        )
        yield f'<tr>{label}<td class="line">{line}</td><td class="means">{escape(means)}</td><td>{drawn}</td></tr>'


def _marks(block: Traces) -> str:
    """The tasks of Start above the place where each begins; one that has no room is left out."""
    texts: list[str] = []
    free = 0.0
    for tick, number in block.marks:
        at, words = tick * TRACE_MM / max(block.golden.end, 1), number if texts else f"task {number}"
        wide = 1.3 * len(words) + 0.6
        if free <= at <= TRACE_MM - wide:
            texts.append(f'<text x="{at:.1f}" y="2.2" font-size="2.4">{escape(words)}</text>')
            free = at + wide
    return (
        f'<svg class="trace" width="{TRACE_MM:g}mm" height="2.6mm" viewBox="0 0 {TRACE_MM:g} 2.6" fill="currentColor">'
        f"{''.join(texts)}</svg>"
    )
