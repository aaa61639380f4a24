"""Everything that there is to find out about one contribution."""

from __future__ import annotations

from pathlib import Path

from forelight.designs.datasheet import DATASHEET_FILE
from forelight.designs.sheets.reader import load
from forelight.sim.errors import ForelightError, SourceError, UsageError
from forelight.sim.frozen import frozen

from ..bench.course import Seat, seated
from ..bench.restarting import Restarting, restarting
from ..boards.profile import Board
from ..chip.netlist import wrapper_netlist
from ..chip.routing import routing
from .finding import Finding
from .runs import Carried, Examined, left_out, look, runs, unsettled
from .sheet import MARK, sheet
from .structure import structure


@frozen
class Vetting:
    """The findings about a contribution on one board; it is accepted where none of them must be put right.

    `look` is what it does after its restart, where it can be run, `restarting` what the restart alone settles;
    `carried` are the runs that can be carried out.
    """

    name: str
    title: str
    findings: tuple[Finding, ...]
    look: Examined | None = None
    restarting: Restarting | None = None
    carried: tuple[Carried, ...] = ()

    @property
    def accepted(self) -> bool:
        return not any(finding.must for finding in self.findings)


def vet(folder: Path, board: Board, power_ups: int = 256, seed: int = 0) -> Vetting:
    """Look at the contribution in a folder.

    Raises UsageError for what is no contribution's folder, or needs the person's consent (`designs/trust.py`); a
    datasheet or a source that cannot be read is a finding.
    """
    if not (folder / DATASHEET_FILE).is_file():
        raise UsageError(
            f"there is no {DATASHEET_FILE} in it",
            place=str(folder),
            remedy="give a contribution's folder; `forelight draft NAME` starts one",
        )
    name = folder.resolve().name
    try:
        datasheet = load(folder)
        routing(board, datasheet)
    except ForelightError as error:
        return Vetting(name, name, (_complaint(error),))
    title = name if MARK in datasheet.title else datasheet.title
    found = sheet(datasheet, board)
    try:
        seat = seated(board, datasheet)
        alone = Seat(datasheet, wrapper_netlist(datasheet)) if seat.memories else seat
    except UsageError:  # nobody agreed to run it
        raise
    except ForelightError as error:
        return Vetting(name, title, (*found, _complaint(error)))
    found += structure(datasheet, alone.netlist)
    restart = restarting(board, alone)
    if restart is not None:
        found += left_out(restart)
    seen = None
    try:
        seen = look(seat, board, power_ups, seed)
        found += unsettled(datasheet, seen, restart)
    except ForelightError as error:
        found.append(Finding("restart", f"cannot be run: {error}", must=True))
    complaints, carried = runs(seat, board, power_ups, seed)
    return Vetting(name, title, (*found, *complaints), seen, restart, carried)


def _complaint(error: ForelightError) -> Finding:
    said = f"{error.what}; {error.remedy}" if error.remedy else error.what
    subject = "source" if isinstance(error, SourceError) else "datasheet"
    return Finding(subject, said, error.place, must=True)
