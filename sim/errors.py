"""The errors a person can meet, each with object, place, what was found and what to do."""

from __future__ import annotations


class ForelightError(Exception):
    """Something a person can put right; shown as one message, never as a traceback.

    `what` names the object and what was found, `place` is a file and line (or a netlist name; may be empty),
    `remedy` says what to do about it.
    """

    exit_code = 2

    def __init__(self, what: str, *, place: str = "", remedy: str = "") -> None:
        self.what = _short(what, 1500)
        self.place = _short(place, 400)
        self.remedy = _short(remedy, 1000)
        super().__init__(str(self))

    def __str__(self) -> str:
        head = f"{self.place}: {self.what}" if self.place else self.what
        return f"{head}; {self.remedy}" if self.remedy else head


def _short(text: str, most: int) -> str:
    """A text without its middle where it is too long to be read."""
    return text if len(text) <= most else f"{text[: most // 2]} ... {text[-most // 4 :]}"


class NetlistError(ForelightError):
    """A netlist that contradicts itself: two drivers, a width that does not fit, an unknown name."""


class RtlilError(ForelightError):
    """RTLIL text that cannot be read, with its line."""


class UnsupportedError(ForelightError):
    """A construct that the engine refuses by name."""


class SourceError(ForelightError):
    """A contribution's source that cannot be turned into a netlist."""


class DatasheetError(ForelightError):
    """A datasheet, procedure or board profile with a wrong key, line, type or range."""


class CaptureError(ForelightError):
    """A recording that is damaged or ambiguous."""


class UsageError(ForelightError):
    """A question that cannot be answered as it was asked."""
