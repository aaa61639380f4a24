"""Small sources by chance, against Icarus Verilog on the same text.

`python -m tests.designs.sources.text.test_random_sources FIRST COUNT` tries more of them and prints what differs.
"""

from __future__ import annotations

import random
import re
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from forelight.designs import read

from tests.sizes import sized

from ....sim.fidelity.comparison import Design, compare, undefined_registers
from ....sim.fidelity.stimulus import Drive, rows
from ....sim.icarus import needs_icarus
from .random_sources import random_source

ITEMS, STEPS = 6, 60


def held_against(seed: int, folder: Path) -> bool:
    """Whether Icarus reads the source of a seed, and no bit that it defines differs; every third is SystemVerilog."""
    modern = seed % 3 == 0
    text, items = random_source(random.Random(seed), ITEMS, modern)
    path = folder / ("t.sv" if modern else "t.v")
    path.write_text(text)
    if subprocess.run(
        ["iverilog", "-g2009", "-t", "null", str(path)], capture_output=True, check=False
    ).returncode:
        return False
    netlist = read(path)
    widths = {port: netlist.widths[value] for port, value in netlist.inputs.items()}
    driven = [dict(row) for row in rows(random.Random(seed), widths, Drive(("c",)), STEPS)]
    try:
        compare(netlist, Design([path], "t", cleared=undefined_registers(netlist)), driven, folder)
    except AssertionError as error:
        output = re.search(r"first (\w+)\[", str(error))
        raise AssertionError(f"{error}\n{items.get(output[1], text) if output else text}") from None
    return True


@needs_icarus
@pytest.mark.parametrize("first", range(0, sized(3, 150), 3))
def test_no_source_by_chance_differs(first: int, tmp_path: Path) -> None:
    print("seeds", first, first + 1, first + 2)
    assert sum(held_against(seed, tmp_path) for seed in range(first, first + 3))


if __name__ == "__main__":
    begin, count = int(sys.argv[1]), int(sys.argv[2])
    judged = 0
    for number in range(begin, begin + count):
        with tempfile.TemporaryDirectory() as place:
            try:
                judged += held_against(number, Path(place))
            except Exception as error:  # the next one all the same
                print(number, type(error).__name__, error)
    print(f"{judged} of {count} sources as under Icarus Verilog, the rest refused by it or above")
