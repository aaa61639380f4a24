"""Verilog circuits of many kinds against Icarus Verilog, 10,000 random steps each."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

import pytest
from forelight.designs import read

from tests.sizes import sized

from ..icarus import needs_icarus
from .comparison import Design, compare, flip_flops
from .stimulus import rows, uncompared
from .verilog_circuits import CIRCUITS, FOLDER, sources

STEPS = sized(1_000, 10_000)


@needs_icarus
@pytest.mark.parametrize("name", CIRCUITS)
def test_as_under_icarus(name: str, tmp_path: Path, seed: int, tallied: Callable[..., None]) -> None:
    drive = CIRCUITS[name]
    netlist = read(sources(name), top=name)
    widths = {port: netlist.widths[value] for port, value in netlist.inputs.items()}
    driven = [dict(row) for row in rows(random.Random(seed), widths, drive, STEPS)]
    tallied(compare(netlist, Design(sources(name), name), driven, tmp_path, skip=uncompared(drive)))


@pytest.mark.slow
def test_the_suite_is_as_large_as_it_should_be() -> None:
    sizes = {name: flip_flops(read(sources(name), top=name)) for name in CIRCUITS}
    large = [name for name, size in sizes.items() if size >= 20]
    print(f"{len(sizes)} circuits, {len(large)} of them with 20 flip-flops or more")
    assert {path.stem for path in FOLDER.glob("*.v")} == set(CIRCUITS)
    assert len(sizes) >= 30
    assert 2 * len(large) >= len(sizes)
