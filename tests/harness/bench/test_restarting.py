"""What the restart alone settles: the same at every rate, and never contradicted from states by chance."""

from __future__ import annotations

import random
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from forelight.designs.catalogue import load_design, names
from forelight.designs.datasheet import Datasheet
from forelight.designs.procedures.procedure import Action, Drive, Frames, Restart, Strap, parse
from forelight.designs.sheets.bare import bare
from forelight.harness.asking.question import Asked, Question, question
from forelight.harness.asking.settled import told
from forelight.harness.bench.course import Seat, routed
from forelight.harness.bench.restarting import HALVES, Restarting, orders, restarting
from forelight.harness.boards.profile import Board
from forelight.harness.boards.reader import load_board
from forelight.harness.chip.netlist import wrapper_netlist
from forelight.harness.chip.routing import restart_input, routing, step_input
from forelight.harness.hand.hand import Hand
from forelight.harness.hand.routine import bring_up, divides, run_procedure
from forelight.harness.hand.timeline import Track
from forelight.sim.errors import DatasheetError, UsageError
from forelight.sim.simulation import Simulation

from tests.sizes import sized

QUAY, MOLE = load_board("quay"), load_board("mole")
STEPPED = "wire step = inputs[7], restart = inputs[6];"
#: Restarts that are tried for each design, and states from which each of them begins.
TRIALS, STATES = sized(3, 40), sized(12, 200)


def written(folder: Path, *lines: str) -> Datasheet:
    body = "\n".join((STEPPED, *lines))
    (folder / "own.v").write_text(
        f"module own (input [7:0] inputs, output [7:0] outputs);\n{body}\nendmodule\n"
    )
    return bare(folder / "own.v", None, "i7", "i6")


def found(sheet: Datasheet, board: Board = QUAY) -> Restarting:
    answer = restarting(board, Seat(sheet, wrapper_netlist(sheet)))
    assert answer is not None
    return answer


def asked_at(sheet: Datasheet, *, strap: int | None = None, steps: int = 20) -> Question:
    asked = Asked(str(sheet.folder / "own.v"), "quay", strap, None, {}, None, None, None, 0, 64, steps)
    return question(asked)


EVERYTHING = "The restart settles the whole design, {}: proved from any state, at any rate."


@pytest.mark.parametrize(
    ("body", "when"),
    [
        (
            "reg q; always @(posedge step) q <= restart ? 0 : ~q; assign outputs = q;",
            "1 step after it begins",
        ),
        (
            "reg q; always @(posedge step or posedge restart) if (restart) q <= 0; else q <= ~q; assign outputs = q;",
            "at once",
        ),
        # A latch that the restart opens, and gates that it forces.
        ("reg q; always @* if (restart) q = 0; assign outputs = q;", "at once"),
        (
            "wire a, b; nor (a, restart, b); nor (b, a, inputs[0] & step); assign outputs = a;",
            "at once",
        ),
    ],
)
def test_a_restart_that_reaches_all(body: str, when: str, tmp_path: Path) -> None:
    answer = found(written(tmp_path, body))
    assert (answer.settles, answer.left_out, str(answer)) == ("everything", (), EVERYTHING.format(when))


def test_a_register_that_no_output_can_show(tmp_path: Path) -> None:
    answer = found(
        written(
            tmp_path,
            "reg [3:0] n; (* keep *) reg [1:0] t;",
            "always @(posedge step) if (restart) n <= 0; else n <= n + 1;",
            "always @(posedge step) if (!restart) t <= t + 1;",
            "assign outputs = n;",
        )
    )
    assert str(answer) == (
        "The restart settles the outputs alone, 1 step after it begins: t (own.v:5) may still hold what it held "
        "before, but no output depends on that. This is proved from any state, at any rate."
    )


def test_a_register_that_the_outputs_show(tmp_path: Path) -> None:
    answer = found(
        written(
            tmp_path,
            "reg [3:0] n; reg kept;",
            "always @(posedge step) n <= restart ? 0 : n + 1;",
            "always @(posedge step) if (&n) kept <= ~kept;",
            "assign outputs = {kept, 3'd0, n};",
        )
    )
    assert str(answer) == (
        "The restart does not settle the design: kept (own.v:5) may still hold what it held before, and o7 shows it."
    )
    assert answer.steps is None and answer.shown == ("o7",)


def test_a_few_are_named_and_the_rest_is_counted(tmp_path: Path) -> None:
    for count, rest in ((6, ")"), (9, ") and 3 more")):
        kept = [f"q{number}" for number in range(count)]
        sheet = written(
            tmp_path,
            *(f"(* keep *) reg {name}; always @(posedge step) {name} <= restart ^ {name};" for name in kept),
            "reg n; always @(posedge step) n <= !restart; assign outputs = n;",
        )
        said = str(found(sheet))
        assert (said.count("(own.v:"), f"{rest} may still hold" in said) == (6, True)


