"""The bench played by hand shows, bit for bit, what is foretold of the procedure that was played."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from forelight.designs.catalogue import load_design
from forelight.designs.procedures.procedure import (
    Action,
    Frames,
    Procedure,
    Seconds,
    Select,
    Set,
    Strap,
    parse,
    to_text,
)
from forelight.harness.bench.inside import Inside
from forelight.harness.bench.live import LiveBench
from forelight.harness.bench.predict import predict
from forelight.harness.boards.reader import load_board
from forelight.harness.golden.golden import Golden
from forelight.sim.errors import ForelightError, UsageError

from .rig import Setup
from .walk import Walk

SEED = 20_27
POWER_UPS = 12
#: On both boards: with a restart and without one, plain logic, ripple and gated clocks, a loop that runs free, memories
#: that answer, latches, lines that race, values that the source leaves open.
DESIGNS = (
    "tide_gauge",
    "free_counter",
    "watch_vote",
    "ripple_clock",
    "gated_clock",
    "inverter_ring",
    "chart_reader",
    "nor_latch",
    "reaction_test",
    "berth_board",
)


def walk(board_name: str, design: str, number: int, frames: int) -> Counter[str]:
    """Play one random procedure by hand, with waits in parts and things taken back; hold it to what is foretold."""
    rng = random.Random(f"{SEED}/{board_name}/{design}/{number}")
    board = load_board(board_name)
    other = rng.choice([slot for slot, name in board.slots.items() if name in ("dice", "watch_vote")])
    home = next((slot for slot, name in board.slots.items() if name == design), 2)
    made = Setup(board, {home: load_design(design), other: load_design(board.slots[other])}, {})
    drawn = Walk(made, home, rng)
    bench = LiveBench(board, made.sheets[home], slot=home, power_ups=POWER_UPS, seed=number)
    count: Counter[str] = Counter()
    for action in drawn.procedure(frames).actions:
        count += play(bench, action, rng)
    try:
        foretold = told(bench, home, number)
        if (
            foretold.facts["start"] == "anywhere"
        ):  # that a run repeats itself is claimed of one that has ended
            bench.do(Select(other))
            foretold = told(bench, home, number)
    except UsageError as refused:  # the last thing that was done lets a memory and a switch meet
        assert "serial memory" in str(refused)
        return count
    with bench.answered():
        shown = bench.record()
        shown = replace(shown, **{name: getattr(shown, name).copy() for name in COLUMNS})
    said = f"{board_name}, {design}, seed {SEED}, number {number}: {[to_text(one) for one in bench.actions]}"
    assert (shown.end, shown.oscillator_hz) == (foretold.end, foretold.oscillator_hz), said
    for name in COLUMNS:
        np.testing.assert_array_equal(getattr(shown, name), getattr(foretold, name), f"{name}: {said}")
    count["rows"] += len(shown.ticks)
    count["unsettled"] += int(np.count_nonzero(shown.settled != 0xFF))
    return count


COLUMNS = ("ticks", "steps", "inputs", "outputs", "proved", "sampled")


def told(bench: LiveBench, slot: int, seed: int) -> Golden:
    played = Procedure("played", tuple(bench.actions))
    return predict(bench.board, bench.datasheet, played, slot=slot, power_ups=POWER_UPS, seed=seed)


def play(bench: LiveBench, action: Action, rng: random.Random) -> Counter[str]:
    """One action; sometimes something is done before that is taken back, and a wait is cut in parts."""
    count: Counter[str] = Counter(actions=1)
    if rng.random() < 0.3:
        before = list(bench.actions)
        extras: list[Action] = [Set({"i1": 1}), Strap(1), Seconds(float(3 / bench.board.frame_hz))]
        for extra in rng.sample(extras, 2):
            try:
                bench.do(extra)
            except ForelightError:
                continue
        while len(bench.actions) > len(before):
            bench.undo()
            count["taken back"] += 1
        assert bench.actions == before
    if isinstance(action, (Frames, Seconds)) and not bench.situation.oscillator:
        bench.do(action)
    elif isinstance(action, Frames) and action.count > 2:
        first = rng.randrange(1, action.count)
        bench.wait(first)
        bench.wait(action.count - first)
        count["waits in parts"] += 1
    else:
        try:
            bench.do(action)
        except UsageError as refused:
            assert "serial memory" in str(refused), refused
            count["refused"] += 1
    return count


@pytest.mark.parametrize("board_name", ["quay", "mole"])
def test_a_bench_played_by_hand_shows_what_is_foretold(board_name: str) -> None:
    total: Counter[str] = Counter()
    for number, design in enumerate(DESIGNS[:6] if board_name == "quay" else DESIGNS[:2]):
        total += walk(board_name, design, number, 60)
    print(f"seed {SEED}: {dict(total)}")
    assert total["rows"] > 50 and total["taken back"] and total["waits in parts"]


@pytest.mark.slow
def test_200_random_procedures_over_ten_designs_and_both_boards() -> None:
    total: Counter[str] = Counter()
    for number in range(200):
        board = "quay" if number // 10 % 2 else "mole"
        total += walk(board, DESIGNS[number % 10], number, 300)
    print(f"seed {SEED}: {dict(total)}")
    assert total["rows"] > 10_000 and total["unsettled"] > 100 and total["taken back"] > 200


def bench_on(name: str, *texts: str, board: str = "quay") -> LiveBench:
    found = load_board(board)
    slot = next(slot for slot, design in found.slots.items() if design == name)
    bench = LiveBench(found, load_design(name), slot=slot)
    for action in parse(texts):
        bench.do(action)
    return bench


@pytest.mark.parametrize("rows", [None, 1, 7])
def test_what_is_played_looks_from_within_as_what_is_foretold(rows: int | None) -> None:
    """The last state is the one that the bench stands in, any other is run again from power-up."""
    bench = bench_on("free_counter", "strap 0", "steps 9")
    played = Procedure("played", tuple(bench.actions))
    whole = Inside.of(bench.board, bench.datasheet, played, bench.slot)
    within = bench.inside(rows)
    assert within is not None
    last = int(np.searchsorted(whole.frames, within.frames[-1]))
    count = len(within.rows)
    assert count == (last + 1 if rows is None else rows)
    part = slice(last + 1 - count, last + 1)
    for name in ("rows", "frames", "ticks", "steps"):
        np.testing.assert_array_equal(getattr(within, name), getattr(whole, name)[part], name)
    states = [
        (within.state(row, power_up), whole.state(last + 1 - count + row, power_up))
        for row in (count - 1, 0)
        for power_up in (0, 1)
    ]
    assert all(one == other for one, other in states)
    assert len(set(states)) > 1


def outputs(bench: LiveBench) -> str:
    with bench.answered():
        shown = bench.record()
        settled = int(shown.settled[-1])
        return "".join(
            str(int(shown.outputs[-1]) >> bit & 1) if settled >> bit & 1 else "x" for bit in range(7, -1, -1)
        )


def test_steps_by_hand_move_the_tide() -> None:
    bench = bench_on("tide_gauge", "restart")
    assert outputs(bench) == "10111111"  # 0, and rising
    bench.do(parse(["pulse 1"])[0])
    assert outputs(bench) == "10000110"
    assert bench.undo() == parse(["pulse 1"])[0]
    assert outputs(bench) == "10111111"


@pytest.mark.parametrize(
    ("texts", "refused"),
    [
        (["set i3=1", "drive i3=1"], '"drive i3=1": the switch of i3 is closed; two sources on one line'),
        (["strap 29", "pulse 1"], '"pulse 1": the step clock is on; write disable before'),
        (["press i0", "press i0"], '"press i0": the button is held already'),
        (["steps 3"], '"steps 3": the step clock is off'),
    ],
)
def test_what_cannot_be_done_is_refused_and_changes_nothing(texts: list[str], refused: str) -> None:
    bench = bench_on("tide_gauge", *texts[:-1])
    before, seen = list(bench.actions), len(bench.record().ticks)
    with pytest.raises(UsageError) as error:
        bench.do(parse(texts[-1:])[0])
    assert str(error.value).startswith(refused)
    assert (bench.actions, len(bench.record().ticks)) == (before, seen)


def test_waits_join() -> None:
    bench = bench_on("tide_gauge", "strap 182")
    for _ in range(300):
        bench.wait(10)
    assert bench.actions[1:] == [Seconds(1.0)]


def test_a_memory_and_a_closed_switch_are_refused_while_time_passes() -> None:
    bench = bench_on("chart_reader", "restart", "strap 0")
    so = next(one for one in bench.datasheet.attach if one.kind == "serial memory").lines["so"]
    bench.do(Set({so: 1 - bench.board.pulls[so]}))
    with pytest.raises(UsageError, match=f"the switch of {so} is closed while the serial memory drives"):
        for _ in range(100):
            bench.wait(100)
    before = bench.now
    bench.do(Set({so: bench.board.pulls[so]}))
    bench.wait(100)
    assert bench.now > before
