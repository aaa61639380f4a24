"""How much of a contribution its runs try: the stuck-at faults that they would reveal, each and together."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import field

from forelight.designs.datasheet import Datasheet
from forelight.sim.frozen import frozen

from ..bench.course import seated
from ..bench.inside import Inside
from ..boards.profile import Board
from ..coverage.measure import Faults, UntriedError, coverage
from ..coverage.record import Coverage, union
from ..hand.hand import Hand
from .runs import Carried


@frozen
class RunsTried:
    """What each run reveals, by its name, and all of them together; where that is not said, `why`."""

    runs: Mapping[str, Coverage] = field(default_factory=dict)
    together: Coverage | None = None
    why: str = ""


def tried(
    datasheet: Datasheet,
    board: Board,
    carried: Sequence[Carried],
    seed: int = 0,
    progress: Callable[[int, int], None] = lambda done, total: None,
) -> RunsTried:
    """What the runs that were carried out reveal."""
    seat = seated(board, datasheet)
    try:
        faults = Faults.few(seat, seed)
    except UntriedError as error:
        return RunsTried(why=f"{error.what}; {error.remedy}")
    found, why = dict[str, Coverage](), "no run could be carried out"
    for number, run in enumerate(carried):
        progress(number, len(carried))
        slot = int(run.golden.facts["slot"])
        hand = Hand(board, datasheet, slot)
        hand.do(run.procedure.actions[: run.up])
        inside = Inside.of(board, datasheet, run.procedure, slot, seat)
        try:
            found[run.procedure.name] = coverage(inside, run.golden, hand.now, faults=faults)
        except UntriedError as error:
            why = error.what
    return RunsTried(found, union(list(found.values())) if found else None, "" if found else why)
