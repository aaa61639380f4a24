"""From what stands wrongly on a bench, by the words of `check` alone, to a recording that agrees."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.harness.verdict.situations import SEED, SITUATIONS, Situation, Standing, obey, played, told

NAMES = [one.name for one in SITUATIONS]


@pytest.mark.slow
@pytest.mark.parametrize("one", SITUATIONS, ids=NAMES)
def test_what_is_said_leads_to_a_recording_that_agrees(one: Situation, tmp_path: Path) -> None:
    """A recording that differs, the remedy carried out by its own words, a second one that agrees; where two causes
    show the same, by the next remedy."""
    print("seed", SEED)
    first, *after = played(one, tmp_path)
    assert first[1].code == 1
    assert [said.code for _, said in after] == [1] * (one.rounds - 1) + [0], (first[1].text, after)


@pytest.mark.slow
@pytest.mark.parametrize("one", SITUATIONS, ids=NAMES)
def test_nothing_wrong_agrees(one: Situation, tmp_path: Path) -> None:
    assert told(one, Standing(), tmp_path).code == 0


def test_whoever_obeys_knows_the_words_alone() -> None:
    """Another line, switch or entry mends nothing; a lead that is changed over needlessly is wrong then."""
    for one in SITUATIONS:
        wrong = one.wrong()
        assert not obey(wrong, "Look again.") and wrong == one.wrong()
    wrong = Standing(entry=9, shorted=(2, 3), restart="held", selector=4, late={3: 1})
    for remedy in (
        "Look at entry 8 again,",
        "look for a bridge between o2 and o4",
        "Let restart go: take i5 to 0",
        "Move the selector switch that counts 2 to and fro",
        "Look for a filter or a delay in the channel of o4, and take it out",
    ):
        assert obey(wrong, remedy)
    assert wrong == Standing(entry=9, shorted=(2, 3), restart="held", selector=4, late={3: 1})
    assert obey(wrong, "Change the leads of i0 and i1 over") and wrong.swapped == {"i0", "i1"}
