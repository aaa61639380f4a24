"""Injects each kind of slip and fault into the whole chip, and asks for its cause.

A case is a design on a chip in Amaranth, tick by tick, brought up and worked by a hand that makes one slip, or with one
thing wired or clocked otherwise; what the pins did is recorded with the noise of the honesty suite, or by eye, and the
text is read and ranked. A slip that leaves no trace in what was recorded is drawn again. Wrong levels at the pins are
made here, frame by frame, and not by the code that foretells them.
"""

from __future__ import annotations

import argparse
import math
import multiprocessing
import os
import random
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
from dataclasses import dataclass, field, replace
from functools import cache, partial, reduce
from itertools import islice
from typing import Any

import numpy as np
from forelight.designs.catalogue import load_design
from forelight.designs.procedures.procedure import (
    Action,
    Press,
    Pulse,
    Release,
    Restart,
    Select,
    Set,
    Steps,
    Strap,
)
from forelight.harness.bench.predict import predict
from forelight.harness.boards.profile import Board
from forelight.harness.capture.readers import parse_capture
from forelight.harness.capture.record import Capture
from forelight.harness.hand.hand import Hand
from forelight.harness.hand.leads import STRAIGHT, Lead
from forelight.harness.hand.routine import made_by_hand
from forelight.harness.hand.timeline import Timeline, timeline
from forelight.harness.verdict.causes import writing
from forelight.harness.verdict.causes.exercise import RECORDED_INPUTS, drawn, other_levels
from forelight.harness.verdict.causes.foretell import Foreteller
from forelight.harness.verdict.causes.inquiry import Inquiry
from forelight.harness.verdict.causes.mishap import CLIPPED, PAIR, SHARES, Clip, Handling, Mishap, both
from forelight.harness.verdict.causes.rank import rank
from forelight.harness.verdict.causes.readings import TOLERANCE, Readings
from forelight.harness.verdict.causes.suspects import Explained, Ranking, Suspects
from forelight.harness.verdict.verdict import DIFFERS, Verdict, check
from forelight.sim import Simulation
from forelight.sim.errors import ForelightError
from forelight.sim.gates.rewrite import gates
from numpy.typing import NDArray

from tests.harness.bench.rig import Setup, WokenChip
from tests.harness.bench.setups import chain
from tests.harness.verdict.cases import drawn_noise
from tests.harness.verdict.noise import Wave, written
from tests.sim.lanes.broken import broken

GOOD = "good"
POSITIONS = 8
#: Kinds that need other things done than waiting and setting switches.
BY_HAND, BUTTONS = "steps miscounted", frozenset({"press not seen", "button bounced"})
#: Contributions by chip: clocked on i7, restarted on i6, and answering of themselves or to inputs.
CHIPS = (
    ("tide_gauge", "bridge_counter", "sluice_code", "travelling_wave"),
    ("weather_report", "lamp_dimmer", "dice", "word_roller"),
    ("ferry_whistle", "meeting_lights", "load_counter", "berth_number"),
    ("lighthouse", "ships_bells", "watch_glass", "swell_density"),
    ("race_start", "fog_bell", "log_check", "tide_clock"),
    ("reaction_test", "sluice_keeper", "horizon", "listening_post"),
)
#: Kinds that a list by eye cannot show, or that are made of what an instrument recorded.
TIMED_ONLY = frozenset(
    {"another strap code", "strap code misread", "strap switch without contact", "outside clock", "wrong time base",
     "channel late", "other inputs recorded", "clock stopped on the way"}
)  # fmt: skip
#: Kinds that are made by whoever writes a list.
LISTS_ONLY = frozenset({*writing.KINDS, writing.SEVERAL})
#: Choices of a cause until one is short enough for the chip's model, in frames.
CHOICES, LONGEST = 24, 24_000
#: Draws until one differs, and power-ups of the prediction.
DRAWS, POWER_UPS = 12, 32
OUTPUTS = tuple(f"o{n}" for n in range(8))
Bytes = NDArray[np.uint8]


