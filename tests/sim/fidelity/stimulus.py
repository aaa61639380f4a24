"""Random input rows whose data moves away from every clock edge."""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Drive:
    """How one circuit is driven.

    Each step has a row with new data and then, for one clock, a row for its rise and one for its fall; of
    several clocks a random one toggles, twice a step. Without a clock a step is one row. `odds` holds the
    share of 1 of a one-bit input (else a half), or how often a wider one takes a new value (else always).
    `first` holds levels before the first step; they stay for `hold` steps, which are driven and not
    compared. With `late`, data moves while the clock is high, too.
    """

    clocks: tuple[str, ...] = ()
    odds: Mapping[str, float] = field(default_factory=dict)
    first: Mapping[str, int] = field(default_factory=dict)
    hold: int = 0
    late: bool = False


def rows(rng: random.Random, widths: Mapping[str, int], drive: Drive, steps: int) -> Iterator[dict[str, int]]:
    """One dictionary of all inputs a row; the same one, changed in place."""
    levels = dict.fromkeys(widths, 0) | dict(drive.first)
    data = [name for name in widths if name not in drive.clocks]
    yield levels
    for step in range(steps + drive.hold):
        renew = step >= drive.hold
        if renew:
            _renew(rng, levels, widths, data, drive)
        yield levels
        if len(drive.clocks) == 1:
            toggled = [drive.clocks[0]] * 2
        else:
            toggled = [rng.choice(drive.clocks) for _ in range(2)] if drive.clocks else []
        for number, clock in enumerate(toggled):
            if number and drive.late and renew:
                _renew(rng, levels, widths, data, drive)
                yield levels
            levels[clock] ^= 1
            yield levels


def _renew(
    rng: random.Random, levels: dict[str, int], widths: Mapping[str, int], data: list[str], drive: Drive
) -> None:
    for name in data:
        width, odds = widths[name], drive.odds.get(name)
        if width == 1:
            levels[name] = int(rng.random() < (0.5 if odds is None else odds))
        elif odds is None or rng.random() < odds:
            edge = rng.choice((0, 1, (1 << width) - 1, 1 << (width - 1)))
            levels[name] = edge if rng.random() < 0.1 else rng.getrandbits(width)


def uncompared(drive: Drive) -> int:
    """Rows at the start that a comparison leaves out."""
    return drive.hold * (1 + 2 * bool(drive.clocks))
