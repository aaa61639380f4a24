"""What an eye wrote down: right lists are never said to differ, wrong ones never to agree, and the slip is named."""

from __future__ import annotations

import pytest
from forelight.harness.asking.question import Asked, question
from forelight.harness.boards.reader import load_board
from forelight.harness.capture.readers import parse_capture
from forelight.harness.verdict.verdict import AGREES, DIFFERS, INCONCLUSIVE, Verdict, check

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


def test_an_entry_is_placed_in_time_and_a_list_that_runs_on_is_told() -> None:
    board = load_board("quay")
    asked = Asked("berth_number", "quay", None, None, {}, "berth 42", None, None, 0, 8)
    asking = question(asked)
    golden, start = asking.golden(), asking.start()

    def judged(shown: list[str]) -> Verdict:
        rows = "".join(f"{step},{sign}\n" for step, sign in enumerate(shown))
        capture = parse_capture(f"step,shown\n{rows}".encode(), "list", display=board.display)
        return check(golden, capture, board, start=start)

    wrong = ["b.", "4", "2", "blank", "b.", "4", "3", "blank", "b."]
    verdict = judged(wrong)
    assert verdict.first is not None
    before = int(golden.steps[golden.ticks <= start][-1])
    assert verdict.entries == (7, 7) and verdict.first.step == before + 6
    # 1.875 steps a second, the first of them a whole step after the restart was let go.
    after = verdict.first.golden_s - start / golden.oscillator_hz
    assert after == pytest.approx(6 / 1.875, abs=1e-3)
    assert judged([*wrong, *["1", "2", "3"] * 3]).reasons == (
        "The list fits nowhere in the prediction.",
        "It has 18 entries, and the prediction ends after 9: leave out the rest, or predict more.",
    )
