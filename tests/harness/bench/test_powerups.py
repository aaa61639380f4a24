"""Many power-ups at once against the same power-ups one by one, races among them."""

# Amaranth has no py.typed; `inputs: In(8)` fails a strict check.
# mypy: disable-error-code="valid-type, misc"

from itertools import permutations

import numpy as np
import pytest
from amaranth.hdl import Elaboratable, Module, Mux, Signal
from amaranth.lib import memory, wiring
from amaranth.lib.wiring import In, Out
from forelight.harness.bench import powerups
from forelight.harness.bench.powerups import Answer, power_up_of, sampled_power_ups
from forelight.harness.chip.netlist import wrapper_netlist
from forelight.sim import Netlist, Simulation
from forelight.sim.lanes.variants import Lanes
from numpy.typing import NDArray

from .setups import Notes, Ripple, Tally, sheet
from .whole_runs import prove, racing, run_power_ups


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


class Two(wiring.Component):
    """Two memories that are written at each step: one with i0, one with i1."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        for line, name in enumerate(("first", "second")):
            m.submodules[name] = store = memory.Memory(shape=1, depth=4, init=[])
            write, read = store.write_port(), store.read_port(domain="comb")
            m.d.comb += [write.addr.eq(self.inputs[2:4]), write.data.eq(self.inputs[line]), write.en.eq(1)]
            m.d.comb += [read.addr.eq(self.inputs[2:4]), self.outputs[line].eq(read.data)]
        return m


#: The step line alone.
UP_AND_DOWN = np.array([0x80, 0], np.uint8)


def netlist(design: Elaboratable) -> Netlist:
    return wrapper_netlist(sheet("test", "i7"), design)


def steps(count: int, seed: int, lines: int = 1) -> NDArray[np.uint8]:
    """Random inputs, so many lines moving in each update, with the step line up and down in every other one."""
    rng = np.random.default_rng(seed)
    moved = np.zeros(4 * count, np.uint8)
    for _ in range(lines):
        moved[::2] |= np.uint8(1) << rng.integers(0, 6, 2 * count, np.uint8)
    moved[1::2] = 0x80
    if lines > 1:  # now and then the step line moves along
        moved[::2] |= (rng.random(2 * count) < 0.1).astype(np.uint8) << np.uint8(7)
    return np.bitwise_xor.accumulate(moved)


@pytest.mark.parametrize("design", [Settling, Half, Tally, Notes, Ripple])
@pytest.mark.parametrize("count", [1, 2, 3, 4, 40])
def test_side_by_side_as_one_by_one(design: type[Elaboratable], count: int) -> None:
    seed = 5
    found = netlist(design())
    values = steps(200, seed)
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
    answer = run_power_ups(
        Simulation(netlist(Settling())), np.tile(UP_AND_DOWN, 12), sampled_power_ups(64, 0)
    )
    assert answer.agreed[1::2].tolist() == [0x01, 0x03, 0x07, 0x0F, 0x1F, 0x3F, 0x7F] + [0xFF] * 5
    assert len(answer.standings[-1].states) == 1


def test_the_three_fixed_power_ups_are_among_the_first() -> None:
    assert sampled_power_ups(3, 9) == [0, 1, "init"]
    assert sampled_power_ups(2, 9) == [0, 1]
    assert len(sampled_power_ups(64, 9)) == 64
    drawn = [kind.getrandbits(64) for kind in sampled_power_ups(64, 9)[3:] if not isinstance(kind, int | str)]
    assert len(set(drawn)) == 61


def test_progress_counts_updates() -> None:
    told: list[int] = []
    run_power_ups(Simulation(netlist(Settling())), np.tile(UP_AND_DOWN, 500), [0], 0, told.append)
    assert told == [64, 192, 448, 960, 1000]


def same(one: Answer, other: Answer) -> None:
    np.testing.assert_array_equal(one.outputs, other.outputs)
    np.testing.assert_array_equal(one.agreed, other.agreed)
    assert one.forks == other.forks
    assert len(one.standings[-1].states) == len(other.standings[-1].states)


@pytest.mark.parametrize("design", [Settling, Half, Tally, Notes, Ripple])
@pytest.mark.parametrize("count", [40, 600])
def test_in_lanes_as_without(design: type[Elaboratable], count: int, monkeypatch: pytest.MonkeyPatch) -> None:
    found = netlist(design())
    values = steps(40, 3, lines=2)
    plain = run_power_ups(Simulation(found), values, sampled_power_ups(count, 1))
    monkeypatch.setattr(powerups, "_WORTH_LANES", 0)
    same(run_power_ups(Simulation(found), values, sampled_power_ups(count, 1)), plain)


@pytest.mark.parametrize("design", [Settling, Half, Tally, Notes, Ripple])
def test_no_sample_contradicts_what_is_proved(design: type[Elaboratable]) -> None:
    found = netlist(design())
    values = np.concatenate((np.tile(UP_AND_DOWN, 20), steps(200, 8, lines=3)))
    answer = run_power_ups(Simulation(found), values, sampled_power_ups(100, 1))
    assert not np.any(prove(found, values).bits & ~answer.agreed)


def every_order(simulation: Simulation, states: set[bytes], before: int, after: int) -> set[bytes]:
    """Where the lines lead to, moved one after another in every order."""
    moved = [1 << bit for bit in range(8) if (before ^ after) >> bit & 1]
    found = set()
    for state in states:
        for order in permutations(moved):
            simulation.restore(state)
            now = before
            for line in order:
                now ^= line
                simulation.set("inputs", now)
                simulation.settle()
            found.add(simulation.snapshot())
    return found


@pytest.mark.parametrize("design", [Settling, Half, Tally])
@pytest.mark.parametrize("seed", range(4))
def test_chance_finds_what_every_order_finds(design: type[Elaboratable], seed: int) -> None:
    """One state, one race of up to three lines: 100 draws meet each outcome, and nothing else."""
    print("seed", seed)
    found = netlist(design())
    simulation = Simulation(found)
    values = np.concatenate((np.tile(UP_AND_DOWN, 10), steps(1, seed, lines=2)[:1] ^ np.uint8(0x80)))
    answer = run_power_ups(simulation, values, [0] * 100)
    simulation.power_cycle(0)
    simulation.settle()
    simulation.run_samples("inputs", values[:-1], "outputs")
    ends = every_order(simulation, {simulation.snapshot()}, int(values[-2]), int(values[-1]))
    assert set(answer.standings[-1].states) == ends
    assert bool(answer.forks) == (len(ends) > 1)
    if answer.forks:
        (fork,) = answer.forks
        assert fork.update == len(values) - 1
        assert sum(1 << bit for _, bit in fork.lines) == int(values[-1] ^ values[-2])


def test_a_switch_moved_with_the_step_clock_is_a_race_and_the_clock_alone_is_none() -> None:
    found = netlist(Half())
    alone = np.array(
        [0x80, 0, 0x02, 0x82, 0], np.uint8
    )  # the last one falls with a switch, which is harmless
    assert racing(found, alone) == [4]
    answer = run_power_ups(Simulation(found), alone, sampled_power_ups(50, 0))
    assert not answer.forks
    together = np.array([0x80, 0, 0x82, 0x02], np.uint8)
    answer = run_power_ups(Simulation(found), together, sampled_power_ups(50, 0))
    (fork,) = answer.forks
    assert (fork.update, fork.lines) == (2, (("inputs", 1), ("inputs", 7)))
    assert [name.rpartition(".")[2] for name in fork.registers] == ["kept"]
    assert answer.agreed.tolist()[1:] == [0xFF, 0xFF, 0xDF, 0xDF]  # o5 shows the bit of i1


@pytest.mark.parametrize(("line", "name"), [(0, "first"), (1, "second")])
def test_a_race_names_the_memory_that_it_reaches_and_no_other(line: int, name: str) -> None:
    values = np.array([0x80, 0, 0x80 | 1 << line], np.uint8)
    answer = run_power_ups(Simulation(netlist(Two())), values, [0] * 30)
    (fork,) = answer.forks
    assert [memory.rpartition(".")[2] for memory in fork.registers] == [name]


def test_each_state_of_a_small_design_is_one_of_so_many_power_ups_and_lanes_wake_up_in_them() -> None:
    made = netlist(Half())
    woken = [power_up_of(made, number, 32) for number in range(32)]
    lanes = Lanes(made, 32, woken)
    lanes.settle()
    alone = []
    for number in range(32):
        simulation = Simulation(made, power_up_of(made, number, 32))
        simulation.settle()
        alone.append(simulation.get("outputs"))
    assert [int(value) for value in lanes.get("outputs")] == alone
    assert {value >> 4 for value in alone[:16]} == set(range(16)) and alone[16:] == alone[:16]
    # With fewer than there are states they are those that are sampled.
    few, sampled = (
        Simulation(made, ups[5])
        for ups in ([power_up_of(made, n, 15) for n in range(6)], sampled_power_ups(6, 0))
    )
    assert few.snapshot() == sampled.snapshot()
