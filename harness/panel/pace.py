"""How time passes on the panel: still, at true speed, slower, faster, or as fast as it goes; never more than it can."""

from __future__ import annotations

import time

from ..bench.live import LiveBench

#: Pictures a second.
RATE = 33
#: Seconds of computing that one picture may take.
BUDGET_S = 0.018
#: Seconds of computing in which a dialogue catches up with the room.
CATCH_UP_S = 2.0
#: Speeds that can be chosen, as multiples of the board's; None is as fast as it goes.
SPEEDS: tuple[float | None, ...] = (0.001, 0.01, 0.1, 0.25, 1.0, 4.0, 10.0, 100.0, None)
_TRUE = SPEEDS.index(1.0)


class Pace:
    """Lets time pass on a bench, a picture at a time; `reached` is the speed that it came to, of what was chosen."""

    def __init__(self, bench: LiveBench) -> None:
        self.bench = bench
        self.going = False
        self.reached = 1.0
        self._chosen = _TRUE
        self._owed = 0.0  # frames
        self._least = BUDGET_S
        self._most = 256  # frames that one picture may take, by what they took before

    @property
    def speed(self) -> float | None:
        return SPEEDS[self._chosen]

    @property
    def seen_speed(self) -> float | None:
        """The speed at which the eye sees the bench; None while it stands."""
        return self.reached if self.going else None

    def faster(self) -> None:
        self._chosen = min(self._chosen + 1, len(SPEEDS) - 1)

    def slower(self) -> None:
        self._chosen = max(self._chosen - 1, 0)

    def true(self) -> None:
        self._chosen = _TRUE

    def choose(self, speed: float | None) -> None:
        """Take one of `SPEEDS`."""
        self._chosen = SPEEDS.index(speed)

    def go(self, *, going: bool | None = None) -> None:
        """Let time run, or hold it."""
        self.going = not self.going if going is None else going
        self._owed = 0.0

    def picture(self, passed_s: float) -> None:
        """Let pass on the bench what passed in the room. Raises a ForelightError where that is refused on the way."""
        if not self.going or passed_s <= 0:
            return
        hz = float(self.bench.board.frame_hz)
        wanted = float("inf") if self.speed is None else self._owed + hz * passed_s * self.speed
        frames = int(min(wanted, self._most))
        # What could not be done in time is let go: the bench is slower then, and says so.
        self._owed = 0.0 if wanted > frames + 1 else wanted - frames
        if frames < 1:
            return
        full = frames == self._most
        self._let_pass(frames)
        self.reached = frames / (hz * passed_s) if full else (self.speed or 1.0)

    def catch_up(self, passed_s: float) -> bool:
        """Let pass at once what passed in the room; whether all of it did, within `CATCH_UP_S` of computing.

        Raises a ForelightError where that is refused on the way.
        """
        fast = self.speed is None
        until = time.monotonic() + min(CATCH_UP_S, passed_s if fast else CATCH_UP_S)
        left = round(float(self.bench.board.frame_hz) * passed_s * (self.speed or 0.0))
        while (left > 0 or fast) and time.monotonic() < until:
            part = self._most if fast else min(left, self._most)
            self._let_pass(part)
            left -= part
        self.reached = self.speed or self.reached
        return fast or left <= 0

    def _let_pass(self, frames: int) -> None:
        """So many frames, and from how long they took how many may be passed at once."""
        begun = time.perf_counter()
        self.bench.wait(frames)
        took = time.perf_counter() - begun
        self._least = min(took, 1.01 * self._least)  # for none at all; forgotten as the bench grows
        if took > BUDGET_S:
            # Fewer frames save only what they take beside that.
            share = max(BUDGET_S - self._least, self._least) / max(took - self._least, 1e-9)
            self._most = max(1, int(frames * min(max(share, 0.1), 1.0)))
        elif frames == self._most:
            self._most *= 2

    def __str__(self) -> str:
        if not self.going:
            return "time stands"
        if self.speed is None:
            return f"as fast as it goes, {self.reached:.3g} times true"
        said = "true speed" if self.speed == 1 else f"{self.speed:g} times true"
        slow = self.reached < 0.9 * self.speed
        return f"{said}, but it comes to {self.reached:.2g}" if slow else said
