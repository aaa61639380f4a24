"""Reads session files of sigrok (file format version 2): a zip archive of samples and of what they are.

`metadata` names the channels (`probe1=D0` is bit 0 of a sample), the sample rate and how many bytes a sample has, the
lowest first; the samples stand in `logic-1`, or in pieces `logic-1-1`, `logic-1-2` and so on. Source: sigrok's
description of its file format, "File format:Sigrok/v2", and the files that its command writes.
"""

from __future__ import annotations

import configparser
import io
import re
import zipfile
import zlib
from collections.abc import Iterator, Mapping

import numpy as np
from forelight.sim.errors import CaptureError

from .columns import Column, match_columns
from .layout import RATES
from .record import SAMPLES, Capture, Levels, RecordedLine, changes_only

MAGIC = b"PK\x03\x04"
PIECE = 1 << 20  # samples that are handled at a time
MOST_SAMPLES = 1 << 28
MOST_CHANGES = 1 << 24  # of all lines together
_EXPORT = "save the session again, or export VCD"


def read_session(data: bytes, place: str, mapping: Mapping[str, str], labels: Mapping[str, str]) -> Capture:
    """Raises CaptureError for an archive that is damaged, holds no samples, or too many."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return _Archive(archive, place).capture(mapping, labels)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, KeyError, ValueError,
            configparser.Error, OSError) as error:  # fmt: skip
        said = str(error).partition("\n")[0][:80]
        raise CaptureError(f"the session file is damaged: {said}", place=place, remedy=_EXPORT) from None


class _Archive:
    def __init__(self, archive: zipfile.ZipFile, place: str) -> None:
        self.archive, self.place = archive, place
        text = archive.read("metadata")[: 1 << 20].decode("utf-8", "replace")
        parser = configparser.ConfigParser(interpolation=None, strict=False)
        parser.read_string(text)
        devices = [parser[name] for name in parser.sections() if "capturefile" in parser[name]]
        if not devices:
            raise CaptureError(
                "the session file holds no logic samples", place=place, remedy="record digital channels"
            )
        device = devices[0]
        self.base = device["capturefile"]
        self.size = int(device.get("unitsize", "1"))
        if not 1 <= self.size <= 64:
            raise ValueError(f"unitsize={self.size}")
        self.rate = _rate(device.get("samplerate", ""))
        probes = {
            int(key[5:]) - 1: name for key, name in device.items() if re.fullmatch(r"probe[0-9]{1,4}", key)
        }
        self.bits = {bit: name for bit, name in sorted(probes.items()) if 0 <= bit < 8 * self.size}

    def capture(self, mapping: Mapping[str, str], labels: Mapping[str, str]) -> Capture:
        columns = [Column(name) for name in self.bits.values()]
        chosen, notes = match_columns(columns, mapping, labels, self.place)
        numbers = list(self.bits)
        got: dict[str, list[tuple[np.ndarray[tuple[int], np.dtype[np.int64]], Levels]]] = {
            n: [] for n in chosen
        }
        samples = kept = 0
        before: dict[str, int] = {}
        for piece in self._pieces():
            moved = np.flatnonzero((piece[1:] != piece[:-1]).any(axis=1)) + 1
            rows = np.concatenate([[0], moved])
            for line, (index, _) in chosen.items():
                bit = numbers[index]
                level = (piece[rows, bit >> 3] >> (bit & 7) & 1).astype(np.uint8)
                changed = np.flatnonzero(np.diff(level, prepend=before.get(line, 255)) != 0)
                before[line] = int(level[-1])
                got[line].append((rows[changed] + samples, level[changed]))
                kept += len(changed)
            samples += len(piece)
            if kept > MOST_CHANGES or samples > MOST_SAMPLES:
                found = f"{samples} samples with {kept} changes are too many"
                raise CaptureError(
                    found, place=self.place, remedy="record for a shorter time, or more slowly"
                )
        if not samples:
            raise CaptureError("the session file holds no samples", place=self.place, remedy=_EXPORT)
        rate = self.rate or 1.0
        lines: dict[str, RecordedLine] = {}
        for line, parts in got.items():
            when = np.concatenate([when for when, _ in parts])
            lines[line] = changes_only(when / rate, np.concatenate([level for _, level in parts]))
        unit = "seconds" if self.rate else "samples"
        return Capture(lines, 0.0, samples / rate, unit, 1 / rate, self.place, tuple(notes), holds=SAMPLES)

    def _pieces(self) -> Iterator[np.ndarray[tuple[int, int], np.dtype[np.uint8]]]:
        """The samples, a row of bytes each; a sample that was cut short at the end is left out."""
        names = set(self.archive.namelist())
        files = [self.base] if self.base in names else []
        parts = (re.fullmatch(re.escape(self.base) + r"-([0-9]{1,9})", name) for name in names)
        files += [found[0] for found in sorted((p for p in parts if p), key=lambda p: int(p[1]))]
        rest = b""
        for name in files:
            with self.archive.open(name) as file:
                while data := file.read(PIECE * self.size):
                    data = rest + data
                    whole = len(data) - len(data) % self.size
                    rest = data[whole:]
                    if whole:
                        yield np.frombuffer(data[:whole], np.uint8).reshape(-1, self.size)


def _rate(text: str) -> float | None:
    """`20 MHz` or `200000` in Hz; None where none is stated."""
    found = re.fullmatch(r"\s*([0-9]{1,15}(?:\.[0-9]{1,15})?)\s*([kMG]?Hz)?\s*", text)
    return float(found[1]) * RATES[(found[2] or "Hz").lower()] or None if found else None
