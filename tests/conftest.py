"""For all tests: how much each does, and signals as Python has them."""

from __future__ import annotations

import signal

import pytest

from tests import sizes


def pytest_configure(config: pytest.Config) -> None:
    sizes.WHOLE = config.getoption("markexpr") != "not slow"


def pytest_collection_finish() -> None:
    """Importing `vcdvcd` gives SIGPIPE its default back: a child that ends without reading would end the tests."""
    if hasattr(signal, "SIGPIPE"):
        signal.signal(signal.SIGPIPE, signal.SIG_IGN)