def board_of(number: int) -> Board:
    """The board of one chip."""
    rng = random.Random(f"chip {number}")
    names = CHIPS[number]
    slots = rng.sample(range(POSITIONS), len(names))
    bare = chain(POSITIONS, 1, rng.choice(["counter", "two-stage"]))
    return replace(bare, slots=dict(zip(slots, names, strict=True)))


class InjectedChip:
    """One chip, with designs in some of its slots."""

    def __init__(self, number: int) -> None:
        self.board = board_of(number)
        sheets = {slot: load_design(name) for slot, name in self.board.slots.items()}
        self.setup = Setup(self.board, sheets, {})
        self.chip = WokenChip(self.setup)

    def pins(self, plan: Timeline, it: Handling, rng: random.Random) -> tuple[Bytes, Bytes]:
        """The output pins and the lines of the design that was meant, after each frame."""
        self.chip.rig.contacts = it.contacts
        pins, lines = self.chip.pins_and_lines(_led(plan, it.leads), it.home, rng)
        return (pins, lines) if it.fault is None else (self._with_fault(pins, lines, it, rng), lines)

    def _with_fault(self, pins: Bytes, lines: Bytes, it: Handling, rng: random.Random) -> Bytes:
        """The pins of a chip whose design in the slot has a fault drawn in; they show it a frame later."""
        assert it.fault is not None
        simulation = Simulation(
            broken(gates(self.setup.seats[it.home].netlist, as_drawn=True), it.fault), rng
        )
        simulation.settle()
        shown = simulation.run_samples("inputs", lines, "outputs").astype(np.uint8)
        return np.concatenate([pins[:1], shown[:-1]])


@cache
def chip(number: int) -> InjectedChip:
    return InjectedChip(number)


def _led(plan: Timeline, leads: Sequence[Lead]) -> Timeline:
    """The same hand with its switches wired otherwise: each pin takes the level of another switch, or a fixed one."""
    if tuple(leads) == STRAIGHT:
        return plan
    made = []
    for stretch in plan.stretches:
        levels = [stretch.switches >> n & 1 for n in range(10)]
        wired = [levels[lead.line] if lead.level is None else lead.level for lead in leads]
        made.append(replace(stretch, switches=sum(level << n for n, level in enumerate(wired))))
    return replace(plan, stretches=tuple(made))


# Cases


@dataclass(frozen=True)
class Injected:
    """What was meant, what was wrong (None: nothing), and the recording of it."""

    kind: str
    label: str
    meant: Handling
    cause: Mishap | None
    capture: Capture
    by_eye: bool
    pins: Bytes
    truth: Handling


def draw(kind: str, seed: str, by_eye: bool = False) -> Injected | None:
    """The case that belongs to this seed; None where this draw cannot be made."""
    rng = random.Random(f"{kind} {seed} {by_eye}")
    number = rng.randrange(len(CHIPS))
    made = chip(number)
    slot = rng.choice(sorted(made.board.slots))
    meant = meant_by(kind, made.board, slot, rng)
    made_of = _planned(kind, meant, made, rng)
    if made_of is None:
        return None
    parts, truth, plan, up = made_of
    cause = reduce(both, parts) if parts else None
    state = rng.getstate()
    pins, lines = (_while_paused(column, plan) for column in made.pins(plan, truth, rng))
    found = _list(pins, lines, up, truth, rng) if by_eye else _timed(kind, pins, lines, up, truth, meant, rng)
    if found is None:
        return None
    text, window = found
    capture = (
        parse_capture(text.encode(), "bench", display=made.board.display)
        if by_eye
        else parse_capture(text.encode(), "bench")
    )
    case = Injected(
        kind,
        f"{meant.sheet.name} in slot {slot} of chip {number}",
        meant,
        cause,
        capture,
        by_eye,
        pins[window],
        truth,
    )
    return None if kind == PAIR and _one_is_enough(made, case, parts, window, state) else case


