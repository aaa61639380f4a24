"""What is found out about a contribution, and whether it can be accepted so."""

from __future__ import annotations

from forelight.sim.frozen import frozen


@frozen
class Finding:
    """One thing to put right (`must`), or to know.

    `subject` names what was looked at, `said` is the finding with its remedy in one sentence without a full stop,
    `place` a file and line where there is one.
    """

    subject: str
    said: str
    place: str = ""
    must: bool = False

    def __str__(self) -> str:
        return f"{self.place}: {self.said}" if self.place else self.said
