"""How likely a fit as good as the one found is by chance: a match by chance is not a match.

Theory of operation. The same golden is laid over the same capture at random shifts and at random rates between half
and double (but not within 5 % of the one found), and the share of edges that match is taken each time. Its mean and
variance say how many independent edges the capture is worth: as many as a binomial distribution of that mean would
need for that variance. The chance that a random placement matches as large a share as the fit that was found is then
bounded by Chernoff's inequality, and multiplied by the number of placements that the search has looked at
(Bonferroni's correction).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .align import GATE, Nearest
from .record import Floats
from .reference import Edges
from .timebase import TimeBase

PLACEMENTS = 400
MOST_EDGES = 1024
SMALL = 1e-3  # a chance that is smaller does not worry us


@dataclass(frozen=True)
class Chance:
    """`found`: the chance of a fit as good as this one; `perfect`: that of a fit in which all edges match."""

    found: float
    perfect: float


def chance(edges: Edges, nearest: Nearest, base: TimeBase, tried: int, seed: int = 0) -> Chance:
    """Both chances for the capture's edges under the time base; `tried` placements were looked at."""
    rng = np.random.default_rng(seed)
    time = base.to_golden(edges.time)
    inside = np.flatnonzero((time > -GATE) & (time < nearest.end + GATE))
    if len(inside) < 2:
        return Chance(1.0, 1.0)
    begin = inside[0] + max(0, (len(inside) - MOST_EDGES) // 2)
    rows = slice(int(begin), int(min(begin + MOST_EDGES, inside[-1] + 1)))
    part, time = edges.part(rows), time[rows]
    shares = np.array([_share(part, nearest, moved) for moved in _placements(time, nearest.end, rng)])
    mean = min(max(float(shares.mean()), 0.25 / (PLACEMENTS * len(time))), 0.999)
    variance = max(float(shares.var()), mean * (1 - mean) / len(time))
    worth = min(max(mean * (1 - mean) / variance, 1.0), float(len(time)))
    return Chance(
        *(_bound(share, mean, worth, max(tried, 1)) for share in (_share(part, nearest, time), 1.0))
    )


def _placements(time: Floats, end: float, rng: np.random.Generator) -> Floats:
    """Golden times of the edges at random shifts and rates: shape (PLACEMENTS, edges)."""
    rate = np.exp(rng.uniform(math.log(1.05), math.log(2), PLACEMENTS) * rng.choice([-1, 1], PLACEMENTS))
    middle = (time[0] + time[-1]) / 2
    reach = rate * (time[-1] - time[0]) / 2
    low, high = np.minimum(reach, end / 2), np.maximum(end - reach, end / 2)
    centre = rng.uniform(low, np.maximum(high, low + 1.0))
    placed: Floats = (time - middle) * rate[:, None] + centre[:, None]
    return placed


def _share(edges: Edges, nearest: Nearest, time: Floats) -> float:
    """The share of edges of both sides that have a partner, where the two overlap."""
    inside = (time > -GATE) & (time < nearest.end + GATE)
    matched = int((np.abs(nearest.distance(edges.kind[inside], time[inside])) < GATE).sum())
    golden = int(nearest.count(np.array([time[0] - GATE]), np.array([time[-1] + GATE]))[0])
    return min(2 * matched / max(int(inside.sum()) + golden, 1), 1.0)


def _bound(share: float, mean: float, worth: float, tried: int) -> float:
    if share <= mean:
        return 1.0
    share = min(share, 1 - 1e-9)
    divergence = share * math.log(share / mean) + (1 - share) * math.log((1 - share) / (1 - mean))
    return min(1.0, tried * math.exp(-worth * divergence))