def _planned(
    kind: str, meant: Handling, made: InjectedChip, rng: random.Random
) -> tuple[Sequence[Mishap], Handling, Timeline, int] | None:
    """What goes wrong, what is done then, in time, and in which frame the slot is up; None where nothing is short
    enough for the chip's model."""
    for _ in range(CHOICES):
        parts = drawn(kind, meant, made.setup.seats[meant.slot], rng) if kind != GOOD else ()
        if kind != GOOD and not parts:
            return None
        truth = reduce(both, parts).change(meant) if parts else meant
        try:
            plan = timeline(truth.board, truth.sheet, truth.procedure, slot=truth.slot)
            hand = Hand(truth.board, truth.sheet, truth.slot)
            hand.do(truth.before)
        except ForelightError:
            continue
        if len(plan.frames) and plan.end <= LONGEST:
            return parts, truth, plan, hand.frame + sum(length for _, length in hand.pauses)
    return None


def _while_paused(column: Bytes, plan: Timeline) -> Bytes:
    """The same with what stands still while the oscillator does."""
    for frame, length in reversed(plan.pauses.tolist()):
        stands = column[max(frame - 1, 0)]
        column = np.insert(column, frame, np.full(length, stands, np.uint8))
    return column


def _one_is_enough(
    made: InjectedChip, case: Injected, parts: Sequence[Mishap], window: slice, state: Any
) -> bool:
    """Whether one slip of two shows the same as both, from the same power-up."""
    for one in parts:
        rng = random.Random()
        rng.setstate(state)
        alone = one.change(case.meant)
        plan = timeline(alone.board, alone.sheet, alone.procedure, slot=alone.slot)
        pins = made.pins(plan, alone, rng)[0][window]
        if len(pins) == len(case.pins) and not _apart(
            _shown(pins, alone.clips), _shown(case.pins, case.truth.clips), case
        ):
            return True
    return False


def _apart(one: Bytes, other: Bytes, case: Injected) -> bool:
    """Whether what was recorded of the outputs differs."""
    mask = np.uint8(sum(1 << n for n in range(8) if f"o{n}" in case.capture.lines))
    return bool(((one ^ other) & mask).any())


def meant_by(kind: str, board: Board, slot: int, rng: random.Random) -> Handling:
    """A design brought up with some inputs, restarted, and worked for some hundred steps; with what a kind needs."""
    sheet = load_design(board.slots[slot])
    special = {said.line for said in (sheet.step, sheet.restart) if said is not None}
    free = [f"i{n}" for n in range(8) if f"i{n}" not in special]
    idle = {f"i{n}": sheet.idle >> n & 1 for n in range(8)}
    idle |= {line: rng.randint(0, 1) for line in free if rng.random() < 0.3}
    if kind == BY_HAND:
        hz = float(board.frame_hz) / rng.choice([8, 12, 20])
        then: list[Action] = [Pulse(rng.randint(5, 40), hz)]
        for _ in range(rng.randint(0, 3)):
            then += [Set({line: 1 - idle[line]}) for line in rng.sample(free, 1)] + [
                Pulse(rng.randint(5, 40), hz)
            ]
        return Handling(
            board, sheet, slot, slot, (Select(slot), Set(idle), Restart(3)), (*then, Pulse(40, hz))
        )
    half = rng.choice([1, 2, 3])
    code = rng.choice([c for c in range(256) if board.half(c) == half])
    before: list[Action] = [Select(slot), Set(idle), Strap(code), Restart(rng.randint(1, 3))]
    then = [Steps(rng.randint(20, 120))]
    levels = dict(idle)
    for _ in range(rng.randint(0, 4)):
        line = rng.choice(free)
        levels[line] ^= 1
        then += [Set({line: levels[line]}), Steps(rng.randint(20, 120))]
    for line in rng.sample([line for line in free if line in board.buttons], kind in BUTTONS):
        then += [Press(line), Steps(rng.randint(2, 20)), Release(line), Steps(rng.randint(20, 120))]
    then.append(Steps(rng.randint(300, 500)))
    return Handling(board, sheet, slot, slot, tuple(before), tuple(then))


