"""A survey as one HTML page with its pictures inside, for the screen and for paper."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from html import escape

from forelight.sim.plain_text import clean

from ...view.display import Lamp
from ...view.ink import figure
from ...view.pictures import display_lamps
from .. import chart
from ..answers import displays
from ..findings import Findings
from ..standing import KINDS, UNTRIED, SlotStanding
from .content import HEADINGS, name, sections, sentences, summary, title

STYLE = """
* { box-sizing: border-box }
body { font: 11pt/1.4 "DejaVu Sans", "Liberation Sans", Arial, sans-serif; color: #111; background: #fff;
  margin: 0 auto; max-width: 210mm; padding: 8mm; font-variant-numeric: tabular-nums }
h1 { font-size: 19pt; margin: 0 } h2 { font-size: 13pt; margin: 6mm 0 2mm; border-bottom: 0.3mm solid }
p { margin: 1mm 0 } a { color: inherit }
.chart { width: 100%; margin-top: 4mm }
.chart text, .key text { text-anchor: middle; font: bold 11px sans-serif }
.chart .number { font: 8px sans-serif }
.legend { display: flex; flex-wrap: wrap; gap: 1mm 5mm; margin-top: 2mm }
.legend span { display: flex; align-items: center; gap: 1.5mm }
article { display: grid; grid-template-columns: 1fr auto; gap: 4mm; border-bottom: 0.1mm solid #999; padding: 2.5mm 0;
  break-inside: avoid }
article h3 { font-size: 11pt; margin: 0 } article > div { min-width: 0; overflow-wrap: anywhere }
.displays { display: flex; gap: 4mm; text-align: center; font-size: 8.5pt }
.displays svg { display: block; margin: auto }
.short article { border: 0; padding: 0.6mm 0; display: block } .short h3 { display: inline; font-weight: normal }
.short p { display: inline; color: #444; font-size: 9pt; margin-left: 2mm }
.untried { columns: 3 } .untried p { break-inside: avoid }
@page { margin: 12mm } @media print { body { padding: 0 } }
"""
HIGH_MM = 13.0


def page(found: Findings, wiring: Mapping[str, str], *, names: bool) -> str:
    """The whole report; `wiring` says which segment of the display each output lights (line -> segment)."""
    head = escape(clean(title(found)))
    body = "".join(_section(found, kind, members, wiring, names) for kind, members in sections(found))
    keys = "".join(f"<span>{chart.square(kind)}{escape(kind)}</span>" for kind in KINDS)
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>{head}</title>\n'
        f"<style>{STYLE}</style>\n</head>\n<body>\n<h1>{head}</h1>\n<p>{escape(summary(found))}</p>\n"
        f"{chart.picture(found.chip, found.by_slot)}\n"
        f'<div class="legend">{keys}</div>\n{body}</body>\n</html>\n'
    )


def _section(
    found: Findings, kind: str, members: list[SlotStanding], wiring: Mapping[str, str], names: bool
) -> str:
    look = {"agrees": ' class="short"', UNTRIED: ' class="untried"'}.get(kind, "")
    if kind == UNTRIED:
        inner = "".join(f"<p{_anchor(one)}>{_text(name(one))}</p>" for one in members)
    else:
        inner = "".join(_article(found, one, wiring, names) for one in members)
    return f"<h2>{HEADINGS[kind]}</h2>\n<section{look}>{inner}</section>\n"


def _article(found: Findings, one: SlotStanding, wiring: Mapping[str, str], names: bool) -> str:
    said = "".join(f"<p>{_text(sentence)}</p>" for sentence in sentences(found, one, names=names))
    shown = displays(found.said(one)) if one.kind == "differs" else None
    drawn = f'<div class="displays">{"".join(_displays(shown, wiring))}</div>' if shown and wiring else ""
    return f"<article{_anchor(one)}><div><h3>{_text(name(one))}</h3>{said}</div>{drawn}</article>\n"


def _displays(shown: Mapping[str, str], wiring: Mapping[str, str]) -> Iterator[str]:
    for key, levels in shown.items():
        lamps: list[Lamp] = [{"0": 0.0, "1": 1.0}.get(level) for level in reversed(levels)]
        yield f"<div>{figure(display_lamps(lamps, wiring), HIGH_MM)}{key}</div>"


def _anchor(one: SlotStanding) -> str:
    return "" if one.slot is None else f' id="slot-{one.slot}"'


def _text(words: str) -> str:
    return escape(clean(words))
