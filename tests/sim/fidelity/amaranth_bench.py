"""An Amaranth circuit with named lines, run by `amaranth.sim` and read by Forelight."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from amaranth.back import rtlil
from amaranth.hdl import ClockDomain, Module, Shape, Signal, Value
from amaranth.sim import Simulator
from forelight.sim.netlist import Netlist
from forelight.sim.rtlil.reader import parse

from .comparison import Characters, Rows
from .stimulus import Drive


class Bench:
    """A module that is being built: `takes` and `shows` make its lines, `domain` its clocks."""

    def __init__(self) -> None:
        self.m = Module()
        self.inputs: dict[str, Signal] = {}
        self.outputs: dict[str, Signal] = {}

    def domain(self, name: str = "sync", **options: Any) -> None:
        """A clock domain with its lines `<name>_clk` and `<name>_rst`."""
        domain = ClockDomain(name, **options)
        self.m.domains += domain
        self.inputs[f"{name}_clk"] = domain.clk
        if domain.rst is not None:
            self.inputs[f"{name}_rst"] = domain.rst

    def takes(self, name: str, shape: int) -> Signal:
        self.inputs[name] = Signal(shape, name=name)
        return self.inputs[name]

    def shows(self, **values: Any) -> None:
        for name, value in values.items():
            line = self.outputs[name] = Signal(Shape.cast(Value.cast(value).shape()).width, name=name)
            self.m.d.comb += line.eq(value)

    def netlist(self) -> Netlist:
        ports = {name: (line, None) for name, line in (self.inputs | self.outputs).items()}
        return parse(rtlil.convert(self.m, ports=ports))

    def under_amaranth(self, rows: Rows) -> Characters:
        """A row of characters (`0`, `1`) for each input row, the first output leftmost."""
        lines: list[str] = []

        async def play(context: Any) -> None:
            before: Mapping[str, int] = {}
            for row in rows:
                for name, value in row.items():
                    if before.get(name, 0) != value:
                        context.set(self.inputs[name], value)
                before = row
                await context.delay(1e-6)
                lines.append("".join(f"{context.get(line):0{len(line)}b}" for line in self.outputs.values()))

        simulator = Simulator(self.m)
        simulator.add_testbench(play)
        simulator.run()
        return np.frombuffer("".join(lines).encode(), np.uint8).reshape(len(lines), -1)


@dataclass(frozen=True)
class Circuit:
    """How to build one circuit, and how it is driven beyond its clocks."""

    build: Callable[[Bench], None]
    clocks: Sequence[str] = ("sync_clk",)
    odds: Mapping[str, float] = field(default_factory=dict)
    late: bool = False

    def drive(self) -> Drive:
        resets = {name.replace("_clk", "_rst"): 0.005 for name in self.clocks}
        return Drive(tuple(self.clocks), {**resets, **self.odds}, late=self.late)
