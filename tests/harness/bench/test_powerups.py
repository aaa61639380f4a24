"""Many power-ups at once against the same power-ups one by one, and what is proved."""

# Amaranth has no py.typed; `inputs: In(8)` fails a strict check.
# mypy: disable-error-code="valid-type, misc"

import numpy as np
import pytest
from amaranth.hdl import Elaboratable, Module, Mux, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out
from forelight.designs.catalogue import load_design
from forelight.harness.bench.powerups import proved, run_power_ups, sampled_power_ups
from forelight.harness.chip.netlist import wrapper_netlist
from forelight.sim import Netlist, Simulation
from forelight.sim.rtlil import parse
from numpy.typing import NDArray

from .setups import Notes, Ripple, Tally, sheet


class Settling(wiring.Component):
    """Each bit settles one step after the one before it: all power-ups agree after eight steps."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        m.d.sync += self.outputs.eq((self.outputs << 1) | self.inputs[0])
        return m


class Half(wiring.Component):
    """The low outputs are plain logic, the high ones show a register."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        kept = Signal(4)
        m.d.sync += kept.eq(self.inputs[:4])
        m.d.comb += self.outputs[:4].eq(Mux(self.inputs[6], self.inputs[:4], 5))
        m.d.comb += self.outputs[4:].eq(kept ^ self.inputs[:4])
        return m


def netlist(design: Elaboratable) -> Netlist:
    return wrapper_netlist(sheet("test", "i7"), design)


def steps(count: int, seed: int) -> NDArray[np.uint8]:
    """Random inputs, with the step line up and down in turn."""
    rng = np.random.default_rng(seed)
    values = rng.integers(0, 128, 2 * count, np.uint8) & ~np.uint8(0x40)
    values[1::2] = values[0::2] | np.uint8(0x80)
    return values


@pytest.mark.parametrize("design", [Settling, Half, Tally, Notes, Ripple])
@pytest.mark.parametrize("count", [1, 2, 3, 4, 40])
def test_side_by_side_as_one_by_one(design: type[Elaboratable], count: int) -> None:
    seed = 5
    found = netlist(design())
    values = steps(400, seed)
    answer = run_power_ups(Simulation(found), values, sampled_power_ups(count, seed))
    alone = []
    for power_up in sampled_power_ups(count, seed):
        simulation = Simulation(found, power_up)
        simulation.settle()
        shown = [simulation.get("outputs")]
        for value in values.tolist():
            simulation.set("inputs", value)
            simulation.settle()
            shown.append(simulation.get("outputs"))
        alone.append(shown)
    table = np.array(alone, np.uint8)
    np.testing.assert_array_equal(answer.outputs, table[0])
    differ = np.bitwise_or.reduce(table ^ table[0], axis=0)
    np.testing.assert_array_equal(answer.agreed, ~differ)
    print(
        f"{design.__name__}: seed {seed}, {count} power-ups, {int(np.count_nonzero(differ))} updates unsettled"
    )


def test_bits_settle_one_after_the_other() -> None:
    answer = run_power_ups(Simulation(netlist(Settling())), steps(12, 1), sampled_power_ups(64, 0))
    assert answer.agreed[2::2].tolist() == [0x01, 0x03, 0x07, 0x0F, 0x1F, 0x3F, 0x7F] + [0xFF] * 5


def test_the_three_fixed_power_ups_are_among_the_first() -> None:
    assert sampled_power_ups(3, 9) == [0, 1, "init"]
    assert sampled_power_ups(2, 9) == [0, 1]
    assert len(sampled_power_ups(64, 9)) == 64
    drawn = [kind.getrandbits(64) for kind in sampled_power_ups(64, 9)[3:] if not isinstance(kind, int | str)]
    assert len(set(drawn)) == 61


def test_progress_counts_updates() -> None:
    told: list[int] = []
    run_power_ups(Simulation(netlist(Settling())), steps(500, 1), [0], told.append)
    assert told == [64, 192, 448, 960, 1000]


def test_plain_logic_is_proved() -> None:
    assert proved(netlist(Half())) == 0x0F
    assert proved(wrapper_netlist(load_design("watch_vote"))) == 0xFF
    assert proved(netlist(Tally())) == 0
    # The point of the dice is a switch, everything else comes from its register.
    assert proved(wrapper_netlist(load_design("dice"))) == 0x80


LOOP = r"""
module \top
  wire width 8 input 1 \inputs
  wire width 8 output 2 \outputs
  wire width 8 \loop
  cell $and \one
    parameter \A_SIGNED 0
    parameter \B_SIGNED 0
    parameter \A_WIDTH 1
    parameter \B_WIDTH 1
    parameter \Y_WIDTH 1
    connect \A \inputs [0]
    connect \B \loop [0]
    connect \Y \loop [0]
  end
  cell $not \two
    parameter \A_SIGNED 0
    parameter \A_WIDTH 2
    parameter \Y_WIDTH 2
    connect \A \inputs [2:1]
    connect \Y \loop [2:1]
  end
  cell $mux \three
    parameter \WIDTH 1
    connect \A \inputs [3]
    connect \B 1'x
    connect \S \inputs [4]
    connect \Y \loop [3]
  end
  connect \loop [7:4] 4'0x11
  connect \outputs \loop
end
"""


def test_neither_a_loop_nor_what_is_undefined_is_proved() -> None:
    assert proved(parse(LOOP)) == 0b1011_0110
