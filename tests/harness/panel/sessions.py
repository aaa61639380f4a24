"""A session on a slot of a board, as the panel begins one."""

from __future__ import annotations

from forelight.harness.boards.reader import load_board
from forelight.harness.boards.roster import find
from forelight.harness.hand.routine import bring_up
from forelight.harness.panel.session import Session


def session_on(name: str, *said: str, board: str = "quay", keep: bool = False) -> Session:
    found_board = load_board(board)
    found = find(found_board, name)
    slot = found.slot or 0
    session = Session(
        found_board, found.datasheet, slot, bring_up(found_board, found.datasheet, slot=slot), keep=keep
    )
    for text in said:
        told = session.say(text)
        assert not told.refused, told
    return session
