"""A stretch of frames over which the hand at the bench keeps still: what stands on switches, buttons and selector."""

from __future__ import annotations

from forelight.sim.frozen import slotted


@slotted
class Stretch:
    """Frames `start` to `start + length - 1`, over which the hand keeps still, or only pulses one line.

    `switches` are the levels of the eight switches, then of the board's own step and restart lines (bits 8 and 9);
    `buttons` the held ones; the lines in `driven` have the levels in `outside` from another source; `levels` is what
    all of that comes to at the board's pins, after pulls and debounce. For the first `beat` frames, and every second
    time after that, the lines in `pulsing` have the opposite level. While `enable` is on, the divider is `phase` frames
    after its start in the first frame and toggles every `half`; it stands still unless `running`.
    """

    start: int
    length: int
    slot: int
    switches: int
    buttons: int
    driven: int
    outside: int
    levels: int
    pulsing: int
    enable: bool
    code: int
    running: bool
    phase: int
    half: int
    beat: int = 1
