"""The netlist of one wrapped design, as the bench runs it."""

from __future__ import annotations

from pathlib import Path

from amaranth.back import rtlil
from amaranth.hdl import Elaboratable, Module, Signal
from forelight.designs.datasheet import Datasheet
from forelight.designs.python_source import explained
from forelight.sim.errors import SourceError
from forelight.sim.netlist import Netlist
from forelight.sim.rtlil import parse

from .module_text import source_file
from .wrapper import Wrapper


def wrapper_netlist(datasheet: Datasheet, design: Elaboratable | None = None) -> Netlist:
    """The design behind two ports: `inputs` (eight bits, then step and restart where they are its own) and `outputs`.

    `design` stands in for the source that the datasheet names. Raises SourceError for a source that cannot be read,
    wrapped or elaborated, with file and line where they are known.
    """
    wrapper = Wrapper(datasheet, design)
    m = Module()
    m.submodules.wrapper = wrapper
    inputs = Signal(len(wrapper.all_inputs()))
    outputs = Signal(8)
    m.d.comb += [wrapper.all_inputs().eq(inputs), outputs.eq(wrapper.outputs)]
    ports = {"inputs": (inputs, None), "outputs": (outputs, None)}
    with explained(Path(source_file(datasheet)), "the design"):
        # No module of a Verilog source has a dot in its name.
        text = rtlil.convert(m, name=f"{datasheet.name}.bench", ports=ports)
    netlist = parse(text, modules=wrapper.modules, root=str(datasheet.folder))
    missing = sorted(set(netlist.inputs) - {"inputs"})
    if missing:
        raise SourceError(
            f"the design counts on a clock or reset that it does not get ({', '.join(missing)})",
            place=source_file(datasheet),
            remedy="state [step] (and [restart]) in its datasheet, or define the clock domain in the design",
        )
    return netlist
