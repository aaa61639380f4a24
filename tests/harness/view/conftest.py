"""Small goldens for drawing: rows of time, outputs and unsettled lines."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pytest
from forelight.harness.golden.golden import Golden

MakeGolden = Callable[..., Golden]


@pytest.fixture
def make_golden() -> MakeGolden:
    def make(rows: Sequence[tuple[int, ...]], end: int, hz: int = 1000) -> Golden:
        """Rows are (tick, outputs[, unsettled lines]); each row is one step more than the one before."""
        columns = np.array([(*row, 0)[:3] for row in rows], dtype=np.int64)
        outputs, unsettled = columns[:, 1].astype(np.uint8), columns[:, 2].astype(np.uint8)
        nothing = np.zeros(len(rows), dtype=np.uint8)
        steps = np.arange(len(rows), dtype=np.int64)
        return Golden("quay", hz, columns[:, 0], steps, nothing, outputs, nothing, ~unsettled, end)

    return make
