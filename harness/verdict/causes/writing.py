"""Slips of whoever writes a list by eye: entries missed, written twice or written wrong, found and not searched."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from forelight.sim.plain_text import listed

from ..fit import Fit
from ..listing import MISSED, SLIP_BITS, TWICE, WRONG_ENTRY, Listed, Slip
from ..placement import Recording, place
from ..rows import ReadRows
from .mishap import Mishap

#: Slips in one list: with more of them the list is something else.
MOST = 3
SEVERAL = "several entries amiss"
#: How many times as common as of all recordings that differ they are of the lists: what an instrument records has none.
OF_LISTS = 5.0
KINDS = {"entry missed": MISSED, "entry written twice": TWICE, "entry written wrong": WRONG_ENTRY}
_KIND = {slip: kind for kind, slip in KINDS.items()}


def cause(slips: Sequence[Slip]) -> Mishap:
    """These slips, in the order of the list."""
    words = [_said(slip) for slip in slips]
    return Mishap(
        _KIND[slips[0].kind] if len(slips) == 1 else SEVERAL,
        "; ".join(words),
        f"In the list {listed(words)}; all else in it is as foretold.",
        f"Look at {_places(slips)} again, at a slower step rate if need be, and write down what is shown.",
        lambda it: replace(it, slips=tuple(slips)),
    )


def _places(slips: Sequence[Slip]) -> str:
    """Where in the list they are."""
    where = [
        f"{slip.first + 1}" + (f" to {slip.last + 1}" if slip.last > slip.first else "") for slip in slips
    ]
    many = len(slips) > 1 or slips[0].last > slips[0].first
    return f"entr{'ies' if many else 'y'} {listed(where)}"


def _said(slip: Slip) -> str:
    one = slip.first == slip.last
    where = f"{slip.first + 1}" if one else f"{slip.first + 1} to {slip.last + 1}"
    if slip.kind == MISSED:
        return f"a step was left out {'before entry' if one else 'at entries'} {where}"
    if slip.kind == TWICE:
        return (
            f"entry {where} is the step before it once more" if one else f"one of entries {where} is too many"
        )
    return f"entry {where} was written down wrong"


def as_written(told: ReadRows, best: Listed) -> ReadRows:
    """What is foretold for each entry of a list in which such slips were made; nothing for one that is wrong."""
    path = np.array(best.path)
    known = told.known[path].copy()
    known[[slip.first for slip in best.slips if slip.kind == WRONG_ENTRY]] = 0
    return ReadRows(told.levels[path], known, 1, told.first + best.path[0])


def explains(recording: Recording, told: ReadRows, best: Listed) -> Fit:
    """How well such slips explain a list, where each may be made at any entry; `told` is the prediction.

    Half of the entries that are wrong are so in one line, whichever, and show what was foretold in the others.
    """
    bits = best.bits + len(best.slips) * (SLIP_BITS - math.log2(len(best.path)))
    one_line = -1.0 - math.log2(len(recording.names))
    for slip in best.slips:
        if slip.kind == WRONG_ENTRY:
            anything = -float(recording.cost[:, slip.first].sum())
            row = best.path[slip.first]
            known = told.known[row] & recording.rows.known[slip.first]
            wrong = (told.levels[row] ^ recording.rows.levels[slip.first]) & known
            nearly = one_line if wrong.bit_count() == 1 else -math.inf
            bits += float(np.logaddexp2(anything - 1.0, nearly)) - anything
    return Fit(bits, 0.0, (place(recording, as_written(told, best), 0),))
