"""Collapsed stuck-at faults against the published counts of the benchmark circuits.

Sources: F. Brglez and H. Fujiwara, "A neutral netlist of 10 combinational benchmark circuits and a target
translator in FORTRAN", ISCAS 1985 (names with c); F. Brglez, D. Bryan and K. Kozminski, "Combinational profiles
of sequential benchmark circuits", ISCAS 1989 (names with s). The smallest of each is written down here; the
others are read from the folder that the environment variable FORELIGHT_ISCAS names.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from forelight.designs import read
from forelight.sim import Netlist
from forelight.sim.errors import UsageError
from forelight.sim.gates.rewrite import gates
from forelight.sim.lanes.faults import Fault, Site, collapsed, describe, sites
from forelight.sim.lanes.variants import Lanes
from forelight.sim.netlist import Word

from ..bench_format import read_bench

C17 = """
INPUT(1)
INPUT(2)
INPUT(3)
INPUT(6)
INPUT(7)
OUTPUT(22)
OUTPUT(23)
10 = NAND(1, 3)
11 = NAND(3, 6)
16 = NAND(2, 11)
19 = NAND(11, 7)
22 = NAND(10, 16)
23 = NAND(16, 19)
"""
S27 = """
INPUT(G0)
INPUT(G1)
INPUT(G2)
INPUT(G3)
OUTPUT(G17)
G5 = DFF(G10)
G6 = DFF(G11)
G7 = DFF(G13)
G14 = NOT(G0)
G17 = NOT(G11)
G8 = AND(G14, G6)
G15 = OR(G12, G8)
G16 = OR(G3, G8)
G9 = NAND(G16, G15)
G10 = NOR(G14, G11)
G11 = NOR(G5, G9)
G12 = NOR(G1, G7)
G13 = NOR(G2, G12)
"""
#: Collapsed single stuck-at faults.
PUBLISHED = {
    "c432": 524,
    "c499": 758,
    "c880": 942,
    "c1355": 1574,
    "c1908": 1879,
    "s298": 308,
    "s344": 342,
    "s386": 384,
    "s1196": 1242,
}


def published_text(name: str) -> str:
    folder = os.environ.get("FORELIGHT_ISCAS")
    if not folder:
        pytest.skip("FORELIGHT_ISCAS names no folder with the larger published netlists")
    return Path(folder, f"{name}.bench").read_text("ascii")


def drawn(text: str, name: str) -> Netlist:
    return gates(read_bench(text, name), as_drawn=True)


def test_c17() -> None:
    netlist = drawn(C17, "c17")
    assert len(sites(netlist)) == 17
    assert len(collapsed(netlist)) == 22


def test_s27() -> None:
    """The papers' circuits have no clock line."""
    assert len(collapsed(drawn(S27, "s27"), clocks=False)) == 32


@pytest.mark.parametrize("name", PUBLISHED)
def test_published_counts(name: str) -> None:
    assert len(collapsed(drawn(published_text(name), name), clocks=False)) == PUBLISHED[name]


def verilog(text: str, name: str) -> str:
    """The same gates as Verilog primitives, of which Yosys makes pairs."""
    netlist = read_bench(text, name)
    lines = [line for line in text.splitlines() if "=" in line and not line.lstrip().startswith("#")]
    primitives = []
    for line in lines:
        net, _, rest = line.partition("=")
        kind, _, listed = rest.strip().rstrip(")").partition("(")
        pins = ", ".join(f"n{each.strip()}" for each in (net, *listed.split(",")))
        primitives.append(f"  {'buf' if kind == 'BUFF' else kind.lower()} ({pins});")
    inputs, outputs = ([f"n{net}" for net in ports] for ports in (netlist.inputs, netlist.outputs))
    wires = [f"n{net}" for net in netlist.names if f"n{net}" not in {*inputs, *outputs}]
    head = f"module {name}(input {', '.join(inputs)}, output {', '.join(outputs)});"
    return "\n".join([head, f"  wire {', '.join(wires)};", *primitives, "endmodule\n"])


@pytest.mark.parametrize("name", ["c17", "c499"])
def test_gates_that_a_reader_has_split_count_as_drawn(name: str, tmp_path: Path) -> None:
    """c499 has gates of five inputs; in the others Yosys drops buffers and inverters that are there twice."""
    text = C17 if name == "c17" else published_text(name)
    source = tmp_path / f"{name}.v"
    source.write_text(verilog(text, name))
    netlist = gates(read(source), as_drawn=True)
    assert len(collapsed(netlist)) == {"c17": 22, **PUBLISHED}[name]


