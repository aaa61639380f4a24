"""Combinational RTLIL processes to `case` cells, one for each switch."""

from __future__ import annotations

from dataclasses import dataclass, field

from ..errors import RtlilError
from ..netlist import Param
from .lower import Design, Offset
from .records import UNDEFINED, Assign, Bits, Case, ProcessText, Switch


@dataclass(slots=True)
class OpenCase:
    """A case of a switch that is being read, and what its body assigns: target bit to source bit."""

    patterns: tuple[str, ...]
    default: bool
    change: dict[int, int] = field(default_factory=dict)


@dataclass(slots=True)
class OpenSwitch:
    """A switch that is being read."""

    selector: Bits
    src: str
    cases: list[OpenCase] = field(default_factory=list)


class Assignments:
    """What each target bit is at this place of a process, and how to take back what an open body assigns."""

    def __init__(self) -> None:
        self.now: dict[int, int] = {}
        self._before: list[dict[int, int | None]] = [{}]

    def assign(self, target: int, source: int) -> None:
        before = self._before[-1]
        if target not in before:
            before[target] = self.now.get(target)
        self.now[target] = source

    def enter(self) -> None:
        self._before.append({})

    def leave(self) -> dict[int, int]:
        """What the innermost body has assigned, which is taken back."""
        before = self._before.pop()
        change = {target: self.now[target] for target in before}
        for target, source in before.items():
            if source is None:
                del self.now[target]
            else:
                self.now[target] = source
        return change


def lower_process(design: Design, process: ProcessText, scope: Offset) -> None:
    """A combinational process becomes one `case` cell a switch, over the bits on which its cases differ.

    Signals are read as nets, never as what the process has assigned so far.
    """
    assignments = Assignments()
    switches: list[OpenSwitch] = []
    for step in process.steps:
        if isinstance(step, Assign):
            for target, source in zip(scope.bits(step.target), scope.bits(step.source), strict=True):
                assignments.assign(target, source)
        elif isinstance(step, Switch):
            switches.append(OpenSwitch(scope.bits(step.selector), step.src))
        else:
            switch = switches[-1]
            if switch.cases:
                switch.cases[-1].change = assignments.leave()
            if isinstance(step, Case):
                switch.cases.append(_case(process, switch, step))
                assignments.enter()
            else:
                merge(design, process, switches.pop(), assignments)
    design.nets.connect(tuple(assignments.now), tuple(assignments.now.values()))


def _case(process: ProcessText, switch: OpenSwitch, case: Case) -> OpenCase:
    if any(len(pattern) != len(switch.selector) for pattern in case.patterns):
        raise RtlilError(
            f"process {process.name}: case {', '.join(case.patterns)} of a switch over {len(switch.selector)} bits",
            place=switch.src,
            remedy="patterns are as wide as what they are compared with",
        )
    return OpenCase(case.patterns, case.default)


def merge(design: Design, process: ProcessText, switch: OpenSwitch, assignments: Assignments) -> None:
    """Close a switch: what its cases assigned becomes an assignment of the body around it."""
    cases: list[OpenCase] = []
    default: dict[int, int] = {}
    for case in switch.cases:
        if case.default or "" in case.patterns:
            default = case.change
            break  # nothing comes past it
        if case.patterns:
            cases.append(case)
    columns: dict[int, list[int]] = {}  # of each target, its source in every case
    for target in sorted({target for case in cases for target in case.change} | set(default)):
        before = assignments.now.get(target, UNDEFINED)
        column = [case.change.get(target, before) for case in cases]
        column.append(default.get(target, before))
        if any(source != column[0] for source in column):
            columns[target] = column
        else:
            assignments.assign(target, column[0])
    if not columns:
        return
    operands = (switch.selector, *zip(*columns.values(), strict=True))
    params: dict[str, Param] = {"patterns": tuple(case.patterns for case in cases)}
    name = f"process {process.name}"
    out = design.emit("case", operands, len(columns), params, name=name, src=switch.src)
    for target, source in zip(columns, out, strict=True):
        assignments.assign(target, source)
