"""Whether the outputs of a prediction settle, and after how many steps; whether the restart settles them."""

from __future__ import annotations

import numpy as np
from forelight.designs.datasheet import OUTPUT_LINES, Datasheet
from forelight.designs.procedures.procedure import Procedure, Restart
from forelight.sim.frozen import frozen
from numpy.typing import NDArray

from ..boards.profile import Board
from ..golden.golden import Golden
from ..hand.hand import Hand


@frozen
class Settling:
    """What becomes of the outputs that the power-up decides.

    `restarted` says whether the procedure has a restart. `steps` is how many steps the design saw from the beginning of
    its first restart (without one: of the procedure) until all outputs were settled for good, None where they never
    are. `never` are the outputs that are unsettled at the end; of those, `raced` were settled until a race. Those in
    `again` were unsettled once more after they had been settled, and who knows when next. `proved`
    are the outputs that are proved all the time from then on, `sampled` those that rest on power-ups that agree.
    With `anywhere` the outputs in `never` do not settle either, but are the same for all power-ups up to a shift in
    time.
    """

    restarted: bool
    anywhere: bool
    steps: int | None
    never: tuple[str, ...]
    raced: tuple[str, ...]
    proved: tuple[str, ...]
    sampled: tuple[str, ...]
    again: tuple[str, ...] = ()


def settling(golden: Golden, restart: int | None) -> Settling:
    """The facts of a golden whose first restart begins in tick `restart` (None: there is none)."""
    settled = golden.settled
    anywhere = golden.facts.get("start") == "anywhere"
    if anywhere:  # as it was before the claim of the period
        first = int(golden.facts["period_from_tick"])
        settled = settled[: max(1, int(np.searchsorted(golden.ticks, first)))]
    never = ~settled[-1:]
    vague = np.flatnonzero(settled != 0xFF)
    first = int(vague[-1]) + 1 if len(vague) else 0
    begun = max(0, int(np.searchsorted(golden.ticks, restart or 0, side="right")) - 1)
    since = settled[begun:]
    again = np.bitwise_or.reduce(np.bitwise_or.accumulate(since) & ~since, keepdims=True)
    steps = None
    if not anywhere and not (never | again)[0]:
        steps = max(0, int(golden.steps[first] - golden.steps[begun]))
    # Where some never settle, the last row stands for all.
    proved = np.bitwise_and.reduce(golden.proved[min(first, len(settled) - 1) :], keepdims=True)
    raced = {line for race in golden.races for line in race.outputs}
    return Settling(
        restarted=restart is not None,
        anywhere=anywhere,
        steps=steps,
        never=_lines(never),
        raced=tuple(line for line in _lines(never) if line in raced),
        proved=_lines(proved),
        sampled=_lines(~never & ~proved),
        again=() if anywhere else _lines(again),
    )


def restart_tick(board: Board, datasheet: Datasheet, procedure: Procedure, slot: int) -> int | None:
    """The tick in which the procedure's first restart begins; None where it has none at its top level."""
    actions = procedure.actions
    index = next((number for number, action in enumerate(actions) if isinstance(action, Restart)), None)
    if index is None:
        return None
    hand = Hand(board, datasheet, slot)
    hand.do(actions[:index])
    return hand.now


def _lines(mask: NDArray[np.uint8]) -> tuple[str, ...]:
    return tuple(line for bit, line in enumerate(OUTPUT_LINES) if int(mask[0]) >> bit & 1)
