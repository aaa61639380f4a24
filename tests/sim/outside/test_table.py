"""The table of circuits from outside in the README beside this file is that of `known.py`."""

from __future__ import annotations

from pathlib import Path

from .known import table

PAGE = Path(__file__).with_name("README.md")


def test_the_page_has_the_table() -> None:
    assert table() in PAGE.read_text("utf-8"), "run: python -m tests.sim.outside.known"