def test_steps_before_the_restart_do_not_count(tmp_path: Path) -> None:
    """What a few steps settle is named at every rate, however many of them the set-up happens to make."""
    sheet = written(
        tmp_path, "reg q; always @(posedge step) if (!restart) q <= q & inputs[0]; assign outputs = q;"
    )
    said = set()
    for asked in (asked_at(sheet, strap=code) for code in (0, 1, 29, 120, 255)):
        golden, answer = asked.golden(), asked.restarting()
        assert answer is not None and golden.facts["slot"] == 0
        said.add(told(golden, asked.settling(golden), answer)[0])
    assert said == {
        "The restart settles the whole design, but q (own.v:3) only 3 steps after it begins, if the inputs stand still "
        "until then: proved from any state, at any rate."
    }


def test_an_output_that_is_unsettled_half_the_time_never_settles(tmp_path: Path) -> None:
    """A hidden register is shown at every second step, and the run ends at one at which it is not."""
    sheet = written(
        tmp_path,
        "reg n, kept; always @(posedge step) n <= restart ? 0 : ~n;",
        "always @(posedge step) if (restart & ~restart) kept <= ~kept;",
        "assign outputs = n & kept;",
    )
    for steps in (20, 21):
        asked = asked_at(sheet, steps=steps)
        golden = asked.golden()
        settling = asked.settling(golden)
        assert settling.steps is None and "o0" in (*settling.never, *settling.again)
        said = " ".join(told(golden, settling, asked.restarting()))
        assert "does not settle" in said and "steps after" not in said and "settled," not in said


def test_a_memory_that_no_output_has_shown_yet(tmp_path: Path) -> None:
    answer = found(
        written(
            tmp_path,
            "reg [3:0] store [0:3]; reg [3:0] n; wire [1:0] at = inputs[1:0];",
            "always @(posedge step) begin n <= restart ? 0 : inputs[2] ? store[at] : n;",
            "  if (inputs[3]) store[at] <= inputs[7:4]; end",
            "assign outputs = n;",
        )
    )
    assert (answer.settles, answer.shown, answer.reached) == ("nothing", (), ("o0", "o1", "o2", "o3"))
    assert str(answer).endswith(
        "store (own.v:3) may still hold what it held before, and o0 to o3 may come to show it."
    )


def test_what_settles_by_steps_that_follow_the_restart(tmp_path: Path) -> None:
    """A restart may begin with a rise, of which it is open what that takes; then it lasts for one more."""
    answer = found(
        written(
            tmp_path,
            "reg p, q, r; always @(posedge step) begin p <= restart; q <= p; r <= q; end assign outputs = r;",
        )
    )
    assert str(answer) == (
        "The restart settles the whole design, but r (own.v:3), q (own.v:3) only 3 steps after it begins, if the "
        "inputs stand still until then: proved from any state, at any rate."
    )


def test_what_is_not_followed_is_not_known(tmp_path: Path) -> None:
    answer = found(
        written(
            tmp_path,
            "reg [7:0] store [0:1023]; reg [9:0] at;",
            "always @(posedge step) at <= restart ? 0 : at + 1;",
            "always @(posedge step) store[at] <= inputs;",
            "always @(posedge inputs[0]) store[at] <= 0;",
            "assign outputs = store[at];",
        )
    )
    assert answer.settles == "unknown"
    assert str(answer).startswith(
        "Whether the restart settles the design is not proved: memory store has 8192 bits"
    )


def test_a_release_that_races_at_the_fastest_rate_alone(tmp_path: Path) -> None:
    sheet = written(
        tmp_path, "reg [3:0] n; always @(negedge step) n <= restart ? 0 : n + 1; assign outputs = n;"
    )
    answer = found(sheet)
    assert answer.raced == ("n (own.v:3)",)
    assert str(answer) == (
        "The restart settles the whole design, 1 step after it begins: proved from any state, at any rate below "
        "1500 Hz. At that rate the step line falls as the restart is let go, and which of them is first may decide "
        "what n (own.v:3) then holds."
    )


