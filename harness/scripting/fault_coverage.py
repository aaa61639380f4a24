"""How much of a design a procedure tries: the share of its stuck-at faults that the outputs would show."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Unpack

import numpy as np
from forelight.sim.errors import UsageError
from forelight.sim.gates.rewrite import gates
from forelight.sim.lanes.faults import Fault, collapsed, describe
from forelight.sim.lanes.variants import Lanes
from forelight.sim.netlist import Netlist

from ..bench.inside import Inside
from .asking import Asking, Design, asking

#: Variants side by side: the sound design, and faults.
LANES = 512


@dataclass(frozen=True)
class Coverage:
    """Of `faults` stuck-at faults that can be told apart, `shown` make an output differ; `missed` names the others.

    Faults that nothing can tell apart count once (collapsed by equivalence: Bushnell and Agrawal 2000, 4.5).
    """

    faults: int
    shown: int
    missed: tuple[str, ...]

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
    missed: list[str] = []
    for first in range(0, len(classes), LANES - 1):
        tried = classes[first : first + LANES - 1]
        shows = _shown(drawn, tried, rows, up)
        missed += [describe(drawn, fault) for fault, seen in zip(tried, shows, strict=True) if not seen]
    return Coverage(len(classes), len(classes) - len(missed), tuple(_plain(name) for name in missed))


def _shown(netlist: Netlist, faults: list[Fault], rows: np.ndarray, up: int) -> list[bool]:
    """Which faults make an output differ from row `up` on."""
    lanes = Lanes(netlist, LANES, 0, faults=[None, *faults])
    if up:
        lanes.differs_in_samples({"inputs": rows[:up]})
    return [bool(differs) for differs in lanes.differs_in_samples({"inputs": rows[up:]})[1 : len(faults) + 1]]


def _plain(name: str) -> str:
    return name.replace("wrapper.design.", "").replace("wrapper.", "")
