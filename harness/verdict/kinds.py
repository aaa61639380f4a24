"""The three verdicts, for those who need nothing else of this room."""

from __future__ import annotations

AGREES, DIFFERS, INCONCLUSIVE = "agrees", "differs", "inconclusive"
