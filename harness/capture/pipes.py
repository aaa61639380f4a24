"""The bytes of a file, or of a pipe with a name that somebody else writes into."""

from __future__ import annotations

import os
import select
import stat
import time
from pathlib import Path

from forelight.sim.errors import CaptureError
from forelight.sim.files import INPUTS

#: Seconds in which somebody must begin to write into a pipe.
PATIENCE_S = 5.0


def whole(path: Path) -> bytes:
    """All that is in it. Raises OSError, and CaptureError for a pipe into which nobody writes, and for a device."""
    INPUTS.note(path)
    kind = path.stat().st_mode
    if stat.S_ISCHR(kind) or stat.S_ISBLK(kind):  # it may have no end
        raise CaptureError("this is a device", place=str(path), remedy="name a file")
    if not stat.S_ISFIFO(kind):
        return path.read_bytes()
    pieces: list[bytes] = []
    until = time.monotonic() + PATIENCE_S
    with os.fdopen(os.open(path, os.O_RDONLY | os.O_NONBLOCK), "rb", buffering=0) as pipe:
        while True:
            piece = pipe.read(1 << 16)
            if piece is None:  # somebody has it open, and is not done
                select.select([pipe], [], [])
            elif piece:
                pieces.append(piece)
            elif pieces:
                return b"".join(pieces)
            elif time.monotonic() > until:
                raise CaptureError(
                    f"nobody wrote into this pipe for {PATIENCE_S:g} s",
                    place=str(path),
                    remedy="begin to write first, or name a file",
                )
            else:
                time.sleep(0.02)
