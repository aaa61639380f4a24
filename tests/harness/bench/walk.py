"""Random procedures for the tests that compare the chip with the bench."""

from __future__ import annotations

import random
from collections import Counter

from forelight.designs.datasheet import INPUT_LINES
from forelight.designs.procedures.procedure import (
    Action,
    Disable,
    Drive,
    Enable,
    Frames,
    LetGo,
    Oscillator,
    Press,
    Procedure,
    Pulse,
    Release,
    Repeat,
    Restart,
    Seconds,
    Select,
    Set,
    Steps,
    Strap,
)
from forelight.harness.hand.hand import Hand
from forelight.sim.errors import UsageError

from .rig import Setup

#: The step clock shall run most of the time, so that there is something to see.
KINDS = (
    *(
        "select",
        "set",
        "set",
        "press",
        "release",
        "drive",
        "let go",
        "wait",
        "seconds",
        "repeat",
        "oscillator",
        "enable",
    ),
    *("strap", "strap", "disable", "restart", "steps", "steps", "steps", "steps", "steps", "pulse", "pulse"),
)


class Walk:
    """Draws actions for the design in `slot`; `drawn` counts those that could be carried out, by kind.

    The bench's own hand follows, only to leave out what cannot be done at the moment and to stop in time.
    """

    def __init__(self, setup: Setup, slot: int, rng: random.Random) -> None:
        self.setup = setup
        self.board = setup.board
        self.slot = slot
        self.rng = rng
        self.drawn: Counter[str] = Counter()

    def procedure(self, frames: int) -> Procedure:
        """About so many frames long."""
        hand = Hand(self.board, self.setup.sheets[self.slot], self.slot)
        actions: list[Action] = []
        oscillator_off = 0
        while hand.frame < frames:
            kind = self.rng.choice(KINDS)
            if oscillator_off > 2:
                kind = "oscillator"
            half = hand.stretches[-1].half if hand.stretches else 1
            action = self._draw(kind, half, hand)
            if isinstance(action, Steps) and 2 * half * action.count > 400:
                continue
            if isinstance(action, Restart) and 2 * half * action.length > 400:
                continue
            if isinstance(action, Oscillator):
                action = Oscillator(bool(oscillator_off))
                oscillator_off = int(not action.on)
            elif oscillator_off:
                oscillator_off += 1
            before = hand.snapshot()
            try:
                hand.do([action])
            except UsageError:
                hand.restore(before)
                continue
            actions.append(action)
            self.drawn[kind] += 1
        return Procedure("random", tuple(actions))

    def _draw(self, kind: str, half: int, hand: Hand) -> Action:
        rng, bench = self.rng, hand.situation()
        clocked = bench.clock_line if bench.clocked else None
        lines = [line for line in INPUT_LINES if line != clocked]
        actions: dict[str, Action] = {
            "select": Select(
                rng.choice([self.slot, *self.setup.sheets, rng.randrange(self.board.slot_count)])
            ),
            "set": Set({line: rng.randint(0, 1) for line in rng.sample(lines, rng.randint(1, len(lines)))}),
            "press": Press(rng.choice(sorted(self.board.buttons)), rng.random() < 0.3),
            "release": Release(rng.choice(sorted(self.board.buttons)), rng.random() < 0.3),
            "drive": Drive({line: rng.randint(0, 1) for line in rng.sample(INPUT_LINES, rng.randint(1, 2))}),
            "let go": LetGo(tuple(bench.driven) or ("i0",)),
            "wait": Frames(rng.randint(1, 40)),
            "seconds": Seconds(float(rng.randint(1, 40) / self.board.frame_hz)),
            "oscillator": Oscillator(True),
            "strap": Strap(self._code()),
            "enable": Enable(),
            "disable": Disable(),
            "restart": Restart(rng.randint(1, 4)),
            "steps": Steps(rng.randint(1, 25)),
            "pulse": self._pulse(rng.randint(1, 10)),
        }
        if kind == "repeat":
            inner = ("set", "press", "release", "select", "wait")
            return Repeat(rng.randint(2, 3), tuple(actions[name] for name in rng.sample(inner, 3)))
        return actions[kind]

    def _pulse(self, count: int) -> Pulse:
        """Every other one as fast as the board can carry, the rest with three frames to a move."""
        return Pulse(count, float(self.board.frame_hz) / (2 if count % 2 else 6))

    def _code(self) -> int:
        """Mostly one that is soon through."""
        quick = [code for code in range(min(self.board.codes, 256)) if self.board.half(code) <= 8]
        return self.rng.choice([*quick * 2, self.rng.randrange(self.board.codes)])
