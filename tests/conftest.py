"""For all tests: how much each does."""

from __future__ import annotations

import pytest

from tests import sizes


def pytest_configure(config: pytest.Config) -> None:
    sizes.WHOLE = config.getoption("markexpr") != "not slow"
