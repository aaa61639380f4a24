"""How far the sources of contributions are trusted in this process: where Python runs, and who reads Verilog."""

from __future__ import annotations

from contextvars import ContextVar
from pathlib import Path

from forelight.sim.errors import UsageError
from forelight.sim.frozen import frozen

HERE, APART, REFUSED = "here", "apart", "refused"


@frozen
class Trust:
    """`python` says what becomes of Python from outside the catalogue, `sandbox` that WebAssembly reads Verilog.

    Python is code, and is run to find out what it describes: `here`, in this process, as is usual for who works in
    Python; `apart`, in a process of its own under limits, as the commands do once the person agreed; or `refused`.
    """

    python: str = HERE
    sandbox: bool = False


TRUST: ContextVar[Trust] = ContextVar("forelight_trust")


def trust() -> Trust:
    """What was agreed; whoever uses Forelight from Python and said nothing runs Python here."""
    return TRUST.get(Trust())


def runs_apart(file: Path) -> bool:
    """Whether a Python source is to be run in a process of its own. Raises UsageError where it is not to be run."""
    from ..catalogue import is_own  # every command knows of trust, and few read a source

    if trust().python == HERE or is_own(file):
        return False
    if trust().python == REFUSED:
        raise UsageError(
            "a design in Python is a program, and reading it runs it",
            place=str(file),
            remedy="look at it first; if you trust whoever wrote it, say --trust",
        )
    return True
