"""The same rows of 0, 1 and x for a netlist under Icarus Verilog and for what is proved of it, bit by bit."""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from forelight.sim import Simulation
from forelight.sim.compile.compiled import Compiled
from forelight.sim.netlist import Netlist, Word
from forelight.sim.proof.rewrite import unknowns
from forelight.sim.proof.ternary import Proof
from numpy.typing import NDArray

from ..icarus import run

#: The levels of all input ports: each port a text of `0`, `1` and `x`, its highest bit first.
Row = Mapping[str, str]
#: A row of characters, `0`, `1` or `x`, for each row of inputs.
Seen = NDArray[np.uint8]
#: An input port and a bit of it.
Line = tuple[str, int]
#: The one output, which shows all nets that are compared.
NETS = "nets"


@dataclass(frozen=True)
class Drive:
    """How the inputs of a circuit are driven, each line as its port and bit. What is neither is data.

    Clocks begin low; a reset has a level at which it acts, and begins at the other. `change` is the chance that a
    bit of data is drawn anew in a step.
    """

    clocks: Sequence[Line] = ()
    resets: Mapping[Line, int] = field(default_factory=dict)
    change: float = 1.0


def rows(
    rng: random.Random, widths: Mapping[str, int], drive: Drive, steps: int, unknown: float = 0.0
) -> list[Row]:
    """Data moves while clocks and resets stand still; then one of these moves alone, and mostly back again.

    So nothing here depends on an order in which lines move. `unknown` is the share of data bits that are x.
    """
    return list(_steps(rng, widths, drive, steps, unknown))


def _steps(
    rng: random.Random, widths: Mapping[str, int], drive: Drive, steps: int, unknown: float
) -> Iterator[Row]:
    still = dict.fromkeys(drive.clocks, 0) | {line: 1 - level for line, level in drive.resets.items()}
    data: dict[Line, str] = {}

    def shown() -> Row:
        levels = data | {line: str(level) for line, level in still.items()}
        return {port: "".join(levels[port, bit] for bit in reversed(range(n))) for port, n in widths.items()}

    for _ in range(steps):
        for line in ((port, bit) for port, width in widths.items() for bit in range(width)):
            if line not in data or rng.random() < drive.change:
                data[line] = "x" if rng.random() < unknown else rng.choice("01")
        yield shown()
        resets = drive.resets and rng.random() < 0.08
        for line in _moving(rng, list(drive.resets) if resets else drive.clocks):
            still[line] ^= 1
            yield shown()


def _moving(rng: random.Random, lines: Sequence[Line]) -> list[Line]:
    line = [rng.choice(lines)] if lines else []
    return line * (2 if rng.random() < 0.8 else 1)


# Icarus Verilog


def under_icarus(
    body: str, netlist: Netlist, shown: Sequence[str], driven: Sequence[Row], folder: Path
) -> Seen:
    """What Icarus shows of `shown`, names of nets of one bit or more, after each row.

    `body` is Verilog that stands in the bench: gates, or an instance of a module in `dut.v`, if the folder holds
    one. Inputs are variables that begin with the first row, so that this is no edge of theirs.
    """
    widths = {port: netlist.widths[value] for port, value in netlist.inputs.items()}
    lines = ["".join(row[port] for port in widths) for row in driven]
    (folder / "rows.txt").write_text("\n".join(lines) + "\n")
    ports = [f"reg [{width - 1}:0] \\{port} = {width}'b{driven[0][port]};" for port, width in widths.items()]
    bench = f"""
module bench;
  {" ".join(ports)}
  reg [{sum(widths.values()) - 1}:0] rows [0:{len(driven) - 1}];
  integer at;
{body}
  initial begin
    $readmemb("rows.txt", rows);
    for (at = 0; at < {len(driven)}; at = at + 1) begin
      {{{", ".join(f"{chr(92)}{port} " for port in widths)}}} = rows[at];
      #10 $display("%b", {{{", ".join(shown)}}});
    end
  end
endmodule
"""
    (folder / "bench.v").write_text(bench)
    module = folder / "dut.v"
    sources = [folder / "bench.v", *([module] if module.exists() else [])]
    return _characters(run(sources, "bench", folder).split())


def _characters(lines: Sequence[str]) -> Seen:
    return np.frombuffer("".join(lines).encode(), np.uint8).reshape(len(lines), -1)


# Forelight


def showing(netlist: Netlist, shown: Sequence[Word]) -> Netlist:
    """The netlist with one output that shows these words, the first one highest."""
    return replace(netlist, outputs={NETS: Word.of(part for word in reversed(shown) for part in word.parts)})


def under_unknowns(netlist: Netlist, driven: Sequence[Row]) -> Seen:
    """Plain three-valued logic, `sim/unknowns.py`: lines may be unknown, and those that move do so at one instant."""
    rewritten = unknowns(netlist)
    sim = Simulation(rewritten, "init", compiled=Compiled(rewritten, passes=False))
    lines = []
    for row in driven:
        sim.set_many({port: int(bits.replace("x", "0"), 2) for port, bits in row.items()})
        masks = {port: bits.replace("1", "0").replace("x", "1") for port, bits in row.items()}
        sim.set_many({f"{port}.unknown": int(mask, 2) for port, mask in masks.items()})
        sim.settle()
        lines.append(_text(sim.get(NETS), ~sim.get(f"{NETS}.unknown"), netlist.outputs[NETS].width))
    return _characters(lines)


def under_proof(netlist: Netlist, driven: Sequence[Row], *, in_rounds: bool = False) -> Seen:
    """The proof that goldens rest on, `sim/ternary.py`: lines are known, and those that move together race."""
    proof = Proof(netlist, in_rounds=in_rounds)
    assert proof.in_rounds is in_rounds
    lines = []
    for row in driven:
        proof.update({port: int(bits, 2) for port, bits in row.items()})
        lines.append(_text(*proof.get(NETS), netlist.outputs[NETS].width))
    return _characters(lines)


def _text(value: int, known: int, width: int) -> str:
    pairs = zip(f"{value:0{width}b}", f"{known & (1 << width) - 1:0{width}b}", strict=True)
    return "".join(bit if sure == "1" else "x" for bit, sure in pairs)


# Both


@dataclass(frozen=True)
class Tally:
    """Bits compared, those that Icarus knows, those that are proved, and those on which both agree in full."""

    name: str
    bits: int
    icarus: int
    proved: int
    equal: int

    def __str__(self) -> str:
        return (
            f"{self.name}: {self.bits:,} bits compared; Icarus knows {self.icarus:,}, proved {self.proved:,},"
            f" equal {self.equal:,}"
        )


def tally(name: str, theirs: Seen, ours: Seen) -> Tally:
    """Counts; AssertionError if a bit that Icarus knows is proved to be the other, or is not proved."""
    assert theirs.shape == ours.shape
    known, proved = theirs != ord("x"), ours != ord("x")
    found = Tally(name, theirs.size, int(known.sum()), int(proved.sum()), int((theirs == ours).sum()))
    print(found)
    wrong = np.argwhere(known & (theirs != ours))
    assert not len(wrong), f"{len(wrong)} bits, first row {wrong[0][0]}, bit {wrong[0][1]} from the left"
    return found
