"""`forelight panel`: the bench on the screen, or as a dialogue of lines."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path

from forelight.designs.procedures.check import clocked_at_start
from forelight.designs.procedures.procedure import load_toml

from ..boards.reader import load_board
from ..boards.roster import find
from ..hand.routine import bring_up
from ..limits import untimed
from ..panel.plain import PROMPT, STANDS, dialogue
from ..panel.session import Session
from ..terminal.output import emit, emit_words, warn


def run(slot: str | None, board_name: str, procedure: Path | None, *, plain: bool) -> int:
    """Bring a slot up, and leave the bench to the person; without `slot` the lowest one that holds a design."""
    board = load_board(board_name)
    found = find(board, slot if slot is not None else str(min(board.slots, default=0)))
    clocked = procedure is None or clocked_at_start(load_toml(procedure).actions)
    before = bring_up(board, found.datasheet, slot=found.slot, clocked=clocked)
    session = Session(board, found.datasheet, found.slot or 0, before)
    if procedure is not None:
        told = session.open(procedure)
        if told.refused:
            warn(f"{procedure}: {told.refused}")
    if plain or not (sys.stdin.isatty() and sys.stdout.isatty()):
        return talk(session)
    on_screen(session)
    if session.kept and session.actions:
        emit_words(
            f"What you did is kept in {session.kept}; open it in any command with --procedure {session.kept}"
        )
    return 0


def on_screen(session: Session) -> None:
    """The bench on the screen, until the person leaves it. Raises whatever went wrong there."""
    from ..panel.app import Panel

    untimed()
    panel = Panel(session)
    panel.run()
    if panel.fault is not None:
        raise panel.fault
    if panel.ended_by:
        os.kill(os.getpid(), panel.ended_by)  # the terminal is as it was; this is for whoever waits for us


def talk(session: Session) -> int:
    """The dialogue on standard input and output."""
    untimed()
    for line in opening(session):
        emit_words(line)
    dialogue(session, spoken(), emit_words)
    return 0


def opening(session: Session) -> Iterator[str]:
    """Where the person is, and how to begin."""
    sheet, board = session.sheet, session.board
    yield f"{sheet.title}, slot {session.slot} of {board.name}."
    yield from session.opening()
    yield from session.look()
    yield STANDS
    yield "Say help to hear what can be said, quit to leave."


def spoken() -> Iterator[str]:
    """Each line that is typed, with a prompt where somebody types."""
    while True:
        if sys.stdin.isatty():
            emit(PROMPT)
        line = sys.stdin.readline()
        if not line:
            return
        yield line
