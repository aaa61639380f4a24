"""A prediction draws itself in a notebook: one that is carried out for real."""

from __future__ import annotations

import re
from typing import Any
from xml.etree import ElementTree

import pytest
from forelight.harness.scripting.asking import predict

CELLS = (
    'import forelight\ntide = forelight.predict("tide_gauge", steps=20, power_ups=8)\ntide',
    'forelight.predict("watch_vote", run="one against two", power_ups=8).bits.shape',
)


def test_the_pictures_are_well_formed() -> None:
    found = predict("tide_gauge", steps=20, power_ups=8)
    page, picture = found._repr_html_(), found._repr_svg_()
    root = ElementTree.fromstring(picture)
    assert root.tag.endswith("svg")
    assert not list(root.iter("{http://www.w3.org/2000/svg}svg"))[1:], (
        "a picture within would have other units"
    )
    names = [text.text for text in root.iter("{http://www.w3.org/2000/svg}text")]
    assert names[:2] == ["i7", "o0"] and "o7 the tide is rising" in names and names[-2] == "0 s"
    ElementTree.fromstring(page)
    assert len(re.findall('class="figure"', page)) == 12 and 'aria-label="lit: b c f g point"' in page


@pytest.mark.slow
def test_a_notebook_shows_display_and_traces() -> None:
    nbformat: Any = pytest.importorskip("nbformat")
    nbclient: Any = pytest.importorskip("nbclient")
    book = nbformat.v4.new_notebook()
    book.cells = [nbformat.v4.new_code_cell(text) for text in CELLS]
    nbclient.NotebookClient(book, timeout=120, kernel_name="python3").execute()
    shown = book.cells[0].outputs[0]["data"]
    assert "<svg" in shown["text/html"] and shown["image/svg+xml"].startswith("<svg")
    assert "lit: b c f g point" in shown["text/html"]  # the 4 of step 4
    assert book.cells[1].outputs[0]["data"]["text/plain"].startswith("(")
