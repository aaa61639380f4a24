"""The bench as a dialogue of lines, for screen readers, pipes and tests: no drawing, no colour, no moving cursor."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable

from forelight.sim.errors import ForelightError

from ..view.words import seconds
from .session import Session

PROMPT = "> "
#: What is said of time before it passes.
STANDS = "Time stands until you say how long, as in steps 5 or wait 2 s, or say go to let it pass as you read and type."


def dialogue(
    session: Session,
    said: Iterable[str],
    answer: Callable[[str], None],
    clock: Callable[[], float] = time.monotonic,
) -> None:
    """Answer each line that is said, until the person leaves or nothing more comes.

    While time is let go, what passes by the clock (in seconds) between two lines passes on the bench before the later.
    """
    then = clock()
    for text in said:
        now = clock()
        for line in passed(session, now - then):
            answer(line)
        for line in session.say(text).lines:
            answer(line)
        if session.ended:
            return
        then = clock()


def passed(session: Session, room_s: float) -> Iterable[str]:
    """Let pass on the bench what passed in the room, and say how much that was."""
    pace, bench = session.pace, session.bench
    if not pace.going:
        return
    before, hz = bench.now, bench.board.oscillator_hz
    try:
        whole = pace.catch_up(room_s)
    except ForelightError as error:
        pace.go(going=False)
        yield f"Time is held: {error}"
    else:
        more = "" if whole else ", which is as far as it came"
        yield f"{seconds((bench.now - before) / hz)} passed on the bench, {pace}{more}."
    session.keep()
    yield from (*session.troubles(), *session.noticed())
