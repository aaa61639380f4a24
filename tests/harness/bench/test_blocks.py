"""A long run is laid out in pieces, wherever these are cut."""

from __future__ import annotations

import numpy as np
import pytest
from forelight.designs.catalogue import load_design
from forelight.designs.procedures.procedure import Procedure, parse
from forelight.harness.bench import bench
from forelight.harness.bench.predict import predict
from forelight.harness.boards.reader import load_board
from forelight.harness.golden.golden import Golden
from forelight.harness.golden.write import to_csv
from forelight.sim.proof import ternary

#: Board, design, actions: other slots between, an empty one, a memory that answers, races, a board without frames.
RUNS = (
    (
        "quay",
        "tide_gauge",
        ("strap 9", "restart", "steps 30", "set i2=1", "steps 9", "select 42", "steps 7", "select 101"),
    ),
    ("quay", "tide_gauge", ("strap 0", "steps 40", "select 1", "frames 30", "select 101", "steps 40")),
    ("quay", "chart_reader", ("strap 0", "restart", "steps 60")),
    (
        "quay",
        "ripple_clock",
        ("strap 0", "restart", "set i0=1 i1=1", "steps 20", "set i0=0 i1=0", "frames 5"),
    ),
    ("mole", "dice", ("strap 0", "restart", "steps 50", "set i0=1", "steps 20")),
)


def foretold(board: str, design: str, actions: tuple[str, ...]) -> Golden:
    return predict(load_board(board), load_design(design), Procedure("p", parse(list(actions))), power_ups=9)


@pytest.mark.parametrize(("board", "design", "actions"), RUNS, ids=range(len(RUNS)))
def test_pieces_of_any_size(
    board: str, design: str, actions: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = foretold(board, design, actions)
    assert len(whole.ticks) > 20
    for size in (1, 2, 7):
        monkeypatch.setattr(bench, "_BLOCK", size)
        monkeypatch.setattr(ternary, "_BLOCK", size)
        pieces = foretold(board, design, actions)
        assert to_csv(pieces) == to_csv(whole)
        assert (pieces.end, pieces.facts, pieces.races) == (whole.end, whole.facts, whole.races)
        assert np.all(np.diff(pieces.ticks) > 0)
