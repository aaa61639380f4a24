"""What an eye wrote down: right lists are never said to differ, wrong ones never to agree, and the slip is named."""

from __future__ import annotations

import pytest
from forelight.harness.verdict.verdict import AGREES, DIFFERS, INCONCLUSIVE

from tests.harness.verdict.catalogue import moving
from tests.harness.verdict.lists import PLACED, RIGHT, WRONG, Tally, measure


def holds(found: Tally) -> None:
    print(*found.odd, found.table(), sep="\n")
    for kind in RIGHT:
        assert found.verdicts[kind, DIFFERS] == 0
    assert found.enough[True] >= 0.9 * found.enough.total()
    wrong = sum(
        found.verdicts[kind, verdict] for kind in WRONG for verdict in (AGREES, DIFFERS, INCONCLUSIVE)
    )
    assert sum(found.verdicts[kind, AGREES] for kind in WRONG) <= 0.05 * wrong
    assert sum(found.named.values()) >= 0.95 * sum(found.verdicts[kind, DIFFERS] for kind in PLACED)


@pytest.mark.slow
def test_hundreds_of_lists() -> None:
    """Seeds 0 to 199 of each kind, over all designs of the catalogue that show anything."""
    assert len(moving()) >= 20
    holds(measure(200))


def test_some_lists() -> None:
    """Seeds 7000 on, of a few designs."""
    holds(measure(6, 7000, ("tide_gauge", "word_roller", "morse_lamp")))
