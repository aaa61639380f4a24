"""Times of day and time stamps with a date (ISO 8601), a whole column at a time."""

from __future__ import annotations

import re
from datetime import date

import numpy as np
from forelight.sim.traces.columns import Bytes, Ints, integers
from numpy.typing import NDArray

from .record import Floats

#: `2026-03-01T23:59:59.25Z`, `2026-03-01 23:59:59`, `23:59:59,250`; blanks may have been struck out.
STAMP = (
    r"(?:(?P<date>\d{4}[-/]\d\d[-/]\d\d)[T ]?)?(?P<hour>\d{1,2}):(?P<minute>\d\d):(?P<second>\d\d)"
    r"(?:[.,](?P<part>\d{0,12}))?(?:Z|[+-]\d\d:?\d\d)?"
)
DAY_S = 86_400
#: Time that goes back by more than this has passed midnight.
BACK_S = DAY_S / 2


class StampReader:
    """Reads the time stamps of one recording, which may come in pieces: seconds since the midnight before the first.

    Time zones are left out: all stamps of a recording are of one.
    """

    def __init__(self) -> None:
        self.first_day: int | None = None
        self.days, self.last = 0, -np.inf  # midnights passed, and the time of day before

    def read(self, text: Bytes, starts: Ints, lengths: Ints) -> tuple[Floats, NDArray[np.bool_]]:
        """The stamps, and a mask of those that are some."""
        values, good = np.zeros(len(starts)), np.zeros(len(starts), bool)
        dated = np.zeros(len(starts), bool)
        for length in np.unique(lengths).tolist():
            rows = np.flatnonzero(lengths == length)
            first = text[starts[rows[0]] : starts[rows[0]] + length].tobytes().decode("latin-1")
            form = re.fullmatch(STAMP, first)
            if form is None:
                continue
            seconds, fits = _of_form(text, starts[rows], form)
            if form["date"]:
                days, real = _days(text, starts[rows])
                if self.first_day is None and real.any():
                    self.first_day = int(days[real][0])
                seconds, fits = seconds + (days - (self.first_day or 0)) * float(DAY_S), fits & real
                dated[rows] = True
            values[rows], good[rows] = seconds, fits
        if good.all() and not dated.any() and len(values):
            passed = self.days + np.cumsum(np.diff(values, prepend=self.last) < -BACK_S)
            self.days, self.last = int(passed[-1]), float(values[-1])
            values += passed * float(DAY_S)
        return values, good


def _of_form(text: Bytes, starts: Ints, form: re.Match[str]) -> tuple[Floats, NDArray[np.bool_]]:
    """Seconds of the day of stamps that look as the first one does; a mask of those that do."""
    length = len(form[0])
    spots = text[starts[:, None] + np.arange(length)]
    digit = (spots >= ord("0")) & (spots <= ord("9"))
    model = np.frombuffer(form[0].encode("latin-1"), np.uint8)
    numeric = (model >= ord("0")) & (model <= ord("9"))
    good: NDArray[np.bool_] = np.where(numeric, digit, spots == model).all(axis=1)

    def part(name: str) -> Ints:
        begin, end = form.span(name)
        return integers(text, starts + begin, np.full(len(starts), end - begin))[0]

    hour, minute, second = part("hour"), part("minute"), part("second")
    good &= (hour < 24) & (minute < 60) & (second <= 60)
    seconds = (hour * 3600 + minute * 60 + second).astype(np.float64)
    if form["part"]:
        seconds += part("part") / 10.0 ** len(form["part"])
    return seconds, good


def _days(text: Bytes, starts: Ints) -> tuple[Ints, NDArray[np.bool_]]:
    """Days since the beginning of the calendar, and which of them are in it."""
    words = text[starts[:, None] + np.arange(10)]
    different, which = np.unique(words, axis=0, return_inverse=True)
    days = np.zeros(len(different), np.int64)
    for number, word in enumerate(different):
        try:
            days[number] = date.fromisoformat(word.tobytes().decode("latin-1").replace("/", "-")).toordinal()
        except ValueError:
            days[number] = -1
    found = days[which.reshape(-1)]
    return found, found > 0
