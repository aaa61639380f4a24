"""A datasheet: TOML to a frozen, validated record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

#: The eight lines each way, bit 0 first.
INPUT_LINES = tuple(f"i{n}" for n in range(8))
OUTPUT_LINES = tuple(f"o{n}" for n in range(8))


@dataclass(frozen=True)
class Step:
    """`line` is `i0`..`i7`, or `own` on a direct link; `wanted_hz` is the step rate that the author had in mind."""

    line: str
    wanted_hz: float | None = None


@dataclass(frozen=True)
class Restart:
    """`line` is `i0`..`i7` or `own`; `active` is `high` or `low`."""

    line: str
    active: str = "high"


@dataclass(frozen=True)
class Line:
    """What an input or output line means; `idle` (inputs only) is the level it has unless something is said."""

    means: str
    idle: int | None = None


@dataclass(frozen=True)
class Attachment:
    """Something wired to the design's lines: `lines` maps a terminal of the attachment to a line of the design."""

    kind: str
    lines: Mapping[str, str]
    options: Mapping[str, str | int | float | bool] = field(default_factory=dict)


@dataclass(frozen=True)
class Run:
    """A named procedure of the datasheet: actions as written (see `procedure.py`) and what to expect from them."""

    name: str
    do: tuple[str, ...]
    expect: str = ""


@dataclass(frozen=True)
class Datasheet:
    """Everything an author states about one design. `sources` are paths relative to `folder`; `top` names the class or module."""

    name: str
    folder: Path
    title: str
    sources: tuple[str, ...]
    top: str | None
    format: str  # amaranth, verilog or netlist
    creator: str = ""
    license: str = ""
    description: str = ""
    step: Step | None = None
    restart: Restart | None = None
    lines: Mapping[str, Line] = field(default_factory=dict)
    ports: Mapping[str, str] = field(default_factory=dict)  # source port (or port[bit]) -> line
    attach: tuple[Attachment, ...] = ()
    runs: tuple[Run, ...] = ()
    assumed: tuple[str, ...] = ()  # what Forelight assumed where there was no datasheet, a sentence each

    @property
    def idle(self) -> int:
        """The idle levels of the eight inputs as a number, bit 0 first (step and restart at rest)."""
        raise NotImplementedError
