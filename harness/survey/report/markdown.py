"""A survey as Markdown."""

from __future__ import annotations

import re
from collections.abc import Iterator

from forelight.sim.plain_text import clean

from .. import chart
from ..answers import displays
from ..findings import Findings
from ..standing import UNTRIED
from .content import HEADINGS, name, sections, sentences, summary, title


def page(found: Findings, *, names: bool) -> str:
    """The whole report."""
    return "\n".join(_lines(found, names)).rstrip() + "\n"


def _lines(found: Findings, names: bool) -> Iterator[str]:
    yield f"# {_escaped(title(found))}"
    yield ""
    yield _escaped(summary(found))
    yield ""
    yield "```text"
    yield from chart.lines(found.chip, found.by_slot)
    yield "```"
    yield ""
    yield f"{chart.legend()}; a row begins with the number of its first slot."
    for kind, members in sections(found):
        yield ""
        yield f"## {HEADINGS[kind]}"
        yield ""
        if kind == UNTRIED:
            yield ", ".join(_escaped(name(one)) for one in members) + "."
            continue
        for one in members:
            yield f"- **{_escaped(name(one))}**"
            shown = displays(found.said(one)) if one.kind == "differs" else None
            if shown:
                yield f"  - Outputs o7 to o0: foretold `{shown['foretold']}`, seen `{shown['seen']}`"
            yield from (f"  - {_escaped(said)}" for said in sentences(found, one, names=names))


def _escaped(text: str) -> str:
    return re.sub(r"([\\`*_\[\]<>|#])", r"\\\1", clean(text).replace("\n", " "))
