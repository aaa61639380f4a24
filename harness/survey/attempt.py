"""A try: one slot, held once against what is foretold for it, with who and when."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from datetime import UTC, datetime
from uuid import uuid4

from forelight.sim.frozen import frozen

from ..verdict.kinds import AGREES, DIFFERS, INCONCLUSIVE

#: Beside the three verdicts: nothing could be foretold, so no recording would tell.
UNTOLD = "cannot be told"
VERDICTS = (AGREES, DIFFERS, INCONCLUSIVE, UNTOLD)
#: Verdicts that a later one which is open does not take away.
DEFINITE = (AGREES, DIFFERS)
#: The entry that takes an earlier one back; both stay in the notebook.
WITHDRAW = "withdraw"
COMMANDS = ("check", "count", "card", WITHDRAW)
#: How long words of people may be.
LONGEST_NAME, LONGEST_NOTE = 80, 2000


def now() -> str:
    """The time in UTC, so fine that tries come in their order."""
    return datetime.now(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


def fresh_id() -> str:
    """An id that occurs once in the world."""
    return str(uuid4())


@frozen
class Attempt:
    """One try, without the bulk of its answer, or that an earlier one is withdrawn.

    `at` is the time in UTC (ISO 8601). `who` may be empty; `notebook` is the id of the notebook that it was first
    written into. `slot` is None for a design that is in no slot. `code` is the strap code (None without a divided step
    clock) and `inputs` the levels of the eight inputs when the slot is up, bit 0 first. `verdict` is None for a card.
    `evidence` is in bits. `recording` is the SHA-256 of the recorded file, in hexadecimal digits, and `recording_name`
    its name. `again_of` is the id of the try whose recording was judged anew, or which is withdrawn.
    """

    board: str
    slot: int | None
    design: str
    command: str
    title: str = ""
    who: str = ""
    note: str = ""
    board_sha256: str = ""
    design_sha256: str = ""
    procedure: str = ""
    procedure_sha256: str = ""
    code: int | None = None
    inputs: int = 0
    verdict: str | None = None
    evidence: float | None = None
    recording: str | None = None
    recording_name: str = ""
    again_of: str | None = None
    notebook: str = ""
    program: str = ""
    at: str = field(default_factory=now)
    id: str = field(default_factory=fresh_id)

    @property
    def person(self) -> str:
        """Who tried it: a name, or the notebook of somebody who gave none."""
        return self.who or self.notebook

    @property
    def under(self) -> str:
        """Its procedure in words."""
        return "the usual procedure" if self.procedure == "default" else f"the procedure '{self.procedure}'"

    @property
    def question(self) -> tuple[str, str, int]:
        """What was asked of the slot: a later try by the same person with the same question replaces an earlier one."""
        return self.command, self.procedure, self.inputs


@frozen
class Details:
    """The bulk of a try: the `answer` as the command gives it for scripts, and the `bench`, what was done there and
    how it was asked for, from which the recording can be judged anew."""

    answer: Mapping[str, object] = field(default_factory=dict)
    bench: Mapping[str, object] = field(default_factory=dict)

    @property
    def reasons(self) -> tuple[str, ...]:
        """Why the verdict is what it is, a sentence each."""
        return texts(self.answer, "reasons")


@frozen
class ChipRoster:
    """The slots of one board: slot -> name of the design, as the roster of its profile has it. `asked` is what to say
    after --board, a path being relative to the notebook."""

    board: str
    asked: str
    slot_count: int
    slots: Mapping[int, str]


def texts(answer: Mapping[str, object], key: str) -> tuple[str, ...]:
    """The texts in a list of an answer, which a stranger may have written: whatever else stands there is left out."""
    found = answer.get(key)
    return tuple(text for text in found if isinstance(text, str)) if isinstance(found, list) else ()
