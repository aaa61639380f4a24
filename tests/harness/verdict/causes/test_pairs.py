"""Two slips at once: found beside clips and of the hand; all that show the same stand together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from forelight.designs.procedures.procedure import Set, Steps
from forelight.harness.capture.record import Capture, RecordedLine
from forelight.harness.verdict.causes import pairs
from forelight.harness.verdict.causes.mishap import Handling, Mishap, both, priors_of
from forelight.harness.verdict.causes.rank import FAMILIES

from .benches import by_eye, handling, inquiry, recorded

RING = handling("travelling_wave", (Steps(20), Set({"i1": 1}), Steps(60)), i2=1)


def found(it: Handling, shown: Capture, *kinds: str) -> dict[str, float]:
    """The names of the pairs that explain a recording, with what each saves, among causes of these kinds."""
    search = inquiry(it, shown)
    causes = [cause for family in FAMILIES for cause in family(it, shown)]
    pairs.weigh(search, [cause for cause in causes if cause.kind in kinds])
    return {one.cause.name: one.bits for one in search.found}


def cause(it: Handling, name: str) -> Mishap:
    shown = by_eye(it)
    return next(one for family in FAMILIES for one in family(it, shown) if one.name == name)


def stuck(shown: Capture, name: str, level: int) -> Capture:
    line = RecordedLine(np.full(1, shown.start), np.full(1, level, np.uint8))
    return replace(shown, lines={**shown.lines, name: line})


@pytest.mark.parametrize("eye", [True, False], ids=["by eye", "by an instrument"])
def test_a_channel_that_stays_is_found_beside_a_slip_of_the_hand(eye: bool) -> None:
    truth = cause(RING, "i2 the other way").change(RING)
    shown = stuck(by_eye(truth) if eye else recorded(truth), "o2", 0)
    names = found(RING, shown, "switch set the other way", "inputs left at zero", "output stuck")
    best = max(names.values())
    # Both reach the design as one: of all inputs only i2 is not to be at 0.
    for name in ("i2 the other way", "inputs left at 0"):
        assert names[f"{name}; o2 stuck at 0"] > best - 3


def test_two_slips_of_the_hand_are_found_among_all() -> None:
    parts = [cause(RING, name) for name in ("i2 the other way", "i1 the other way")]
    truth = both(*parts).change(RING)
    names = found(RING, recorded(truth), "switch set the other way", "switch without contact")
    best = max(names.values())
    assert any({*name.split("; ")} == {part.name for part in parts} for name in names)
    assert all("; " in name and bits <= best for name, bits in names.items())


def test_what_no_two_of_them_make_has_none() -> None:
    rng = np.random.default_rng(11)
    at = np.arange(30, dtype=np.float64)
    noise = {f"o{n}": RecordedLine(at, rng.integers(0, 2, 30).astype(np.uint8)) for n in range(8)}
    kinds = ("switch set the other way", "switch without contact", "output stuck")
    assert found(RING, Capture(noise, 0.0, 30.0, unit="steps"), *kinds) == {}


def test_the_prior_of_two_is_that_of_both() -> None:
    truth = cause(RING, "i2 the other way").change(RING)
    shown = stuck(by_eye(truth), "o2", 0)
    search = inquiry(RING, shown)
    kinds = ("switch set the other way", "output stuck")
    causes = [one for family in FAMILIES for one in family(RING, shown) if one.kind in kinds]
    pairs.weigh(search, causes)
    priors = priors_of(causes)
    assert search.found
    known = {one.cause.name: one for one in search.found}
    one = known["i2 the other way; o2 stuck at 0"]
    assert one.prior == pytest.approx(priors["i2 the other way"] + priors["o2 stuck at 0"])
    assert one.bits == pytest.approx(one.fit.bits + one.prior)
