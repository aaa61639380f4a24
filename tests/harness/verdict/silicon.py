"""Runs of the whole chip in Amaranth, tick by tick, from a random power-up, and the goldens that foretell them.

The golden's ideal hand restarts a design at once and for one step. At the bench a hand waits, holds restart for some
steps, and lets go anywhere between two rises of the step clock (but not in the very update of one, which is a race).
"""

# Amaranth has no py.typed; `inputs: In(8)` fails a strict check.
# mypy: disable-error-code="valid-type, misc"

import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, partial

import numpy as np
from amaranth.hdl import Cat, Elaboratable, Module, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out
from forelight.designs.catalogue import load_design
from forelight.designs.procedures.procedure import Action, Frames, Procedure, Restart, Set, Steps, Strap
from forelight.harness.bench.bench import run
from forelight.harness.bench.powerups import sampled_power_ups
from forelight.harness.boards.profile import Board
from forelight.harness.golden.golden import Golden
from forelight.harness.hand.hand import Hand
from forelight.harness.hand.timeline import Timeline, timeline
from numpy.typing import NDArray

from tests.harness.bench.rig import Setup, WokenChip
from tests.harness.bench.setups import chain, sheet

#: Chains of each length; one of them as long as the demo's.
POSITIONS = (3, 4, 5, 6, 7, 8, 192)
#: Contributions whose outputs change of themselves.
CATALOGUE = (
    *("dice", "ferry_whistle", "lamp_dimmer", "lighthouse", "meeting_lights", "ripple_clock", "tide_gauge"),
    *("travelling_wave", "weather_report", "word_roller"),
)
POWER_UPS = 16
HELD = 12  # steps for which a hand holds restart at most


class Scramble(wiring.Component):
    """A 16-bit shift register with feedback (taps 16, 15, 13, 4: Xilinx XAPP 210) on so many lines, each one slowed
    down: it follows the register only when the four bits above it are alike."""

    inputs: In(8)
    outputs: Out(8)

    def __init__(self, lines: int, slow: bool) -> None:
        super().__init__()
        self.count, self.slow = lines, slow

    def elaborate(self, platform: object) -> Module:
        m = Module()
        register = Signal(16, init=1)
        taps = register[15] ^ register[14] ^ register[12] ^ register[3]
        m.d.sync += register.eq(Cat(taps, register))
        shown = Signal(self.count)
        for bit in range(self.count):
            with m.If((register[bit + 5 : bit + 8] == 7) if self.slow else 1):
                m.d.sync += shown[bit].eq(register[bit])
        m.d.comb += self.outputs.eq(shown)
        return m


SCRAMBLES: Mapping[str, Callable[[], Elaboratable]] = {
    "scramble": partial(Scramble, 8, False),
    "slow": partial(Scramble, 8, True),
    "lone": partial(Scramble, 1, True),
    "pair": partial(Scramble, 2, False),
}


@dataclass(frozen=True)
class Run:
    """What the whole chip did, and its golden, in which the slot is up at the tick `start`.

    `pins` (uint8) are the output pins after each frame, `lines` (uint8) the eight inputs of the selected slot. The step
    clock first rises in frame `first` and then every 2 * `half` frames, `count` times; restart is let go after `up` of
    these. What the golden foretells for after that comes `late` frames later; it has counted `before` steps more.
    """

    label: str
    board: Board
    golden: Golden
    start: int
    pins: NDArray[np.uint8]
    lines: NDArray[np.uint8]
    first: int
    half: int
    count: int
    up: int
    late: int
    before: int

    @property
    def step_ticks(self) -> int:
        return 2 * self.half * self.board.frame_ticks


