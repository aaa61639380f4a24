"""The options about a notebook; what writes into one is loaded only where one is named."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from forelight.sim.errors import UsageError

if TYPE_CHECKING:
    from ..survey.keeping import Entry


def entry_of(asked: dict[str, Any]) -> Entry | None:
    """What the options about a notebook say; they are taken out of the values of a command."""
    path, who, note = (asked.pop(key) for key in ("notebook", "who", "note"))
    keep = asked.pop("keep", False)
    if path is not None:
        from ..survey.keeping import Entry

        return Entry(path, who, note, keep)
    if note or keep:
        raise UsageError(
            f"{'--note' if note else '--keep'} belongs to --survey",
            remedy="name a notebook with --survey FILE",
        )
    return None