@pytest.mark.parametrize("length", [1, 2, 5])
def test_no_divider_moves_the_lines_in_any_other_order(length: int) -> None:
    """Against the hand, frame by frame: at each code of `quay` up to a half of 12 frames, at each phase."""
    sheet = load_design("dice")
    assert sheet.step is not None and sheet.restart is not None
    seen: dict[bool, set[tuple[tuple[int, int], ...]]] = {True: set(), False: set()}
    for code in range(12):
        for phase in range(2 * QUAY.half(code)):
            rows = moved(
                QUAY,
                sheet,
                (*bring_up(QUAY, sheet, clocked=False), Strap(code), Frames(phase + 1), Restart(length)),
            )
            seen[code == 0].add(rows)
    for level in (0, 1):
        before = (
            *bring_up(QUAY, sheet, clocked=False),
            *parse(["disable", f"set {sheet.step.line}={level}"]),
        )
        seen[False].add(moved(QUAY, sheet, (*before, Restart(length))))
    assert set(orders(length, HALVES)) == seen[False]
    assert set(orders(length, (1,))) >= seen[True] and set(orders(length, ())) <= seen[False]


def moved(board: Board, sheet: Datasheet, actions: tuple[Action, ...]) -> tuple[tuple[int, int], ...]:
    """Levels of step and restart line (1 for active) from the update before the restart on."""
    rows = lines(board, sheet, actions)
    step, restart = step_input(sheet), restart_input(sheet)
    assert step is not None and restart is not None and sheet.restart is not None
    pairs = [(row >> step & 1, (row >> restart & 1) ^ int(sheet.restart.active == "low")) for row in rows]
    return tuple(row for before, row in pairwise([None, *pairs]) if row is not None and row != before)


def lines(board: Board, sheet: Datasheet, actions: tuple[Action, ...]) -> list[int]:
    """The design's inputs after each update of a restart, the last of `actions`, and before the first."""
    hand = Hand(board, sheet)
    hand.do(actions[:-1])
    begun = hand.frame
    hand.do(actions[-1:])
    track = Track(hand)
    track.follow()
    plan = track.timeline()
    first = int(np.searchsorted(plan.frames, begun - 1, side="right")) - 1
    return [int(row) for row in routed(plan.lines[first:], routing(board, sheet))]


@pytest.mark.parametrize("name", names())
def test_no_state_by_chance_contradicts(name: str) -> None:
    """From states by chance, at codes and phases by chance, by hand and after runs: where all is settled, all agree.

    The judge is the plain simulation under the hand that people's procedures take, which share nothing with the proof.
    """
    sheet, seed = load_design(name), f"restart {name}"
    print("seed", seed)
    for board in (QUAY, MOLE):
        try:
            routing(board, sheet)
        except UsageError:
            continue
        answer = restarting(board, Seat(sheet, wrapper_netlist(sheet)))
        if answer is None:
            assert sheet.restart is None
        else:
            assert answer.settles == "everything" and not answer.late
            assert all(
                len(end) == 1 for end in ends(board, sheet, random.Random(seed), slowest=bool(answer.raced))
            )


def test_the_judge_finds_what_is_left_out(tmp_path: Path) -> None:
    sheet = written(tmp_path, "reg q; always @(posedge step) if (!restart) q <= ~q; assign outputs = q;")
    assert all(len(end) > 1 for end in ends(QUAY, sheet, random.Random(1)))


def ends(
    board: Board, sheet: Datasheet, rng: random.Random, *, slowest: bool = False
) -> Iterator[set[bytes]]:
    """For each of some restarts the states that it ends with, begun in states by chance."""
    simulation = Simulation(wrapper_netlist(sheet))
    for trial in range(TRIALS):
        rows = lines(board, sheet, (*before(board, sheet, rng, trial, 2 if slowest else 0), Restart()))
        found = set()
        for _ in range(STATES):
            simulation.power_cycle(rng)
            now = rows[0]
            simulation.set("inputs", now)
            simulation.settle()
            for row in rows[1:]:
                moving = [bit for bit in range(10) if (now ^ row) >> bit & 1]
                for bit in rng.sample(moving, len(moving)):
                    now ^= 1 << bit
                    simulation.set("inputs", now)
                    simulation.settle()
            found.add(simulation.snapshot())
        yield found


def before(board: Board, sheet: Datasheet, rng: random.Random, trial: int, least: int) -> tuple[Action, ...]:
    """What is done before a restart: a run of the datasheet, or the divider anywhere, or a level of the step line."""
    # Without what a sender drives, which would be in the way of the straps.
    up = tuple(action for action in bring_up(board, sheet, clocked=False) if not isinstance(action, Drive))
    if trial % 3 == 0 and sheet.runs:
        try:
            return run_procedure(board, sheet, rng.choice(sheet.runs).name).actions
        except DatasheetError:  # not on this board
            return up
    if divides(board, sheet) and trial % 3 == 1:
        code = rng.randrange(least, 256)
        return (*up, Strap(code), Frames(1 + rng.randrange(2 * board.half(code))))
    step = sheet.step
    if step is None or step.line == "own" or board.step_line == "own":
        return up
    return (*up, *parse([f"set {step.line}={rng.randrange(2)}"]))
