"""The eight outputs as a table of levels: what a probe on each line would tell."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from forelight.sim.frozen import frozen

from ..golden.golden import Golden
from .display import Glyphs

if TYPE_CHECKING:
    from rich.table import Table


@frozen
class LineRow:
    """One output over a whole golden.

    `high` and `unsettled` are shares of the time, 0 to 1; `last` is the level at the end: 0, 1 or None.
    """

    name: str
    changes: int
    high: float
    unsettled: float
    last: int | None

    def to_json(self) -> dict[str, object]:
        """As plain values."""
        counted = {"change_count": self.changes, "high": self.high, "unsettled_share": self.unsettled}
        return {"name": self.name, **counted, "last": self.last}


def lines(golden: Golden) -> list[LineRow]:
    """The eight outputs, `o0` first; an unsettled stretch counts neither as high nor as a change."""
    lasting = np.diff(np.append(golden.ticks, golden.end)).astype(np.float64)
    whole = max(float(lasting.sum()), 1.0)
    found = []
    for bit in range(8):
        level = golden.outputs >> bit & 1
        settled = golden.settled >> bit & 1
        known = level[settled == 1]
        found.append(
            LineRow(
                name=f"o{bit}",
                changes=int(np.count_nonzero(known[1:] != known[:-1])),
                high=round(float((lasting * (level & settled)).sum()) / whole, 4),
                unsettled=round(float((lasting * (1 - settled)).sum()) / whole, 4),
                last=int(level[-1]) if settled[-1] else None,
            )
        )
    return found


def table(
    found: list[LineRow], wiring: Mapping[str, str], meanings: Mapping[str, str], glyphs: Glyphs
) -> Table:
    """A row for each output; columns without content are left out.

    `wiring` maps output lines to segments, `meanings` to the author's words.
    """
    from rich.table import Table

    vague = any(line.unsettled for line in found)
    out = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    out.add_column("line")
    if wiring:
        out.add_column("segment", max_width=7)
    out.add_column("changes", justify="right")
    out.add_column("high", justify="right")
    if vague:
        out.add_column("unsettled", justify="right")
    out.add_column("at end", justify="right")
    if meanings:
        out.add_column("means", ratio=1)
    for line in found:
        cells = [line.name]
        if wiring:
            cells.append(wiring.get(line.name, ""))
        cells += [str(line.changes), _percent(line.high)]
        if vague:
            cells.append(_percent(line.unsettled) if line.unsettled else "")
        cells.append(glyphs.unsettled if line.last is None else str(line.last))
        if meanings:
            cells.append(meanings.get(line.name, ""))
        out.add_row(*cells)
    return out


def _percent(share: float) -> str:
    """Whole percent, but never 0 or 100 for a little more or less than that."""
    if 0 < share < 0.01:
        return "< 1 %"
    if 0.99 < share < 1:
        return "> 99 %"
    return f"{share * 100:.0f} %"