def _shown(pins: Bytes, clips: Sequence[Clip]) -> Bytes:
    """What the channels show, by the definition of each clip."""
    found = np.zeros_like(pins)
    for channel, clip in enumerate(clips):
        level = pins >> clip.line & 1
        if clip.level is not None:
            level = np.full_like(level, clip.level)
        elif clip.other is not None:
            level = (
                np.maximum(level, pins >> clip.other & 1)
                if clip.wins
                else np.minimum(level, pins >> clip.other & 1)
            )
        found |= (level ^ np.uint8(clip.inverted)) << np.uint8(channel)
    return found


def _rises(lines: Bytes) -> NDArray[np.int64]:
    return np.flatnonzero(np.diff((lines >> 7).astype(np.int8), prepend=0) == 1)


def _list(
    pins: Bytes, lines: Bytes, up: int, truth: Handling, rng: random.Random
) -> tuple[str, slice] | None:
    """What an eye writes down at the end of each step."""
    rises = _rises(lines)
    rises = rises[rises >= up]
    count = rng.randint(12, 60)
    begin = rng.randint(0, 30)
    if len(rises) < begin + count + 2:
        return None
    # A line of the design rises at the end of its frame: what stands at the pins until then came a frame before.
    ends = rises[begin : begin + count] - 1
    shown = _slipped(_shown(pins, truth.clips)[ends].tolist(), truth, rng)
    if len(truth.slips) > 1 and any(
        _is_one_slip_from(
            shown, _shown(pins, truth.clips)[rises[first : first + len(shown) + 1] - 1].tolist()
        )
        for first in range(max(begin - len(truth.slips), 0), begin + len(truth.slips) + 1)
    ):
        return None  # two slips are asked for only where one does not make the same list
    text = "step,outputs\n" + "".join(f"{begin + n},{value:08b}\n" for n, value in enumerate(shown))
    return text, slice(int(ends[0]), int(ends[-1]) + 1)


def _is_one_slip_from(found: list[int], right: list[int]) -> bool:
    """Whether a list is a right one, an entry longer, but for one entry that is wrong, missed or written twice."""
    count = len(found)
    if len(right) <= count:
        return False
    if sum(one != other for one, other in zip(found, right, strict=False)) <= 1:
        return True
    return any(
        found == right[:at] + right[at + 1 :] or found == right[: at + 1] + right[at : count - 1]
        for at in range(count)
    )


def _slipped(entries: list[int], truth: Handling, rng: random.Random) -> list[int]:
    """The list with the slips of whoever writes it: each is told by the entry of the list at which it shows."""
    found = list(entries)
    for slip in truth.slips:
        match slip.kind:
            case "missed":
                del found[slip.first]
            case "twice":
                found.insert(slip.first, found[slip.first - 1])
            case _:
                found[slip.first] ^= rng.randrange(1, 256)
    return found


def _timed(
    kind: str, pins: Bytes, lines: Bytes, up: int, truth: Handling, meant: Handling, rng: random.Random
) -> tuple[str, slice] | None:
    """What an instrument records, from somewhere near the moment at which the slot is up."""
    rises = _rises(lines)
    rises = rises[rises >= up]
    half = next((meant.board.half(a.code) for a in meant.before if isinstance(a, Strap)), 4)
    step = float(np.median(np.diff(rises))) if len(rises) > 4 else 2.0 * half
    steps = (len(pins) - up) / step
    if steps < 60:
        return None
    numpy_rng = np.random.default_rng(rng.randrange(1 << 30))
    length = float(numpy_rng.uniform(0.6, 0.9) * min(steps, 700.0))
    start = float(numpy_rng.uniform(0.0, 0.05) * steps)
    names = (
        list(OUTPUTS) if rng.random() < 0.6 else [name for name in OUTPUTS if rng.random() < 0.7] or ["o0"]
    )
    if (
        rng.random() < 0.4 and truth.slot == truth.home
    ) or kind == BY_HAND:  # in a slot not selected it rests
        names.append("i7")
    if kind == RECORDED_INPUTS:
        names += other_levels(meant, truth)
    noise = drawn_noise(numpy_rng, 0.25, tuple(names), start, length)
    pace = truth.pace if truth.pace is not None else float(numpy_rng.uniform(1.1, 1.9))
    seconds = step / float(meant.board.frame_hz) * pace
    shown = _shown(pins, truth.clips)
    waves: dict[str, Wave] = {}
    for name in names:
        column = (shown if name[0] == "o" else lines) >> int(name[1]) & 1
        changed = np.flatnonzero(np.diff(column, prepend=np.uint8(0)))
        late = truth.clips[int(name[1])].late if name[0] == "o" else 0
        instants = (changed - up) / step + late
        instants = np.sort(instants + numpy_rng.uniform(-noise.jitter, noise.jitter, len(instants)))
        waves[name] = np.r_[-1e9, instants], np.r_[np.uint8(0), column[changed]]
    window = slice(max(up + int(start * step), 0), up + int((start + length) * step))
    return written(waves, seconds, noise, numpy_rng), window


