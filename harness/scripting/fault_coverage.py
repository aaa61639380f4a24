"""How much of a design a procedure tries: the share of its stuck-at faults that the outputs would show."""

from __future__ import annotations

from typing import Unpack

from ..coverage.record import Coverage
from .asking import Asking, Design, asking


def coverage(design: Design, **asked: Unpack[Asking]) -> Coverage:
    """The fault coverage of what `predict` would foretell with the same words.

    A fault counts as revealed if it makes a settled output differ once the slot is up, whatever the flip-flops held.
    Raises a UsageError where no bit tells anything by itself (a loop that runs free, a design that may begin anywhere
    in its period), and for a design with a memory that cannot be turned into gates.
    """
    found = asking(design, **asked)
    return found.coverage(found.golden())
