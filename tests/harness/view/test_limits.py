"""One limit for flicker: what is told of it elsewhere agrees with the numbers in one place."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from forelight.designs.catalogue import load_design, names
from forelight.harness.bench.predict import predict
from forelight.harness.boards.reader import load_board
from forelight.harness.hand.routine import default_procedure
from forelight.harness.view.eye import impressions
from forelight.harness.view.limits import (
    CHANGE,
    DANGER,
    DARKER,
    FLASHES_ALLOWED,
    FUSION_HZ,
    READABLE_S,
    SEIZURES_FOR_SOME_HZ,
    SEIZURES_HZ,
)

README = Path(__file__).parents[3] / "README.md"
RATES = f"{SEIZURES_HZ[0]} (?:to|and) {SEIZURES_HZ[1]} times a second"


def test_the_numbers_of_the_sources() -> None:
    # WCAG 2.2, 2.3.1 and its definition of a general flash; Epilepsy Society and Epilepsy Action.
    assert (FLASHES_ALLOWED, CHANGE, DARKER) == (3, 0.10, 0.80)
    assert (SEIZURES_HZ, SEIZURES_FOR_SOME_HZ) == ((3, 30), 60)
    # Whatever may trigger a seizure counts as flicker; what can be read flashes at most so often.
    assert FUSION_HZ >= SEIZURES_FOR_SOME_HZ
    assert 1 / (2 * READABLE_S) < FLASHES_ALLOWED


def test_the_readme_and_the_views_say_the_same() -> None:
    for text in (DANGER, " ".join(README.read_text("utf-8").split())):
        assert re.search(RATES, text)
        assert f"for some people up to {SEIZURES_FOR_SOME_HZ} times" in text


def test_no_datasheet_says_otherwise() -> None:
    for name in names():
        said = load_design(name).description
        for rates in re.findall(r"flash (\d+ (?:to|and) \d+ times a second)", said):
            assert re.fullmatch(RATES, rates)
            assert f"for some people up to {SEIZURES_FOR_SOME_HZ} times" in said


@pytest.mark.parametrize(
    ("name", "words"), [("lamp_dimmer", r"slower than (\d+) steps"), ("sight_line", r"below (\d+) it")]
)
def test_where_a_datasheet_says_that_flicker_begins_it_does(name: str, words: str) -> None:
    board, sheet = load_board("quay"), load_design(name)
    found = re.search(words, sheet.description)
    assert found
    code = 0
    golden = predict(board, sheet, default_procedure(board, sheet, code=code, steps=600), power_ups=2)
    hz = impressions(golden).display.hz
    assert hz is not None
    steps = float(board.step_hz(code)) / hz
    assert int(found[1]) == pytest.approx(FUSION_HZ * steps, rel=0.01)