# Counting


@dataclass
class Injections:
    """By kind: cases, those with the true cause in the first group and in the first three; those in which the cause
    that is named instead foretells every settled level at least as well as the true one, so that only a prior tells
    them apart (`alike`). Sizes of first groups, and processor time by case."""

    cases: Counter[str] = field(default_factory=Counter)
    first: Counter[str] = field(default_factory=Counter)
    three: Counter[str] = field(default_factory=Counter)
    said: dict[str, Counter[str]] = field(default_factory=lambda: defaultdict(Counter))
    alike: Counter[str] = field(default_factory=Counter)
    seconds: list[float] = field(default_factory=list)
    sizes: list[int] = field(default_factory=list)
    blamed: list[str] = field(default_factory=list)
    passed: Counter[str] = field(default_factory=Counter)
    odd: list[str] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)

    def add(self, other: Injections) -> None:
        for mine, theirs in (
            (self.cases, other.cases),
            (self.first, other.first),
            (self.three, other.three),
            (self.alike, other.alike),
        ):
            mine.update(theirs)
        self.seconds += other.seconds
        for kind, counts in other.said.items():
            self.said[kind].update(counts)
        self.sizes += other.sizes
        self.blamed += other.blamed
        self.odd += other.odd
        self.failed += other.failed
        self.passed.update(other.passed)

    def table(self) -> str:
        """Shares by kind, and what stood first where the true cause did not."""
        lines = [
            "| in truth | cases | first group | first three | missed, alike | instead |",
            "|---|---|---|---|---|---|",
        ]
        for kind in sorted(self.cases):
            instead = ", ".join(f"{name} {count}" for name, count in self.said[kind].most_common(3))
            lines.append(
                f"| {kind} | {self.cases[kind]} | {self.first[kind]} | {self.three[kind]} | {self.alike[kind]} "
                f"| {instead} |"
            )
        total = max(sum(count for kind, count in self.cases.items() if kind != GOOD), 1)
        sizes = sorted(self.sizes) or [0]
        lines += [
            "",
            f"{total} cases: {sum(self.first.values()) / total:.1%} in the first group, "
            f"{sum(self.three.values()) / total:.1%} in the first three; groups of {sizes[len(sizes) // 2]} (median) "
            f"to {sizes[-1]}; {dict(self.passed)} were no questions.",
            f"In {sum(self.alike.values())} of {total - sum(self.first.values())} missed cases the cause that "
            "stands first foretells every level that was recorded as well as the true one does.",
            f"{len(self.blamed)} of {self.cases[GOOD]} good recordings were given a cause.",
            f"{len(self.failed)} cases ended in an error, and are not among these.",
        ]
        if self.seconds:
            seconds = sorted(self.seconds)
            lines.append(
                f"{seconds[len(seconds) // 2]:.1f} s of processor time to find a cause (median) to {seconds[-1]:.1f} s."
            )
        return "\n".join(lines)


