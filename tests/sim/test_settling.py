"""What stands behind a loop sees only what the loop comes to, never a value that was passing.

The netlists are made of loops with one stable state for what they hold (two gates that feed each other through
multiplexers of which one always breaks the ring, and multiplexers that hold), of latches and flip-flops behind
them, and of more of both. There the compiled simulation must be the interpreter's, which brings each loop to rest
before it looks at anything behind it.
"""

from __future__ import annotations

import random

import pytest
from forelight.sim import Simulation
from forelight.sim.lanes.variants import Lanes
from forelight.sim.loops import LoopError
from forelight.sim.netlist import Const, Netlist, Override, Register, Word
from forelight.sim.reference import Reference
from forelight.sim.schedule import schedule
from forelight.sim.state import PowerUp

from tests.sizes import sized

from .unclocked_netlists import LINES, Maker

UPDATES = 40


class Chain(Maker):
    """Grows a netlist of single bits on four lines, each piece reading what was there before."""

    def bit(self) -> Word:
        """One of the last bits rather than one of the first: so the pieces stand behind each other."""
        late = self.rng.random() < 0.7
        return self.rng.choice(self.ready[-4:] if late else self.ready)

    def broken_ring(self) -> None:
        """Two gates that feed each other; the selector lets only one of them through."""
        one, other, select = self.value(), self.value(), self.bit()
        first = self.gate(self.rng.choice(("$and", "$xor", "$or")), (one, self.bit()))
        second = self.gate(self.rng.choice(("$and", "$xnor", "$or")), (other, self.bit()))
        self.gate("$mux", (self.bit(), second, select), one)
        self.gate("$mux", (first, self.bit(), select), other)
        self.ready += [one, other, first]

    def holding(self) -> None:
        """A multiplexer that holds what it has while it is not open."""
        held = self.value()
        self.ready.append(self.gate("$mux", (held, self.bit(), self.bit()), held))

    def state(self, *, clocked: bool) -> None:
        output = self.value()
        (number,) = output.values()
        overrides = tuple(
            Override(self.bit(), self.bit()) for _ in range(self.rng.randint(not clocked, 1 + (not clocked)))
        )
        clock, data = (self.bit(), self.bit()) if clocked else (None, Word())
        init = Const(self.rng.getrandbits(1), 1)
        rising = self.rng.random() < 0.6
        self.registers.append(Register(number, 1, clock, rising, data, overrides, init, f"r{number}"))
        self.ready.append(output)

    def looped_latch(self) -> None:
        """A latch whose data comes back to it through a gate, open only while the gate does not listen."""
        output, enable = self.value(), self.bit()
        (number,) = output.values()
        back = self.gate("$mux", (output, self.bit(), enable))
        init = Const(self.rng.getrandbits(1), 1)
        override = Override(enable, back)
        self.registers.append(Register(number, 1, None, True, Word(), (override,), init, f"r{number}"))
        self.ready += [back, output]

    def gathering(self) -> None:
        """A latch that, while open, keeps some of what it has and adds to it, here and there through a held value."""
        output, more = self.value(), self.bit()
        (number,) = output.values()
        source = output
        if self.rng.random() < 0.5:
            held = self.value()
            source = self.gate("$mux", (held, output, self.bit()), held)
        data = self.gate("$or", (self.gate("$and", (source, self.bit())), more))
        init = Const(self.rng.getrandbits(1), 1)
        override = Override(self.bit(), data)
        self.registers.append(Register(number, 1, None, True, Word(), (override,), init, f"r{number}"))
        self.ready += [output, data]

    def grow(self) -> None:
        piece = self.rng.choice(
            ("ring", "ring", "hold", "latch", "latch", "looped", "gathering", "gathering", "clocked", "gate")
        )
        if piece == "ring":
            self.broken_ring()
        elif piece == "hold":
            self.holding()
        elif piece == "gathering":
            self.gathering()
        elif piece == "looped":
            self.looped_latch()
        elif piece == "gate":
            self.ready.append(self.gate(self.rng.choice(("$and", "$or", "$xor")), (self.bit(), self.bit())))
        else:
            self.state(clocked=piece == "clocked")


def chained(rng: random.Random) -> Netlist:
    make = Chain(rng)
    for _ in range(rng.randint(3, 14)):
        make.grow()
    shown = Word()
    for bit in make.ready[LINES:]:
        shown += bit
    names = {f"v{n}": Word.value(n, width) for n, width in enumerate(make.widths)}
    cells = list(make.cells)
    rng.shuffle(cells)
    widths, registers = tuple(make.widths), tuple(make.registers)
    return Netlist("chained", widths, {"inputs": 0}, {"outputs": shown}, tuple(cells), registers, (), names)


def run(netlist: Netlist, rng: random.Random, power_up: PowerUp) -> int:
    """Values compared in a run of random inputs."""
    sim, judge = Simulation(netlist, power_up), Reference(netlist, power_up)
    compared = 0
    for update in range(UPDATES):
        levels = rng.getrandbits(LINES)
        sim.set("inputs", levels)
        judge.set("inputs", levels)
        try:
            judge.settle()
        except LoopError:  # clocks that ring
            with pytest.raises(LoopError):
                sim.settle()
            return compared
        sim.settle()
        for name in netlist.names:
            assert sim.get(name) == judge.get(name), f"{name} at update {update}"
            compared += 1
    return compared


@pytest.mark.parametrize("power_up", [0, "init"])
@pytest.mark.parametrize("seed", range(sized(30, 120)))
def test_nothing_passing_is_kept(seed: int, power_up: PowerUp) -> None:
    print("seed", seed)
    rng = random.Random(seed)
    run(chained(rng), rng, power_up)


@pytest.mark.slow
def test_the_chains_are_worth_a_look() -> None:
    netlists = [chained(random.Random(seed)) for seed in range(sized(30, 120))]
    loops = [len(schedule(netlist).loops) for netlist in netlists]
    compared = [run(netlist, random.Random(seed), 0) for seed, netlist in enumerate(netlists)]
    print(sum(loops), sum(compared))
    assert sum(loops) > sized(75, 300) and sum(count > 0 for count in compared) > sized(25, 100)


LANES = 128


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(0, 120, sized(60, 6)))
def test_lanes_are_separate_runs(seed: int) -> None:
    """Each lane has inputs of its own, so that one lane's loop rests while another's moves."""
    print("seed", seed)
    rng = random.Random(seed)
    netlist = chained(rng)
    lanes = Lanes(netlist, LANES, "init", per_lane_inputs=("inputs",))
    judges = [Reference(netlist, "init") for _ in range(LANES)]
    for _ in range(UPDATES):
        levels = [rng.getrandbits(LINES) for _ in range(LANES)]
        lanes.set("inputs", levels)
        for judge, level in zip(judges, levels, strict=True):
            judge.set("inputs", level)
        try:
            for judge in judges:
                judge.settle()
        except LoopError:
            return
        lanes.settle()
        assert lanes.get("outputs") == [judge.get("outputs") for judge in judges]
