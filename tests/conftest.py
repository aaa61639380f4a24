"""For all tests: how much each does, and signals as Python has them."""

from __future__ import annotations

import signal
import zlib
from collections import defaultdict
from pathlib import Path

import pytest

from tests import sizes


def pytest_configure(config: pytest.Config) -> None:
    sizes.WHOLE = config.getoption("markexpr") != "not slow"


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Of a test with many cases the quick run of all tests takes some: those whose names have the smallest checksums.

    A file or folder that is named is tested whole, and so is what is marked `every_case`.
    """
    if sizes.WHOLE or [Path(place).name for place in config.args] != config.getini("testpaths"):
        return
    cases = defaultdict(list)
    for item in items:
        cases[item.nodeid.partition("[")[0]].append(item)
    taken = set()
    for same in cases.values():
        same.sort(key=lambda item: zlib.crc32(item.nodeid.encode()))
        whole = len(same) <= sizes.FEW or same[0].get_closest_marker("every_case")
        taken.update(same if whole else same[: max(sizes.FEW, len(same) // sizes.SHARE)])
    config.hook.pytest_deselected(items=[item for item in items if item not in taken])
    items[:] = [item for item in items if item in taken]


def pytest_collection_finish() -> None:
    """Signals as a program at a terminal has them, which those that the tests start inherit.

    Importing `vcdvcd` gives SIGPIPE its default back: a child that ends without reading would end the tests.
    `nohup` and a shell's background have SIGHUP and SIGINT overlooked: a child to be ended by one would run for ever.
    """
    for name, usual in (
        ("SIGPIPE", signal.SIG_IGN),
        ("SIGHUP", signal.SIG_DFL),
        ("SIGINT", signal.default_int_handler),
    ):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), usual)
