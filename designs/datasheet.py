"""The record of a datasheet: everything that an author states about one design."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from pathlib import Path

from forelight.sim.frozen import frozen

#: The eight lines each way, bit 0 first.
INPUT_LINES = tuple(f"i{n}" for n in range(8))
OUTPUT_LINES = tuple(f"o{n}" for n in range(8))
#: Ending of a source -> its format.
FORMATS = {".py": "amaranth", ".v": "verilog", ".sv": "verilog", ".il": "netlist"}
DATASHEET_FILE = "datasheet.toml"


@frozen
class StepLine:
    """`line` is `i0`..`i7`, or `own` on a direct link; `wanted_hz` is the step rate that the author wants."""

    line: str
    wanted_hz: float | None = None


@frozen
class RestartLine:
    """`line` is `i0`..`i7` or `own`; `active` is `high` or `low`."""

    line: str
    active: str = "high"


@frozen
class Meaning:
    """What a line means; `idle` (inputs only) is the level it has unless something is said."""

    means: str
    idle: int | None = None


@frozen
class Attachment:
    """Something wired to the design: `lines` maps a terminal of the attachment to a line of the design."""

    kind: str
    lines: Mapping[str, str]
    options: Mapping[str, str | int | float | bool] = field(default_factory=dict)


@frozen
class Expectations:
    """What a run must show for a machine to agree with its author; what is left out is not said.

    `shows` maps a step, counted from the moment at which the slot is up, to what the display shows at its end: a
    character with or without its point, `blank`, or the eight levels of `o7` to `o0`, with `?` for any. For plain
    logic it maps the number of a wait, from 0, to what is shown at the end of that. After `period` steps, and no
    fewer, all outputs are as they were. `duty` maps an output to its share of time at 1, 0 to 1. `sends` is a text that
    the serial terminal receives. `places` are file and line of each, by name.
    """

    shows: Mapping[int, str] = field(default_factory=dict)
    period: int | None = None
    duty: Mapping[str, float] = field(default_factory=dict)
    sends: str = ""
    places: Mapping[str, str] = field(default_factory=dict, compare=False)


@frozen
class Run:
    """A named procedure: actions as written (see `procedures/text.py`) and what to expect from them.

    `places` say where each was read, for complaints.
    """

    name: str
    do: tuple[str, ...]
    expect: str = ""
    places: tuple[str, ...] = field(default=(), compare=False)
    expectations: Expectations = field(default_factory=Expectations)


@frozen
class Datasheet:
    """Everything an author states about one design.

    `sources` are paths relative to `folder`; `top` names the class or module. `ports` maps a port of the
    source (or one bit of it, `port[3]`) to a line; where it is empty the ports are `inputs` and `outputs`,
    eight bits each, and `step` and `restart` where those lines are `own`. In Amaranth the step line is also the
    clock of the domain `sync`, and the restart line its reset.
    """

    name: str
    folder: Path
    title: str
    sources: tuple[str, ...]
    top: str | None
    format: str  # amaranth, verilog or netlist
    creator: str = ""
    license: str = ""
    description: str = ""
    step: StepLine | None = None
    restart: RestartLine | None = None
    lines: Mapping[str, Meaning] = field(default_factory=dict)
    ports: Mapping[str, str] = field(default_factory=dict)  # source port (or port[bit]) -> line
    attach: tuple[Attachment, ...] = ()
    runs: tuple[Run, ...] = ()
    assumed: tuple[str, ...] = ()  # what Forelight assumed where there was no datasheet, a sentence each

    @property
    def idle(self) -> int:
        """The idle levels of the eight inputs as a number, bit 0 first (step and restart at rest)."""
        levels = {line: said.idle or 0 for line, said in self.lines.items()}
        if self.step:
            levels[self.step.line] = 0
        if self.restart:
            levels[self.restart.line] = int(self.restart.active == "low")
        return sum(levels.get(line, 0) << bit for bit, line in enumerate(INPUT_LINES))
