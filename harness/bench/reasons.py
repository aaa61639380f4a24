"""Why a line or a signal is as it is at a moment of a run: the cone behind it, in the names of the source."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from forelight.designs.datasheet import OUTPUT_LINES, Datasheet
from forelight.sim.cone import Cause, Cones, Why
from forelight.sim.errors import UsageError
from forelight.sim.frozen import frozen

from ..boards.profile import Board
from ..chip.routing import input_names
from ..view.words import seconds
from .inside import Inside

#: Registers one behind another that an answer to why goes back through.
DEPTH = 3


@frozen
class Reason:
    """Why a line or a signal is as it is at a moment: `tick` from the start of the procedure, and the step."""

    name: str
    step: int
    tick: int
    found: Why


class Reasons:
    """Answers to why, for one design in a run; times and steps count from tick `origin`.

    Raises UsageError for a design whose source is not all there is to it.
    """

    def __init__(self, inside: Inside, sheet: Datasheet, board: Board, origin: int = 0) -> None:
        self.sheet, self.board, self._inside, self._origin = sheet, board, inside, origin
        if inside.seat.memories:
            raise UsageError(
                f"{sheet.name} works with a serial memory, whose answers are no part of its source",
                remedy="watch its signals with --watch",
            )
        self._first = int(self._inside.steps[max(self._inside.row_at(self._origin), 0)])

    def why(self, name: str, step: int | None) -> Reason:
        """At the end of a step, or of the run. Raises UsageError for an unknown name or a step that is not reached."""
        inside = self._inside
        last = int(inside.steps[-1]) - self._first
        if step is not None and not 0 <= step <= last:
            raise UsageError(f"the run has no step {step}", remedy=f"its steps are 0 to {last}")
        row = len(inside.rows) - 1 if step is None else inside.row_of_step(step + self._first)
        netlist = inside.seat.netlist
        if name in OUTPUT_LINES:
            word = netlist.outputs["outputs"].bit(OUTPUT_LINES.index(name))
        else:
            word = netlist.names[inside.whole(name)]
        found = Cones(inside.simulation, "inputs", inside.rows).why(word, row, DEPTH)
        return Reason(name, int(inside.steps[row]) - self._first, int(inside.ticks[row]), found)

    def paragraphs(self, reason: Reason) -> Iterator[str]:
        """The answer as lines, each cause further in than what it made so."""
        where = self._places(reason.found.places)
        yield (
            f"{reason.name} is {reason.found.value} at the end of step {reason.step}"
            + (f", by {', '.join(where)}" if where else "")
            + (":" if reason.found.causes else ", whatever comes in.")
        )
        if not reason.found.alike:
            yield "That is from flip-flops that woke up at 0; from others that woke up at 1 it is not the same."
        yield from self._lines(reason.found.causes, 1, set())

    def _lines(self, causes: Sequence[Cause], depth: int, told: set[tuple[object, ...]]) -> Iterator[str]:
        for cause in causes:
            key = cause.name, cause.low, cause.width, cause.moved, bool(cause.causes)
            again = bool(cause.causes) and key in told
            told.add(key)
            where = self._places(cause.places)
            by = f", by {', '.join(where)}" if where and cause.moved is not None else ""
            was = "is" if depth == 1 else "was"
            after = ", as above" if again else ":" if cause.causes else ""
            yield f"{'  ' * depth}{self._name(cause)} {was} {cause.value}, {self._since(cause)}{by}{after}"
            if not again:
                yield from self._lines(cause.causes, depth + 1, told)

    def _name(self, cause: Cause) -> str:
        """A line with what the datasheet says of it, or a signal as the source calls it."""
        if cause.kind == "input":
            line = input_names(self.sheet)[cause.low]
            sheet = self.sheet
            roles = {
                one.line: role for one, role in ((sheet.step, "step"), (sheet.restart, "restart")) if one
            }
            said = sheet.lines.get(line)
            means = said.means if said else roles.get(line)
            return f"{line} ({means})" if means else line
        name = cause.name.removeprefix("wrapper.design.").removeprefix("wrapper.")
        whole = self._inside.seat.netlist.names.get(cause.name)
        if whole is None or whole.width == cause.width:
            return name
        high = cause.low + cause.width - 1
        return f"{name}[{cause.low}]" if cause.width == 1 else f"{name}[{high}:{cause.low}]"

    def _since(self, cause: Cause) -> str:
        if cause.kind == "memory":
            return "as it was written"
        if cause.moved is None:
            return "from the beginning on" if cause.kind == "input" else "as it woke up"
        tick, step = int(self._inside.ticks[cause.moved]), int(self._inside.steps[cause.moved]) - self._first
        if tick < self._origin:
            return "since the slot was brought up"
        return f"since step {step}, {seconds((tick - self._origin) / self.board.oscillator_hz)}"

    def _places(self, places: Sequence[str]) -> list[str]:
        """Those in the design's own sources, the lines of one file together."""
        files: dict[str, list[str]] = {}
        for place in places:
            file, _, line = place.rpartition(":")
            if any(file == source or source.endswith(f"/{file}") for source in self.sheet.sources):
                files.setdefault(file, []).append(line)
        return [f"{file}:{' '.join(lines)}" for file, lines in files.items()]

    def answer(self, reason: Reason) -> dict[str, object]:
        """The same for scripts."""
        return {
            "name": reason.name,
            "step": reason.step,
            "time_s": (reason.tick - self._origin) / self.board.oscillator_hz,
            "value": reason.found.value,
            "alike": reason.found.alike,
            "places": list(reason.found.places),
            "causes": [self._cause(cause) for cause in reason.found.causes],
        }

    def _cause(self, cause: Cause) -> dict[str, object]:
        moved = cause.moved
        hz = self.board.oscillator_hz
        return {
            "name": self._name(cause).partition(" ")[0],
            "kind": cause.kind,
            "value": cause.value,
            "since_s": None if moved is None else (int(self._inside.ticks[moved]) - self._origin) / hz,
            "since_step": None if moved is None else int(self._inside.steps[moved]) - self._first,
            "places": list(cause.places),
            "causes": [self._cause(one) for one in cause.causes],
        }
