"""The wrapper of each design: eight lines in and out, whatever the source looks like, and its netlist for the bench."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from amaranth.hdl import Cat, ClockDomain, Const, Elaboratable, Instance, Module, Signal, Value
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out
from forelight.designs.datasheet import INPUT_LINES, OUTPUT_LINES, Datasheet
from forelight.designs.sources.trust import runs_apart
from forelight.sim.errors import SourceError

from ..boards.profile import Board
from .module_text import module_text, source_file
from .routing import restart_input, routing, step_input


class Wrapper(wiring.Component):
    """One design behind `inputs` and `outputs`, with `step` and `restart` where the datasheet says `own`.

    A design in Amaranth gets the domain `sync`: its clock is the step line, its synchronous reset the restart
    line, made active high. `design` stands in for the source that the datasheet names. With `clock_stages`
    the clock passes so many assignments before it reaches the domain: `amaranth.sim` spends one of its small
    steps on each, so that the registers see lines that changed with the clock as DEVELOPERS.md, Time 4 has it;
    everywhere else they are plain wire.
    """

    def __init__(
        self, datasheet: Datasheet, design: Elaboratable | None = None, *, clock_stages: int = 0
    ) -> None:
        self.datasheet = datasheet
        self.clock_stages = clock_stages
        self.modules: tuple[str, ...] = ()  # RTLIL text of what `elaborate` instantiates
        self._design = design
        members = {"inputs": In(8), "outputs": Out(8)}
        if datasheet.step is not None and datasheet.step.line == "own":
            members["step"] = In(1)
        if datasheet.restart is not None and datasheet.restart.line == "own":
            members["restart"] = In(1)
        super().__init__(members)

    def all_inputs(self) -> Value:
        """The eight inputs, then the own step and the own restart line: what `routing` counts."""
        return Cat(self.inputs, *(getattr(self, name) for name in self._own()))

    def route(self, board: Board, lines: Value) -> list[Any]:
        """Assignments that wire the board's lines to the design's inputs."""
        table = routing(board, self.datasheet)
        targets = [*self.inputs, *self.all_inputs()[8:]]
        return [target.eq(lines[line]) for target, line in zip(targets, table, strict=True)]

    def elaborate(self, platform: object) -> Module:
        m = Module()
        if self._design is not None or (self.datasheet.format == "amaranth" and not self._apart()):
            self._component(m)
        else:
            self._instance(m)
        return m

    def _apart(self) -> bool:
        return runs_apart(self.datasheet.folder / self.datasheet.sources[0])

    def _component(self, m: Module) -> None:
        """A design in Amaranth: a submodule, and the domain that it counts on."""
        m.submodules.design = design = self._design or self._from_source()
        lines = self._domain()
        if lines:
            domain = ClockDomain("sync", local=True, reset_less=self.datasheet.restart is None)
            m.domains += domain
            m.d.comb += domain.clk.eq(self._delayed(m, lines["clk"]))
            if self.datasheet.restart is not None:
                m.d.comb += domain.rst.eq(lines["rst"])
        for name, bits in self._ports().items():
            try:
                port = Value.cast(getattr(design, name))
            except (AttributeError, TypeError):
                raise self._wrong(f"{type(design).__name__} has no port {name}") from None
            self._check(name, _direction(design, name), len(port), bits)
            for bit, line in bits.items():
                here = self._line(line)
                m.d.comb += here.eq(port[bit]) if line in OUTPUT_LINES else port[bit].eq(here)

    def _domain(self) -> dict[str, Value]:
        """Clock and reset of the domain `sync`; nothing for plain logic."""
        step, restart = step_input(self.datasheet), restart_input(self.datasheet)
        if step is None:
            return {}
        lines, reset = self.all_inputs(), Const(0)
        if restart is not None and self.datasheet.restart is not None:
            active_low = self.datasheet.restart.active == "low"
            reset = ~lines[restart] if active_low else lines[restart]
        return {"clk": lines[step], "rst": reset}

    def _from_source(self) -> Elaboratable:
        from forelight.designs.sources.source import component

        return component(self.datasheet.folder / self.datasheet.sources[0], self.datasheet.top)

    def _delayed(self, m: Module, clock: Value) -> Value:
        for stage in range(self.clock_stages):
            later = Signal(name=f"clock_stage_{stage}")
            m.d.comb += later.eq(clock)
            clock = later
        return clock

    def _instance(self, m: Module) -> None:
        """A design in Verilog or RTLIL: an instance of a module whose text is linked in later."""
        found = module_text(self.datasheet)
        self.modules = (found.text,)
        connections: dict[str, Value] = {}
        mapped = self._ports()
        domain = self._domain() if self.datasheet.format == "amaranth" else {}
        for name in mapped:
            if name not in found.ports:
                raise self._wrong(f"module {found.name} has no port {name} ({', '.join(found.ports)})")
        for name, (direction, width) in found.ports.items():
            bits = mapped.get(name, {})
            if not bits and name in domain:
                connections[f"i_{name}"] = domain[name]
                continue
            self._check(name, direction, width, bits)
            if direction == "output":
                connections[f"o_{name}"] = port = Signal(width, name=name)
                m.d.comb += [self._line(line).eq(port[bit]) for bit, line in bits.items()]
                continue
            free = [bit for bit in range(width) if bit not in bits]
            if free or direction != "input":
                where = f"bit {free[0]} of {direction} port {name}" if free else f"{direction} port {name}"
                raise self._wrong(f"module {found.name}: {where} cannot be wired to a line")
            connections[f"i_{name}"] = Cat(*(self._line(bits[bit]) for bit in range(width)))
        m.submodules.design = Instance(found.name, **connections)

    def _ports(self) -> dict[str, dict[int, str]]:
        """For each port of the source, which line each of its bits is."""
        if not self.datasheet.ports:
            ports = {"inputs": dict(enumerate(INPUT_LINES)), "outputs": dict(enumerate(OUTPUT_LINES))}
            if self.datasheet.format != "amaranth":  # in Amaranth they are clock and reset of the domain
                ports |= {name: {0: name} for name in self._own()}
            return ports
        found: dict[str, dict[int, str]] = {}
        for port, line in self.datasheet.ports.items():
            name, _, index = port.partition("[")
            found.setdefault(name, {})[int(index.rstrip("]") or 0)] = line
        return found

    def _own(self) -> list[str]:
        return [name for name in ("step", "restart") if name in self.signature.members]

    def _line(self, line: str) -> Any:
        if line in OUTPUT_LINES:
            return self.outputs[OUTPUT_LINES.index(line)]
        return self.inputs[INPUT_LINES.index(line)] if line in INPUT_LINES else getattr(self, line)

    def _check(self, name: str, direction: str, width: int, bits: Mapping[int, str]) -> None:
        """Whether a port of the source can be wired as it is mapped; a direction that is not known may be empty."""
        if not self.datasheet.ports and bits and len(bits) != width:
            raise self._wrong(f"port {name} has {width} bits, not {len(bits)}")
        for bit, line in bits.items():
            if bit >= width:
                raise self._wrong(f"port {name} has {width} bits and no bit {bit}")
            kind = "output" if line in OUTPUT_LINES else "input"
            if direction and direction != kind:
                raise self._wrong(f"{direction} port {name} is mapped to {line}, which is an {kind} line")

    def _wrong(self, what: str) -> SourceError:
        return SourceError(
            what,
            place=source_file(self.datasheet),
            remedy="give it inputs and outputs of 8 bits each, or map its ports in the datasheet's [ports]",
        )


def _direction(design: Elaboratable, name: str) -> str:
    """`input` or `output`; empty for something that has no signature."""
    members = design.signature.members if isinstance(design, wiring.Component) else {}
    return ("output" if members[name].flow == Out else "input") if name in members else ""
