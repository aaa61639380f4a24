"""One wrapped design behind the two ports that the bench moves and looks at, made into a netlist by Amaranth."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from amaranth.back import rtlil
from amaranth.hdl import Elaboratable, Module, Signal
from forelight.designs.datasheet import Datasheet
from forelight.designs.sources.python_source import explained
from forelight.sim.errors import ForelightError, SourceError
from forelight.sim.gates.size import refuse_large_arithmetic
from forelight.sim.netlist import Netlist
from forelight.sim.rtlil.reader import parse

from .module_text import source_file
from .wrapper import Wrapper


class WiredDesign(Elaboratable):
    """What the bench runs: a wrapped design behind the ports `inputs` and `outputs`.

    `inputs` holds the eight inputs, then step and restart where they are the design's own.
    """

    def __init__(self, wrapper: Wrapper) -> None:
        self.wrapper = wrapper
        self.inputs = Signal(len(wrapper.all_inputs()))
        self.outputs = Signal(8)

    def ports(self) -> dict[str, Signal]:
        return {"inputs": self.inputs, "outputs": self.outputs}

    def elaborate(self, platform: object) -> Module:
        m = Module()
        m.submodules.wrapper = self.wrapper
        m.d.comb += [self.wrapper.all_inputs().eq(self.inputs), self.outputs.eq(self.wrapper.outputs)]
        return m


def _own_names(words: str) -> str:
    """A message without the levels of hierarchy and the places that the wrapper adds to the design's."""
    return re.sub(r" \((wrapper|netlist)\.py:\d+\)|\bwrapper\.(design\.)?(?!py\b)", "", words)


def converted(
    datasheet: Datasheet, design: Elaboratable | None, bench: Callable[[Wrapper], WiredDesign] | None
) -> Netlist:
    """The design on a bench, as `netlist.wrapper_netlist` has it, whatever was kept of it."""
    wrapper = Wrapper(datasheet, design)
    whole = (bench or WiredDesign)(wrapper)
    ports = {name: (signal, None) for name, signal in whole.ports().items()}
    source = source_file(datasheet)
    try:
        with explained(Path(source), "the design"):
            # No module of a Verilog source has a dot in its name.
            text = rtlil.convert(whole, name=f"{datasheet.name}.bench", ports=ports)
        netlist = parse(text, modules=wrapper.modules, root=str(datasheet.folder))
    except ForelightError as error:
        place = f"{source}, {error.place}" if error.place.startswith("RTLIL line") else error.place or source
        raise type(error)(_own_names(error.what), place=place, remedy=error.remedy) from None
    refuse_large_arithmetic(netlist)
    netlist = replace(netlist, warnings=tuple(map(_own_names, netlist.warnings)))
    missing = sorted(set(netlist.inputs) - {"inputs"})
    if missing:
        raise SourceError(
            f"the design counts on a clock or reset that it does not get ({', '.join(missing)})",
            place=source,
            remedy="state [step] (and [restart]) in its datasheet, or define the clock domain in the design",
        )
    return netlist