class Silicon:
    """One chip, with designs in some of its slots."""

    def __init__(self, positions: int, seed: int) -> None:
        rng = random.Random(f"{seed}/{positions}")
        self.board = chain(
            positions, 1 if positions > 8 else rng.choice([1, 2]), rng.choice(["counter", "two-stage"])
        )
        slots = rng.sample(range(positions), min(positions, 6))
        sheets, makers = {}, {}
        for slot, name in zip(slots, rng.sample([*SCRAMBLES, *CATALOGUE], len(slots)), strict=True):
            if name in SCRAMBLES:
                sheets[slot], makers[slot] = sheet(name, "i7", "i6"), SCRAMBLES[name]
            else:
                sheets[slot] = load_design(name)
        self.setup = Setup(self.board, sheets, makers)
        self.chip = WokenChip(self.setup)

    def run(self, seed: int) -> Run:
        """A random design of the chip, brought up with a random strap code and inputs, for some hundred steps."""
        rng = random.Random(f"run {seed}")
        slot = rng.choice(self.chip.rig.slots)
        sheet_ = self.setup.sheets[slot]
        half = rng.choice([1, 2, 3])
        actions: list[Action] = [Strap(next(c for c in range(256) if self.board.half(c) == half))]
        free = {line: rng.randint(0, 1) for line in ("i0", "i1", "i2", "i3", "i4", "i5")}
        if rng.random() < 0.5:
            actions.append(Set(free))
        then = (Steps(rng.randint(450, 1200)), Frames(2 * half - 1))
        ideal = Hand(self.board, sheet_, slot)
        ideal.do([*actions, Restart()])
        plan = self._plan(slot, (*actions, Restart(), *then))
        golden = _foretold(self.setup, plan, slot)
        pins, lines = self.chip.pins_and_lines(self._by_hand(rng, slot, actions, then), slot, rng)
        rises = _rises(lines)
        begin = len(rises) - 1
        while begin and rises[begin] - rises[begin - 1] == 2 * half:
            begin -= 1
        released = int(np.flatnonzero(np.diff(lines >> 6 & 1))[-1]) + 1
        up = int((rises[begin:] < released).sum())
        start = ideal.frame * self.board.frame_ticks
        rows = _rises(golden.inputs)
        row = rows[golden.ticks[rows] >= start][0]
        foretold = (int(golden.ticks[row]) + 1) // self.board.frame_ticks - 1
        return Run(
            f"{sheet_.name} in slot {slot} of {self.board.positions}",
            self.board,
            golden,
            start,
            pins,
            lines,
            int(rises[begin]),
            half,
            len(rises) - begin,
            up,
            int(rises[begin + up]) - foretold,
            int(golden.steps[row]) - 1 - up,
        )

    def _plan(self, slot: int, actions: Sequence[Action]) -> Timeline:
        return timeline(self.board, self.setup.sheets[slot], Procedure("run", tuple(actions)), slot=slot)

    def _by_hand(
        self, rng: random.Random, slot: int, before: Sequence[Action], then: Sequence[Action]
    ) -> Timeline:
        """The same with restart pressed and let go by a hand."""
        restart = self.setup.sheets[slot].restart
        assert restart is not None
        active = int(restart.active == "high")
        while True:
            step = 2 * next(self.board.half(a.code) for a in before if isinstance(a, Strap))
            wait, hold = rng.randint(1, 4 * step), rng.randint(2 * step, HELD * step)
            pressed = (Set({restart.line: active}), Frames(hold), Set({restart.line: 1 - active}))
            plan = self._plan(slot, (*before, Frames(wait), *pressed, *then))
            moved = plan.lines[1:] ^ plan.lines[:-1]
            let_go = np.flatnonzero(moved & np.uint16(1 << int(restart.line[1])))[-1]
            if not moved[let_go] & plan.lines[let_go + 1] & 0x80:
                return plan


def _rises(lines: NDArray[np.uint8]) -> NDArray[np.int64]:
    """In which rows the step line has risen."""
    return np.flatnonzero(np.diff((lines >> 7).astype(np.int8), prepend=0) == 1)


def _foretold(setup: Setup, plan: Timeline, slot: int) -> Golden:
    """The golden by the fast bench, which shares nothing with the chip but the netlists of the designs."""
    shown = run(plan, {slot: setup.seats[slot]}, slot, lambda: sampled_power_ups(POWER_UPS, 0))
    ticks = np.where(shown.frames < 0, 0, plan.ticks(shown.frames))
    end = int(plan.start_ticks(np.array([plan.end]))[0])
    return Golden(
        setup.board.name, setup.board.oscillator_hz, ticks, shown.steps, shown.inputs, shown.outputs,
        shown.proved, shown.sampled, end,
    )  # fmt: skip


@cache
def silicon(positions: int, seed: int) -> Silicon:
    """Each chip is made once in a process."""
    return Silicon(positions, seed)


@cache
def run_of(positions: int, seed: int, number: int) -> Run:
    """One of the runs of a chip."""
    return silicon(positions, seed).run(seed * 10_000 + positions * 100 + number)
