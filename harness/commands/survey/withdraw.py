"""`forelight survey withdraw`: an entry of a notebook that is not to count, by a later entry; nothing is lost."""

from __future__ import annotations

from collections.abc import Sequence

from forelight.sim.errors import UsageError

from ...survey.attempt import WITHDRAW, Attempt, Details
from ...survey.keeping import Entry, program
from ...survey.notebook import reading, writing
from ...survey.standing import standings, withdrawn
from ...terminal.output import emit_json, show
from .glance import SHORT


def run(entry: Entry, slot: str, wanted: str | None, as_json: bool) -> int:
    """Withdraw one entry, and say how its slot stands then."""
    with reading(entry.path):  # which begins none
        entry.ready()
    with writing(entry.path) as notebook:
        attempts = notebook.attempts()
        one = _chosen([one for one in attempts if slot in (str(one.slot), one.design)], entry, slot, wanted)
        of = {key: getattr(one, key) for key in ("board", "slot", "design", "title")}
        said = Attempt(
            **of, command=WITHDRAW, who=entry.who, note=entry.note, again_of=one.id, program=program()
        )
        notebook.add(said, Details())
        found = standings(
            notebook.chips()[one.board], [other for other in (*attempts, said) if other.board == one.board]
        )
    beside = [other for other in found if other.slot is None and other.design == one.design]
    stands = next((other.kind for other in found if other.slot == one.slot), None) or beside[0].kind
    if as_json:
        emit_json(
            {"file": str(entry.path), "id": said.id, "again_of": one.id, "slot": one.slot, "verdict": stands}
        )
    else:
        by = f" by {one.who}" if one.who else ""
        what = f"{one.command}{by} of {one.at[:16].replace('T', ' ')} UTC ({one.verdict or 'no verdict'})"
        show(f"Withdrawn: {what}.", f"{one.title or one.design} now stands as {stands}.")
        show(f"To take that back: forelight survey withdraw {entry.path} {slot} --id {said.id[:SHORT]}")
    return 0


def _chosen(tries: Sequence[Attempt], entry: Entry, slot: str, wanted: str | None) -> Attempt:
    """The entry that is meant: by its id, or the last try that counts, of this person where one is named."""
    gone = withdrawn(tries)
    if wanted is not None:
        found = [one for one in tries if one.id.startswith(wanted)]
    else:
        counting = [one for one in tries if one.id not in gone and one.command != WITHDRAW]
        found = [one for one in counting if entry.who in ("", one.who)][-1:]
    if len(found) != 1:
        whose = f" by {entry.who}" if entry.who and wanted is None else ""
        what = (
            f"no entry begins with {wanted}" if wanted is not None else f"no try{whose} is left to withdraw"
        )
        if found:
            what = f"{len(found)} entries begin with {wanted}"
        raise UsageError(
            f"slot {slot}: {what}",
            place=str(entry.path),
            remedy=f"`forelight survey {entry.path} {slot}` shows all, with the beginnings of their ids",
        )
    (one,) = found
    if one.id in gone:
        raise UsageError(
            f"slot {slot}: {one.id[:SHORT]} is withdrawn already",
            place=str(entry.path),
            remedy="to take a withdrawal back, withdraw it in turn",
        )
    return one
