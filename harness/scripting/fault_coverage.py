"""How much of a design a procedure tries: the share of its stuck-at faults that the outputs would show."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Unpack

import numpy as np
from forelight.sim.errors import UsageError
from forelight.sim.gates.rewrite import gates
from forelight.sim.lanes.faults import collapsed, describe
from forelight.sim.lanes.revealed import NEVER, first_revealed, hopeless

from ..bench.inside import Inside
from .asking import Asking, Design, asking


@dataclass(frozen=True)
class Coverage:
    """Of `faults` stuck-at faults that can be told apart, `shown` make an output differ; `missed` names the others.
    Of these `hopeless` lie where nothing leads to an output, so that no run could show them.

    Faults that nothing can tell apart count once (collapsed by equivalence: Bushnell and Agrawal 2000, 4.5).
    """

    faults: int
    shown: int
    missed: tuple[str, ...]
    hopeless: int = 0

    @property
    def share(self) -> float:
        """Fault coverage, 0 to 1."""
        return self.shown / self.faults if self.faults else 1.0

    def __str__(self) -> str:
        return f"{self.shown} of {self.faults} stuck-at faults show on an output: {self.share:.1%}"


def coverage(design: Design, **asked: Unpack[Asking]) -> Coverage:
    """The fault coverage of what `predict` would foretell with the same words.

    A fault counts as shown if it makes a settled output differ once the slot is up; flip-flops wake up at 0. Raises
    UsageError where the outputs are not settled by then, or the design holds a memory that cannot be turned into gates.
    """
    found = asking(design, **asked)
    foretold = found.golden()
    settled = foretold.settled[foretold.ticks >= found.start()]
    if not np.all(settled == 0xFF):
        raise UsageError(
            f"the outputs of {found.sheet.name} are not settled once the slot is up, so that a fault need not show",
            remedy="begin with a restart that settles them, or take another procedure",
        )
    inside = Inside.of(found.board, found.sheet, found.procedure, int(foretold.facts["slot"]))
    drawn = gates(inside.simulation.netlist, as_drawn=True)
    if drawn.memories:
        names = ", ".join(memory.name for memory in drawn.memories)
        raise UsageError(
            f"memory {names} of {found.sheet.name} is too large to be turned into gates",
            remedy="only designs of gates and registers have stuck-at faults",
        )
    classes = [members[0] for members in collapsed(drawn, clocks=False)]
    up = inside.row_at(found.start())
    rows = inside.rows.astype(np.uint16)
    looked_at = np.full(len(rows), 0xFF, np.uint64)
    looked_at[:up] = 0
    first = first_revealed(drawn, classes, {"inputs": rows}, {"outputs": looked_at}, (0,))
    lost = hopeless(drawn, classes)
    missed = [
        describe(drawn, fault) for fault, row in zip(classes, first.tolist(), strict=True) if row == NEVER
    ]
    return Coverage(
        len(classes), len(classes) - len(missed), tuple(_plain(name) for name in missed), sum(lost)
    )


def _plain(name: str) -> str:
    return name.replace("wrapper.design.", "").replace("wrapper.", "")
