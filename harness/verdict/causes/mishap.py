"""The record of a cause: what went wrong, how common that is, what to do, and what it changes at the bench."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from forelight.designs.datasheet import Datasheet
from forelight.designs.procedures.procedure import Action, Procedure, Repeat
from forelight.sim.frozen import frozen

from ...boards.profile import Board
from ...hand.leads import STRAIGHT, Lead

if TYPE_CHECKING:
    from forelight.sim.lanes.faults import Fault

    from ..listing import Slip


@frozen
class Clip:
    """What the channel of an output shows: that of a `line`; upside down; a fixed `level`; or tied to an `other` one.

    Of two lines tied together `wins` says which level both show where they differ. `late` counts steps.
    """

    line: int
    inverted: bool = False
    level: int | None = None
    other: int | None = None
    wins: int = 0
    late: int = 0


#: Each channel on its own output.
CLIPPED: tuple[Clip, ...] = tuple(Clip(line) for line in range(8))


@frozen
class Handling:
    """What is done at the bench, and how the bench is wired.

    The selector stands at `slot` at first, and the design sits in slot `home`. The actions `before` bring the slot up,
    the restart included; the person looks at what comes `then`. Switches whose bits in `contacts` are 0 make no
    contact, `leads` go from the switches to the pins, `clips` from the pins to the channels of the instrument. The
    design has a `fault`, and wakes up in the state number `wake` (None: in any). The instrument counts `pace` seconds
    for each that passes; None stands for a number that nobody knows, and for a step clock that is not the board's.
    Whoever writes a list by eye makes the `slips`, which count its entries from 0.
    """

    board: Board
    sheet: Datasheet
    slot: int
    home: int
    before: tuple[Action, ...]
    then: tuple[Action, ...]
    contacts: int = 0xFF
    leads: tuple[Lead, ...] = STRAIGHT
    clips: tuple[Clip, ...] = CLIPPED
    fault: Fault | None = None
    wake: int | None = None
    pace: float | None = 1.0
    slips: tuple[Slip, ...] = ()

    @property
    def procedure(self) -> Procedure:
        return Procedure("bench", (*self.before, *self.then))

    @property
    def inside(self) -> Handling:
        """The same without what is done to the recording of it."""
        return replace(self, clips=CLIPPED, pace=1.0, fault=None, slips=())


Change = Callable[[Handling], Handling]
Edit = Callable[[Action], Iterable[Action]]


@frozen
class Mishap:
    """One thing that may have gone wrong.

    `kind` is what its prior goes by (`SHARES`), shared among all causes of the kind by `weight`. `name` tells it from
    all others, `said` is a sentence for the person and `remedy` another; `change` turns what was meant into what
    was done.
    """

    kind: str
    name: str
    said: str
    remedy: str
    change: Change
    weight: float = 1.0


#: How many of a hundred recordings that differ each kind of cause may account for (common practice, no source): slips
#: of the hand come first, then contacts and clips, and broken silicon last.
SHARES = {
    "switch set the other way": 8.0, "switch without contact": 6.0, "two switches without contact": 1.0,
    "straps not put back": 5.0, "inputs left at zero": 3.0, "switch not moved": 4.0, "restart never given": 5.0,
    "restart held": 4.0, "restart of the wrong polarity": 2.0, "restart on another line": 1.0,
    "press not seen": 2.0, "button bounced": 2.0, "steps miscounted": 1.0, "selector, one switch": 6.0,
    "selector, two switches": 1.0, "strap switch without contact": 4.0, "strap code misread": 3.0,
    "another strap code": 4.0, "step clock off": 3.0, "oscillator stopped": 2.0, "outside clock": 1.0,
    "input stuck": 2.0, "inputs swapped": 3.0, "output stuck": 3.0, "output inverted": 1.0, "all outputs inverted": 1.0,
    "outputs swapped": 4.0, "outputs shorted": 2.0, "clip the wrong way round": 3.0, "clip in another order": 2.0,
    "channel late": 1.0, "wrong time base": 2.0, "another run": 4.0, "other inputs recorded": 3.0, "another slot": 2.0,
    "another power-up": 2.0, "stuck inside the chip": 0.5, "two slips": 0.5, "input open": 1.0,
    "clock stopped on the way": 1.0, "entry missed": 3.0, "entry written twice": 2.0, "entry written wrong": 3.0,
    "several entries amiss": 0.5,
}  # fmt: skip


#: Two causes that came together.
PAIR = "two slips"


def both(first: Mishap, second: Mishap) -> Mishap:
    """Two that came together."""
    return Mishap(
        PAIR,
        f"{first.name}; {second.name}",
        f"Two things at once. {first.said} {second.said}",
        f"{first.remedy} {second.remedy}",
        lambda it: second.change(first.change(it)),
    )


def edited(actions: Iterable[Action], edit: Edit) -> tuple[Action, ...]:
    """Each action replaced by those that `edit` makes of it, inside repeats too; an empty repeat goes."""
    found: list[Action] = []
    for action in actions:
        if isinstance(action, Repeat):
            inner = edited(action.actions, edit)
            found += [Repeat(action.count, inner)] if inner else []
        else:
            found += edit(action)
    return tuple(found)


def throughout(edit: Edit) -> Change:
    """The change that edits every action."""
    return lambda it: replace(it, before=edited(it.before, edit), then=edited(it.then, edit))


def priors_of(causes: Sequence[Mishap]) -> dict[str, float]:
    """The logarithm of each cause's prior, by name: the share of its kind, parted by weight."""
    total: dict[str, float] = {}
    for cause in causes:
        total[cause.kind] = total.get(cause.kind, 0.0) + cause.weight
    whole = sum(SHARES.values())
    return {c.name: math.log2(SHARES[c.kind] / whole * c.weight / total[c.kind]) for c in causes}
