"""What is said of a recording: the verdict, and the first bit that differs."""

from __future__ import annotations

from dataclasses import asdict, dataclass

MARGIN = 10.0  # bits by which one explanation must beat the other: odds of a thousand to one
#: Why a recording tells nothing in which the outputs rest once the slot is up; and what to do.
RESTING = (
    "All is as foretold, but that proves too little: hardly an output moves once the slot is up, "
    "and inputs move as a hand moved them."
)
#: Begins what is said of a slip, which a cause explains better.
ASTRAY = "From there on it is as foretold"
LONGER = "If it was begun after the predicted run had ended, predict a longer run."
MORE = "Record more lines, or a run in which the outputs change."


@dataclass(frozen=True)
class Difference:
    """A bit that differs: seconds from the procedure's start, seconds in the capture (None without times), step,
    line, levels."""

    golden_s: float
    capture_s: float | None
    step: int
    line: str
    expected: int
    seen: int


@dataclass(frozen=True)
class Verdict:
    """`kind` is agrees, differs or inconclusive.

    `steps` and `bits` were compared. `first` is the first difference and `more` how many bits differ beside it.
    `rate_hz` is the step rate by the capture's clock, with its standard deviation; `expected_hz` the predicted one;
    `codes` the strap codes whose rate fits within the tolerance. `evidence` is by how many bits the recording is
    shorter as foretold than without a prediction, where it agrees of the outputs alone: 2 to the power of that are the
    odds. `golden_start_s` is the second
    of the procedure at which the capture begins. `entries` are the first and the last of the entries of a list, from 1,
    among which the first slip lies. `reasons` says why, and `remedies` what to record instead, a sentence each.
    """

    kind: str
    steps: int = 0
    bits: int = 0
    first: Difference | None = None
    more: int = 0
    rate_hz: float | None = None
    rate_sigma_hz: float | None = None
    expected_hz: float | None = None
    codes: tuple[int, ...] = ()
    evidence: float = 0.0
    lines: tuple[str, ...] = ()
    golden_start_s: float | None = None
    entries: tuple[int, int] | None = None
    reasons: tuple[str, ...] = ()
    remedies: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def to_json(self) -> dict[str, object]:
        """The same as a dictionary of plain values."""
        plain = asdict(self)
        renamed = {"kind": "verdict", "codes": "strap_codes", "lines": "line_names"}
        return {renamed.get(key, key): value for key, value in plain.items()}
