"""The table of levels as exact strings."""

from __future__ import annotations

from collections.abc import Callable

from forelight.harness.golden.golden import Golden
from forelight.harness.view.bits import LineRow, lines, table
from forelight.harness.view.display import UNICODE
from rich.console import Console

MakeGolden = Callable[..., Golden]


def printed(
    found: list[LineRow], wiring: dict[str, str], meanings: dict[str, str], width: int = 80
) -> list[str]:
    console = Console(width=width, color_system=None)
    with console.capture() as capture:
        console.print(table(found, wiring, meanings, UNICODE))
    return [line.rstrip() for line in capture.get().splitlines()]


def test_shares_and_changes(make_golden: MakeGolden) -> None:
    golden = make_golden([(0, 0b101, 0b1000), (250, 0b100), (500, 0b101), (999, 0b100)], 1000)
    assert lines(golden)[:4] == [
        LineRow("o0", changes=3, high=0.749, unsettled=0, last=0),
        LineRow("o1", changes=0, high=0, unsettled=0, last=0),
        LineRow("o2", changes=0, high=1, unsettled=0, last=1),
        LineRow("o3", changes=0, high=0, unsettled=0.25, last=0),
    ]


def test_a_full_table(make_golden: MakeGolden) -> None:
    golden = make_golden([(0, 0b01), (996, 0b10), (999, 0b10, 0b100)], 1000)
    found = lines(golden)[:3]
    assert printed(found, {"o0": "a", "o1": "b"}, {"o1": "whistle"}) == [
        "line  segment  changes    high  unsettled  at end  means",
        "o0    a              1  > 99 %                  0",
        "o1    b              1   < 1 %                  1  whistle",
        "o2                   0     0 %      < 1 %       ?",
    ]


def test_columns_without_content_are_left_out(make_golden: MakeGolden) -> None:
    found = lines(make_golden([(0, 1)], 10))[:1]
    assert printed(found, {}, {}) == ["line  changes   high  at end", "o0          0  100 %       1"]
