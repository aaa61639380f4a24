"""The bits that differ, counted by line and by the setting of the inputs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from forelight.designs.datasheet import INPUT_LINES

from ..placement import Recording
from ..reference import Foretold
from ..rows import Moments, ReadRows, foretold_list, predicted


@dataclass(frozen=True)
class Differing:
    """Of `compared` bits of a line with the inputs at `setting` (i7 to i0) so many were `wrong`."""

    line: str
    setting: str
    wrong: int
    compared: int


def differing(
    recording: Recording, told: Foretold, rows: ReadRows, offset: int, listed: bool
) -> list[Differing]:
    """The counts for a recording laid at `offset` on a prediction that holds all inputs; only of lines that differ."""
    count = len(recording.rows.levels)
    begin, end = max(0, -offset), max(min(count, len(rows.levels) - offset), 0)
    if end <= begin:
        return []
    there, here = slice(begin + offset, end + offset), slice(begin, end)
    known = rows.known[there] & recording.rows.known[here]
    wrong = (rows.levels[there] ^ recording.rows.levels[here]) & known
    settings = _settings(recording, told, listed)[there]
    found = []
    for bit, line in enumerate(recording.names):
        if not (wrong >> np.uint16(bit) & 1).any():
            continue
        for setting in np.unique(settings[known >> np.uint16(bit) & 1 > 0]).tolist():
            some = settings == setting
            found.append(
                Differing(
                    line,
                    f"{setting:08b}",
                    int((wrong[some] >> np.uint16(bit) & 1).sum()),
                    int((known[some] >> np.uint16(bit) & 1).sum()),
                )
            )
    return found


def _settings(
    recording: Recording, told: Foretold, listed: bool
) -> np.ndarray[tuple[int], np.dtype[np.uint16]]:
    """What the inputs are foretold to be in each row, but for the step line, as a number."""
    if listed:
        return foretold_list(told, INPUT_LINES).levels
    usual = recording.moments.places[0]
    found = predicted(told, Moments(INPUT_LINES, (usual,) * len(INPUT_LINES)), 0.0).levels
    return found