def test_a_class_lists_what_nothing_can_tell_apart() -> None:
    """Of a nand: both inputs at 0 and the output at 1."""
    netlist = drawn("INPUT(a)\nINPUT(b)\nOUTPUT(y)\ny = NAND(a, b)\n", "nand")
    classes = [{describe(netlist, fault) for fault in members} for members in collapsed(netlist)]
    assert len(classes) == 4
    assert any({"a[0] stuck at 0", "b[0] stuck at 0", "y stuck at 1"} <= members for members in classes)


def test_an_output_that_feeds_logic_adds_a_branch() -> None:
    netlist = drawn("INPUT(a)\nOUTPUT(y)\nOUTPUT(z)\ny = NOT(a)\nz = NOT(y)\n", "two")
    branches = [site for site in sites(netlist) if site.place != "driver"]
    assert branches == [Site("gate", 1, 0), Site("output", 0, 0)]
    assert describe(netlist, Fault(branches[1], 1)) == "y at output y[0] stuck at 1"
    assert describe(netlist, Fault(branches[0], 0)) == "y at input 0 of the $not that makes z stuck at 0"


def test_a_netlist_of_words_has_no_sites() -> None:
    netlist = Netlist("wide", (4,), {"a": 0}, {"y": Word.value(0, 4)}, (), (), ())
    assert len(sites(netlist)) == 4
    with pytest.raises(UsageError, match="turn it into gates"):
        sites(read_words())


def read_words() -> Netlist:
    from forelight.sim.netlist import Cell

    return Netlist(
        "words", (4, 4), {"a": 0}, {"y": Word.value(1, 4)}, (Cell("$not", 1, (Word.value(0, 4),)),), (), ()
    )


def test_exhaustive_patterns_detect_every_fault_of_c17() -> None:
    """All 22 of 22 (Brglez and Fujiwara 1985): a lane for each fault, lane 0 has none."""
    netlist = drawn(C17, "c17")
    faults = [members[0] for members in collapsed(netlist)]
    lanes = Lanes(netlist, 1 + len(faults), faults=[None, *faults])
    patterns = np.arange(32, dtype=np.uint8)
    columns = {port: patterns >> np.uint8(bit) & 1 for bit, port in enumerate(netlist.inputs)}
    assert lanes.differs_in_samples(columns).tolist() == [0] + [1] * 22


def test_members_of_a_class_are_detected_by_the_same_patterns() -> None:
    netlist = drawn(C17, "c17")
    classes = collapsed(netlist)
    faults = [fault for members in classes for fault in members]
    assert len(faults) == 34
    lanes = Lanes(netlist, 1 + len(faults), faults=[None, *faults])
    seen: dict[Fault, list[int]] = {fault: [] for fault in faults}
    for pattern in range(32):
        for bit, port in enumerate(netlist.inputs):
            lanes.set(port, pattern >> bit & 1)
        lanes.settle()
        shown = [lanes.get(port) for port in netlist.outputs]
        for lane, fault in enumerate(faults, 1):
            if any(values[lane] != values[0] for values in shown):
                seen[fault].append(pattern)
    assert all(seen[fault] == seen[members[0]] for members in classes for fault in members)
    assert len({tuple(patterns) for patterns in seen.values()}) > 10


#: Redundant faults, which no pattern detects (test generation literature on the circuits of 1985).
REDUNDANT = {"c499": 8, "c880": 0, "c1355": 8, "c1908": 9}


@pytest.mark.slow
@pytest.mark.parametrize("name", REDUNDANT)
def test_random_patterns_never_detect_a_redundant_fault(name: str) -> None:
    """They come close to all others."""
    seed = 5
    print("seed", seed)
    netlist = drawn(published_text(name), name)
    faults = [members[0] for members in collapsed(netlist)]
    rng = np.random.default_rng(seed)
    columns = {port: rng.integers(0, 2, 4000, np.uint8) for port in netlist.inputs}
    detected = 0
    for at in range(0, len(faults), 511):
        chosen = faults[at : at + 511]
        lanes = Lanes(netlist, 512, faults=[None, *chosen])
        detected += int(lanes.differs_in_samples(columns).sum())
    print(name, detected, "of", len(faults))
    assert 0.98 * len(faults) < detected <= len(faults) - REDUNDANT[name]
