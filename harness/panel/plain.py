"""The bench as a dialogue of lines, for screen readers, pipes and tests: no drawing, no colour, no moving cursor."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from .session import Session

PROMPT = "> "


def dialogue(session: Session, said: Iterable[str], answer: Callable[[str], None]) -> None:
    """Answer each line that is said, until the person leaves or nothing more comes."""
    for text in said:
        for line in session.say(text).lines:
            answer(line)
        if session.ended:
            return
