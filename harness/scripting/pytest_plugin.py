"""A pytest plug-in: the fixture `bench`, and what its display showed in the message of a test that fails."""

from __future__ import annotations

from collections.abc import Generator
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from .trial import TrialBench


@pytest.fixture
def bench() -> TrialBench:
    """A bench with the board quay: `bench.select("tide_gauge"); bench.steps(40); assert bench.display == "4."`."""
    from .trial import TrialBench

    return TrialBench()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]) -> Generator[None, Any, Any]:
    """Add the strip to the report of a test that has failed."""
    report = yield
    found = getattr(item, "funcargs", {}).get("bench")
    if found is not None and report.when == "call" and report.failed and type(found).__name__ == "TrialBench":
        from forelight.sim.errors import ForelightError

        try:
            told = found.strip
        except ForelightError as error:
            told = str(error)
        report.sections.append(("bench", told))
    return report
