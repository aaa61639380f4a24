"""A datasheet: TOML to a frozen, validated record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from forelight.sim.errors import SourceError

from .toml_file import quoted

#: The eight lines each way, bit 0 first.
INPUT_LINES = tuple(f"i{n}" for n in range(8))
OUTPUT_LINES = tuple(f"o{n}" for n in range(8))
#: Ending of a source -> its format.
FORMATS = {".py": "amaranth", ".v": "verilog", ".sv": "verilog", ".il": "netlist"}
DATASHEET_FILE = "datasheet.toml"


@dataclass(frozen=True)
class Step:
    """`line` is `i0`..`i7`, or `own` on a direct link; `wanted_hz` is the step rate that the author wants."""

    line: str
    wanted_hz: float | None = None


@dataclass(frozen=True)
class Restart:
    """`line` is `i0`..`i7` or `own`; `active` is `high` or `low`."""

    line: str
    active: str = "high"


@dataclass(frozen=True)
class Line:
    """What a line means; `idle` (inputs only) is the level it has unless something is said."""

    means: str
    idle: int | None = None


@dataclass(frozen=True)
class Attachment:
    """Something wired to the design: `lines` maps a terminal of the attachment to a line of the design."""

    kind: str
    lines: Mapping[str, str]
    options: Mapping[str, str | int | float | bool] = field(default_factory=dict)


@dataclass(frozen=True)
class Run:
    """A named procedure: actions as written (see `action_text.py`) and what to expect from them.

    `places` say where each was read, for complaints.
    """

    name: str
    do: tuple[str, ...]
    expect: str = ""
    places: tuple[str, ...] = field(default=(), compare=False)


@dataclass(frozen=True)
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
        levels = {line: said.idle or 0 for line, said in self.lines.items()}
        if self.step:
            levels[self.step.line] = 0
        if self.restart:
            levels[self.restart.line] = int(self.restart.active == "low")
        return sum(levels.get(line, 0) << bit for bit, line in enumerate(INPUT_LINES))


def load(folder_or_file: Path) -> Datasheet:
    """Read and validate a datasheet, given its file or the folder that holds it as `datasheet.toml`."""
    from .validation import read_datasheet  # which makes the records of this file

    return read_datasheet(folder_or_file / DATASHEET_FILE if folder_or_file.is_dir() else folder_or_file)


def bare(path: Path, top: str | None, board_step: str | None, board_restart: str | None) -> Datasheet:
    """A source without a datasheet: lines as the board suggests, and a sentence for everything assumed."""
    if path.suffix not in FORMATS:
        raise SourceError(
            f"the ending {quoted(path.suffix)} is not that of a source",
            place=str(path),
            remedy=f"allowed: {', '.join(FORMATS)}, or a folder with a {DATASHEET_FILE}",
        )
    if not path.is_file():
        raise SourceError(
            "no such file", place=str(path), remedy="give the path of a source or of a contribution"
        )
    step, restart = _free_lines(board_step, board_restart)
    assumed = ["ports: inputs and outputs, eight bits each, bit 0 is line 0"]
    for role, line, suggested in (("step", step, board_step), ("restart", restart, board_restart)):
        reason = (
            f"which the board's own {role} line drives" if suggested == "own" else "as the board suggests"
        )
        active = ", active high" if role == "restart" else ""
        assumed.append(f"{role} line: {line}, {reason}{active}" if line else f"{role} line: none")
    assumed.append("all other inputs: 0 at rest")
    if not top:
        assumed.append("top: the only one in the source that no other uses")
    return Datasheet(
        name=path.stem,
        folder=path.parent,
        title=path.stem,
        sources=(path.name,),
        top=top,
        format=FORMATS[path.suffix],
        step=Step(step) if step else None,
        restart=Restart(restart) if restart else None,
        assumed=tuple(assumed),
    )


def _free_lines(step: str | None, restart: str | None) -> tuple[str | None, str | None]:
    """Input lines for both: a source with the ports `inputs` and `outputs` has no port for a line of its own."""
    if step == "own":
        step = "i6" if restart == "i7" else "i7"
    if restart == "own":
        restart = "i7" if step == "i6" else "i6"
    return step, restart