def ranked(case: Injected) -> Ranking:
    return rank(case.meant, case.capture, case.meant.board, "i7")


def is_named(case: Injected, groups: Sequence[Suspects]) -> bool:
    """Whether the true cause is a member of one of these groups."""
    assert case.cause is not None
    found = [one for group in groups for one in group.members]
    truth = case.cause.change(case.meant)
    # The same may be done under another name, as with the only input that is not 0.
    if any(one.cause.name == case.cause.name or one.handling == truth for one in found):
        return True
    if (
        case.cause.kind == "another power-up"
    ):  # in which state it woke up is not the draw's but the chip's to say
        return any(one.cause.kind == case.cause.kind for one in found)
    truth = case.cause.change(case.meant)
    if any(
        one.handling == truth for one in found
    ):  # the same under another name, as of the only input that is not 0
        return True
    if truth.slips:  # a missed entry is one of those that show the same
        same = [one.handling.slips for one in found if one.cause.kind == case.cause.kind]
        return any(
            len(slips) == len(truth.slips)
            and all(
                a.kind == b.kind and a.first <= b.first <= a.last
                for a, b in zip(slips, truth.slips, strict=True)
            )
            for slips in same
        )
    if truth.clips != CLIPPED:  # an order of clips has a name for each way to say it
        return any(_same_clips(one.handling, truth, case) for one in found)
    return case.cause.kind == PAIR and any(
        {*one.cause.name.split("; ")} == {*case.cause.name.split("; ")} for one in found
    )


def _same_clips(one: Handling, truth: Handling, case: Injected) -> bool:
    """Whether the channels that were recorded would show the same with the one's clips as with the true ones."""
    same = not _apart(_shown(case.pins, one.clips), _shown(case.pins, truth.clips), case)
    return same and replace(one, clips=CLIPPED) == replace(truth, clips=CLIPPED)


def judged(case: Injected) -> Verdict:
    """The verdict on the recording of what was meant."""
    it = case.meant
    golden = predict(it.board, it.sheet, it.procedure, slot=it.slot, power_ups=POWER_UPS)
    hand = Hand(it.board, it.sheet, it.slot)
    hand.do(it.before)
    row = int(np.searchsorted(golden.ticks, hand.now, side="right")) - 1
    golden = replace(golden, steps=golden.steps - golden.steps[row])
    by_hand = made_by_hand(it.procedure.actions)
    return check(golden, case.capture, it.board, step_line="i7", start=hand.now, by_hand=by_hand)


def counted(kind: str, seed: int, by_eye: bool) -> Injections:
    """One case: the first of this seed's draws that differs."""
    found = Injections()
    for draws in range(DRAWS):
        case = draw(kind, f"{seed}.{draws}", by_eye)
        if case is None:
            continue
        verdict = judged(case).kind
        where = f"{kind} {seed}.{draws}{' by eye' if by_eye else ''}: {case.label}"
        if kind == GOOD:
            found.cases[GOOD] += 1
            found.blamed += [where] if verdict == DIFFERS else []
            return found
        if verdict != DIFFERS:
            found.passed[verdict] += 1
            continue
        if _rank_one(case, where, found):
            return found
    return found


def _rank_one(case: Injected, where: str, found: Injections) -> bool:
    """Whether it was a question."""
    assert case.cause is not None
    begun = time.process_time()
    kind, ranking = case.kind, ranked(case)
    seconds = time.process_time() - begun
    groups = ranking.convincing
    if kind == PAIR and groups and groups[0].best.cause.kind != PAIR and not groups[0].best.signature:
        found.passed["one alone foretells every level"] += 1  # two are asked for where no single one fits
        return False
    found.cases[kind] += 1
    found.seconds.append(seconds)
    found.first[kind] += is_named(case, groups[:1])
    found.three[kind] += is_named(case, groups[:3])
    if groups:
        found.sizes.append(len(groups[0].members))
    if not is_named(case, groups[:1]):
        first = groups[0].best.cause if groups else None
        found.said[kind][first.kind if first else "none of these"] += 1
        alike = bool(groups) and _as_good(groups[0].best, case)
        found.alike[kind] += alike
        said = [(g.best.cause.name, len(g.members), round(g.bits, 1)) for g in ranking.groups[:3]]
        meant = ranking.meant.bits if ranking.meant else 0.0
        place = "" if is_named(case, groups[:3]) else " NOT IN THREE"
        found.odd.append(
            f"{where}: {case.cause.name}; said {said}; none {ranking.none:.0f}, as meant {meant:.0f}"
            f"{', alike' * alike}{place}"
        )
    return True


