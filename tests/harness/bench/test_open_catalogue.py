"""Claims about the catalogue's designs before two judges: Icarus on the source, and the gates of Yosys' `synth`.

Each register wakes up by chance, `DRAWS` times; nothing else in these designs is open, which Icarus shows: no x reaches
an output. A design in Amaranth goes to both as Yosys reads Amaranth's own RTLIL.

Yosys codes state machines anew, so that its chip may wake up in states that the source has not: of the designs, only
`reaction_test` has one. Of 254 bits that power-ups of its source alone would agree on, 163 do not hold there.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from amaranth.back import rtlil
from forelight.designs.catalogue import load_design, names
from forelight.designs.datasheet import Datasheet
from forelight.harness.bench.powerups import Sample, sampled_power_ups
from forelight.harness.chip.netlist import wrapper_netlist
from forelight.harness.chip.wired_design import WiredDesign
from forelight.harness.chip.wrapper import Wrapper
from forelight.sim import Simulation
from forelight.sim.netlist import Netlist
from forelight.sim.undefined.opened import opened
from numpy.typing import NDArray

from tests.sizes import sized

from ...sim.icarus import needs_icarus
from .open_judges import (
    POWER_UPS,
    Claims,
    Tally,
    by_chip,
    by_icarus_waking,
    chip,
    claims,
    stimulus,
    waking,
    yosys,
)
from .test_proof_catalogue import lines_of
from .whole_runs import prove

#: A loop without a stable state: nothing is claimed of it, and Icarus never leaves it.
RUNS_FREE = {"inverter_ring"}
DESIGNS = [name for name in names() if name not in RUNS_FREE]
#: A loop that keeps a bit: Icarus knows no other power-up of it than x, and swings for ever where both inputs let go.
NO_DRAWS = {"nor_latch"}
#: Updates by chance before a restart and after, and those of the first run of the datasheet.
BEFORE, SHAKEN, PLANNED = sized((20, 60, 30), (60, 300, 300))
#: The one design with a state machine that Yosys codes anew.
MACHINE = "reaction_test"
PREFIX = "wrapper.design."


def lines(sheet: Datasheet, seed: int) -> NDArray[np.uint16]:
    """What moves the inputs: by chance without a restart, then after one, then as in a run of the datasheet."""
    shaken = np.concatenate((stimulus(seed + 1, BEFORE) & 0xBF, stimulus(seed, SHAKEN)))
    if sheet.restart is not None and sheet.restart.active == "low":
        shaken ^= 0x40
    return np.concatenate((shaken, lines_of(sheet.name, sheet.runs[0].name)[:PLANNED]))


@dataclass(frozen=True)
class Source:
    """A design as the judges read it: files and top module, how Yosys reads it, and registers that are to be drawn."""

    files: list[Path]
    top: str
    read: str
    registers: dict[str, int]


def source(sheet: Datasheet, netlist: Netlist, folder: Path) -> Source:
    if sheet.format == "verilog":
        files = [sheet.folder / file for file in sheet.sources]
        # A latch that is open shows what it is given, whatever was drawn; one that is shut keeps what it had.
        clocked = (register for register in netlist.registers if register.clock is not None)
        registers = {register.name.removeprefix(PREFIX): register.width for register in clocked}
        read = f"read_verilog -I{sheet.folder} {' '.join(map(str, files))}"
        return Source(files, sheet.top or sheet.name, read, registers)
    text, written = folder / "judged.il", folder / "judged.v"
    whole = WiredDesign(Wrapper(sheet))
    ports = {name: (signal, None) for name, signal in whole.ports().items()}
    text.write_text(rtlil.convert(whole, name="judged", ports=ports))
    read = f"read_rtlil {text}"
    passes = ("setattr -unset init w:*", "proc -nomux", "memory_collect")
    yosys(read, *passes, f"write_verilog -norename -noattr {written}")
    written.write_text(waking(written.read_text()))
    return Source([written], "judged", read, {})


def tally(judge: str, claimed: Claims, judged: NDArray[np.uint8]) -> None:
    """The proved claims must hold, and the sampled ones so often as is said."""
    found = Tally()
    found.add(claimed, judged)
    print(f"{judge}: {found}")
    assert found.proved_contradicted == 0
    assert found.sampled_contradicted <= 0.05 * found.sampled


@needs_icarus
@pytest.mark.parametrize("name", sized([*DESIGNS[1::12], MACHINE], DESIGNS))
def test_no_claim_of_the_catalogue_is_contradicted(name: str, tmp_path: Path) -> None:
    seed = random.Random(name).randrange(1 << 30)
    print("seed", seed)
    sheet = load_design(name)
    netlist, values = wrapper_netlist(sheet), lines(sheet, seed)
    claimed, given = claims(netlist, values, seed), source(sheet, netlist, tmp_path)
    if name not in NO_DRAWS:
        drawn = by_icarus_waking(given.files, given.top, given.registers, values, tmp_path)
        tally("Icarus", claimed, drawn)
    tally("chip", claimed, by_chip(chip(given.read, given.top, tmp_path), values, seed))


@pytest.mark.slow
def test_what_open_values_cost_the_catalogue() -> None:
    """Bits that were claimed if each open value were 0 for certain; a design that leaves nothing open loses none."""
    lost = everything = 0
    for name in sized([*DESIGNS[::24], MACHINE], DESIGNS):
        sheet = load_design(name)
        netlist = wrapper_netlist(sheet)
        if not opened(netlist).places:
            assert opened(netlist).drawn is netlist, name
            continue
        values = lines(sheet, 1)
        sample = Sample(Simulation(netlist), sampled_power_ups(POWER_UPS, 1), 1, len(values))
        sample.extend(values)
        proved = prove(netlist, values).bits
        with_zeros = proved | ~sample.differ
        found = claims(netlist, values, 1)
        cost = int(np.bitwise_count(with_zeros & ~(found.proved | found.sampled)).sum())
        print(f"{name}: {cost} of {8 * len(with_zeros)} bits; {opened(netlist).places[0].reason}")
        lost, everything = lost + cost, everything + 8 * len(with_zeros)
        assert not cost or name == MACHINE
    print(
        f"{lost} of {everything} bits lost to open values in the designs that leave some, of {len(DESIGNS)} designs"
    )
    assert 0 < lost < everything / 2
