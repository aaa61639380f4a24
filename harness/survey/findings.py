"""All that a notebook says of one chip, gathered once for whoever shows it."""

from __future__ import annotations

from collections.abc import Mapping

from forelight.sim.errors import UsageError
from forelight.sim.frozen import frozen

from .answers import cause
from .attempt import Attempt, ChipRoster, Details
from .notebook import Notebook
from .standing import SlotStanding, contradictions, current, standings, tallied, valid

NO_DETAILS = Details()


@frozen
class Findings:
    """How each slot of a chip stands, with the answers of the tries that say so, and whatever people contradict each
    other in."""

    chip: ChipRoster
    standings: tuple[SlotStanding, ...]
    details: Mapping[str, Details]
    attempts: tuple[Attempt, ...]

    @property
    def by_slot(self) -> dict[int, SlotStanding]:
        return {one.slot: one for one in self.standings if one.slot is not None}

    @property
    def counts(self) -> Mapping[str, int]:
        """How many slots stand in each way."""
        return tallied(one for one in self.standings if one.slot is not None)

    def said(self, standing: SlotStanding) -> Details:
        """The answer of the try that decides."""
        return self.details.get(standing.deciding.id, NO_DETAILS) if standing.deciding else NO_DETAILS

    def why(self, standing: SlotStanding, *, names: bool) -> str:
        """Why a slot stands as it does, in a sentence; nothing for one that agrees or is untried."""
        if standing.against and not names:
            return "Two people contradict each other."
        if standing.deciding and standing.against:
            one, other = standing.deciding, standing.against
            versions = (
                ""
                if one.design_sha256 == other.design_sha256
                else ", held against another version of the design"
            )
            said = f"{one.who or 'Somebody'} says it {one.verdict}"
            return f"{said}, {other.who or 'somebody else'} says it {other.verdict}{versions}."
        details = self.said(standing)
        first = next(iter(details.reasons), "")
        likely = cause(details)
        return f"{first} Likely cause: {likely}" if first and likely else first or likely

    def contradictions(self) -> list[tuple[Attempt, Attempt]]:
        """All of them, by slot."""
        places: dict[tuple[int | None, str], list[Attempt]] = {}
        for attempt in valid(self.attempts):
            places.setdefault((attempt.slot, "" if attempt.slot is not None else attempt.design), []).append(
                attempt
            )
        keys = sorted(places, key=lambda key: (key[0] is None, key))
        return [pair for key in keys for pair in contradictions(current(places[key]))]


def gathered(notebook: Notebook, board: str | None = None) -> list[Findings]:
    """What the notebook says, chip by chip; or of the board of this name alone."""
    chips = notebook.chips()
    if board is not None and board not in chips:
        known = ", ".join(chips) or "none yet"
        raise UsageError(
            f"nothing was tried on {board}",
            place=str(notebook.path),
            remedy=f"the boards in this notebook: {known}",
        )
    return [_of(notebook, chip) for name, chip in chips.items() if board in (None, name)]


def _of(notebook: Notebook, chip: ChipRoster) -> Findings:
    attempts = notebook.attempts(chip.board)
    found = standings(chip, attempts)
    found.sort(key=lambda one: (one.slot is None, one.slot or 0, one.design))
    told = notebook.details(side.id for one in found for side in (one.deciding, one.against) if side)
    return Findings(chip, tuple(found), told, tuple(attempts))
