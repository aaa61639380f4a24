"""The three verdicts, and what the procedure is called that parts two causes, for those who need nothing else here."""

from __future__ import annotations

AGREES, DIFFERS, INCONCLUSIVE = "agrees", "differs", "inconclusive"
#: The name of an experiment, by which a try is known to have been one.
WHICH_CAUSE = "which of two causes"
