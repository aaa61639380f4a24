"""What a restart leaves out, judged from any state: the registers that do not come to one value by the restart alone.

The run of a prediction begins at power-up, and the steps before its restart help to settle a design. Here the restart
begins in states by chance, with the step line at either level, and lasts the steps that `Restart` says and no more.
"""

from __future__ import annotations

import random
import re
from collections.abc import Iterator

import numpy as np
from forelight.designs.datasheet import Datasheet
from forelight.designs.procedures.procedure import Restart
from forelight.sim.loops import LoopError
from forelight.sim.netlist import Netlist
from forelight.sim.simulation import Simulation
from forelight.sim.state import is_wiring

from ..chip.routing import restart_input, step_input
from .finding import Finding

_LINE = re.compile(r"^([^|]*?:\d+).*$")
#: States by chance from which the restart is tried at each level of the step line.
STATES = 32
#: Registers that are named.
MOST_NAMES = 6


def left_out(datasheet: Datasheet, netlist: Netlist) -> Iterator[Finding]:
    """A finding that names the registers which the restart leaves as they were, with their lines.

    `netlist` is what `wrapper_netlist` makes. A bit on which two of the states still differ is left out for certain;
    one on which all agree need not be settled.
    """
    index = restart_input(datasheet)
    if index is None or datasheet.restart is None:
        return
    apart: dict[str, str] = {}
    for level in (0, 1) if datasheet.step is not None else (0,):
        try:
            apart |= _apart(datasheet, netlist, index, level)
        except LoopError:  # of which another finding tells
            return
    if apart:
        named = [f"{name} ({place})" if place else name for name, place in apart.items()]
        more = f" and {len(named) - MOST_NAMES} more" if len(named) > MOST_NAMES else ""
        yield Finding(
            "restart",
            f"the restart leaves out {', '.join(named[:MOST_NAMES])}{more}: from another state it ends with another "
            "value there, whether or not an output shows it; set every register, or say why not",
        )


def _apart(datasheet: Datasheet, netlist: Netlist, index: int, level: int) -> dict[str, str]:
    """Names of registers, with their places, that the restart leaves different in two of the states."""
    assert datasheet.restart is not None
    step, active = step_input(datasheet), int(datasheet.restart.active == "high")
    still = datasheet.idle & ~(1 << index) | (1 - active) << index
    pulse = 0 if step is None else 1 << step
    still = still & ~pulse | level * pulse
    held = still ^ 1 << index
    rows = [held, *(row for _ in range(Restart().length) for row in (held ^ pulse, held)), still]
    simulation, rng = Simulation(netlist), random.Random("restart")
    ends = []
    for _ in range(STATES):
        simulation.power_cycle(rng)
        simulation.set("inputs", still)  # the first settling makes no edges
        simulation.settle()
        simulation.run_samples("inputs", np.array(rows, np.uint16), "outputs")
        ends.append(simulation.snapshot())
    places = simulation.compiled.layout.registers
    found = {}
    for register, place in zip(netlist.registers, places, strict=True):
        held_in = {image[place.offset : place.offset + place.size] for image in ends}
        if len(held_in) > 1 and not is_wiring(register):
            name = register.name.removeprefix("wrapper.").removeprefix("design.")
            found[name] = _LINE.sub(r"\1", register.src)
    return found
