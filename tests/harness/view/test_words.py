"""Numbers as a person reads them: the examples of each function come true."""

from __future__ import annotations

import doctest

from forelight.harness.view import words


def test_examples() -> None:
    result = doctest.testmod(words)
    assert result.attempted >= 5
    assert not result.failed
