"""Verdicts on generated captures whose truth is known."""

from __future__ import annotations

import json

from forelight.harness.capture.readers import parse_capture
from forelight.harness.capture.verdict import AGREES, DIFFERS, Verdict, check

from tests.harness.capture.cases import BOARD, draw
from tests.harness.capture.noise import Case, golden_of


def judge(case: Case) -> Verdict:
    return check(golden_of(case.setup), parse_capture(case.text.encode(), "bench"), BOARD)


def test_good_captures_agree() -> None:
    for seed in range(12):
        print("seed", seed)
        verdict = judge(draw(seed, "none"))
        assert verdict.kind == AGREES
        assert verdict.rate_hz is not None
        assert verdict.expected_hz is not None
        assert abs(verdict.rate_hz / verdict.expected_hz - 1) < 0.021
        json.dumps(verdict.to_json())


def test_one_flipped_bit_is_named() -> None:
    for seed in (0, 1, 2, 4, 5, 6):
        print("seed", seed)
        case = draw(seed, "flip")
        verdict = judge(case)
        assert verdict.kind == DIFFERS
        assert verdict.first is not None
        assert (verdict.first.step, verdict.more) == (case.first, 0)