def _as_good(one: Explained, case: Injected) -> bool:
    """Whether a cause foretells as many of the levels that were recorded as the true one does, by a clock of the same
    rate."""
    assert case.cause is not None
    if case.truth.slips:  # which foretell all
        return not one.signature
    it, teller = case.meant, Foreteller("i7")
    meant = teller.prospect(it)
    assert meant is not None
    readings = Readings(case.capture, it.board, meant, "i7", made_by_hand(it.procedure.actions))
    true = Inquiry(it, readings, teller, None, lambda done, total: None).explained(
        case.cause, 0.0, case.truth
    )
    if true is None:
        return False
    rates = [its.recording.clock.rate for its in (one, true) if its.recording.clock is not None]
    same = readings.still or not rates or max(rates) < min(rates) * (1 + TOLERANCE)
    return same and _not_foretold(one) <= _not_foretold(true)


def _not_foretold(one: Explained) -> float:
    """The share of the recorded levels that are left open or are otherwise."""
    known = int(np.bitwise_count(one.recording.rows.known).sum())
    there = one.fit.best
    return 1 - (int(there.compared.sum()) - there.mismatches) / max(known, 1)


def kinds() -> list[str]:
    """All of them."""
    return [*SHARES]


def shuffled(each: int, first_seed: int, only: Sequence[str] = ()) -> Iterator[tuple[str, int, bool]]:
    """The cases of one seed after the other: all kinds, or these `only`, in an order by chance."""
    for seed in range(first_seed, first_seed + each):
        some = [kind for kind in (GOOD, *kinds()) if not only or kind in only]
        random.Random(seed).shuffle(some)
        for kind in some:
            yield kind, seed, kind in LISTS_ONLY or (seed % 3 == 0 and kind not in TIMED_ONLY)


def _count_job(job: tuple[str, int, bool]) -> Injections:
    try:
        return counted(*job)
    except Exception as error:  # the seed must be told, and the others go on
        return Injections(failed=[f"{job}: {error!r}"])


def measure(
    jobs: Iterable[tuple[str, int, bool]], processes: int, seconds: float, tell: Callable[[str], None]
) -> Injections:
    """As many of these as are done in this time, and what is odd about each told at once."""
    total = Injections()
    end = time.monotonic() + seconds
    left = iter(jobs)
    with ProcessPoolExecutor(processes, multiprocessing.get_context("spawn")) as pool:
        running = {pool.submit(_count_job, job) for job in islice(left, processes)}
        while running:
            done, running = wait(running, return_when=FIRST_COMPLETED)
            for future in done:
                found = future.result()
                total.add(found)
                for line in (*found.odd, *found.blamed, *found.failed):
                    tell(line)
                if time.monotonic() < end:
                    running |= {pool.submit(_count_job, job) for job in islice(left, 1)}
    return total


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kinds", nargs="*", help="kinds of causes; all, if none are named")
    parser.add_argument("--each", type=int, default=60, help="seeds of each kind")
    parser.add_argument("--seed", type=int, default=0, help="the first one")
    parser.add_argument("--seconds", type=float, default=math.inf, help="after which no case is begun")
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    given = parser.parse_args()
    jobs = shuffled(given.each, given.seed, given.kinds)
    print(f"seeds from {given.seed} on, {given.processes} processes", flush=True)
    found = measure(jobs, given.processes, given.seconds, partial(print, flush=True))
    print(found.table())


if __name__ == "__main__":
    main()
