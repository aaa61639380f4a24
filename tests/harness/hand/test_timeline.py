"""What the hand does and what the lines then carry, frame by frame (DEVELOPERS.md, Time 1 to 3 and 6)."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from forelight.designs.datasheet import RestartLine, StepLine
from forelight.designs.procedures.procedure import parse
from forelight.harness.boards.profile import Board
from forelight.harness.hand.hand import Hand
from forelight.harness.hand.leads import STRAIGHT, Lead, other_leads
from forelight.harness.hand.timeline import Track
from forelight.sim.errors import UsageError

from .hand_plans import CHAIN, DIRECT, SHEET, plan, rises, table


def test_each_move_takes_a_frame_and_the_end_shows_the_last_answer() -> None:
    found = plan("set i0=1", "set i1=1 i2=1", "press i0", "release i0", "set i1=0")
    assert table(found) == [
        *((0, "00000001"), (1, "00000111"), (2, "00000110")),
        *((3, "00000111"), (4, "00000101")),
    ]
    assert found.end == 6
    assert found.ticks(found.frames).tolist() == [47, 95, 143, 191, 239]  # the last tick of each frame of 48


def test_a_strap_is_three_moves_and_the_first_rise_comes_half_frames_after_the_enable() -> None:
    found = plan("set i0=1", "strap 2", "steps 3")
    assert table(found) == [
        (0, "00000001"),
        (1, "00000010"),  # the code on the switches; in frame 2 the enable rises and the divider starts low
        (3, "00000001"),  # the switches as they were
        *((5, "10000001"), (8, "00000001"), (11, "10000001"), (14, "00000001"), (17, "10000001")),
    ]
    assert found.end == 19


def test_a_strap_code_may_make_an_edge_of_its_own() -> None:
    found = plan("strap 129", "frames 1")
    assert table(found) == [(0, "10000001"), (1, "00000001"), (2, "00000000")]


def test_a_running_step_clock_is_switched_off_to_be_strapped_anew() -> None:
    found = plan("set i7=1", "strap 0", "frames 1", "strap 1", "frames 3")
    assert table(found) == [
        *((0, "10000000"), (1, "00000000"), (3, "10000000"), (4, "00000000")),
        (5, "10000000"),  # off: the line goes back to its switch
        (6, "00000001"),
        (8, "00000000"),  # enabled in frame 7, low for two frames
        (9, "10000000"),
        (11, "00000000"),
    ]


def test_enable_keeps_what_the_switches_hold() -> None:
    found = plan("set i0=1 i1=1", "enable", "frames 9", "disable")
    assert table(found) == [(0, "00000011"), (5, "10000011"), (9, "00000011")]


def test_a_restart_lasts_for_steps_where_there_is_a_step_clock() -> None:
    found = plan("strap 1", "restart 2", "steps 1")
    assert rises(found, 7) == [3, 7, 11]
    active = [frame for frame, lines in table(found) if lines[1] == "1"]
    assert (active[0], active[-1]) == (3, 7)
    assert dict(table(found))[8] == "10000000"  # let go in the frame after the second rise
    frames = replace(SHEET, step=None)
    assert table(plan("restart 3", sheet=frames)) == [(0, "01000000"), (3, "00000000")]
    low = replace(frames, restart=RestartLine("i6", "low"))
    assert table(plan("restart 3", sheet=low)) == [(0, "00000000"), (3, "01000000")]


def test_a_restart_makes_its_steps_by_hand_where_the_step_clock_does_not() -> None:
    """As a register that takes its restart at an edge needs one; and never both lines at one instant."""
    found = plan("restart 2")
    expected = ["01000000", "11000000", "01000000", "11000000", "01000000", "00000000"]
    assert table(found) == list(enumerate(expected))
    elsewhere = replace(SHEET, step=StepLine("i0"))
    assert rises(plan("strap 1", "restart 2", sheet=elsewhere), 0) != []
    assert (
        rises(plan("drive i7=0", "restart 2"), 7) == []
    )  # whatever drives the line from outside makes the steps


def test_steps_end_with_the_rise_that_was_waited_for() -> None:
    """Whatever has passed of a step when the wait begins."""
    cases = 0
    for half in range(1, 8):
        for before in range(1, 4 * half + 2):
            for count in (1, 2, 5):
                up = (f"strap {half - 1}", f"frames {before}")
                start = plan(*up).end - 1
                found = plan(*up, f"steps {count}")
                counted = [frame for frame in rises(found, 7) if frame >= start]
                assert len(counted) == count
                assert counted[-1] == found.end - 2  # one more frame shows the answer
                cases += 1
    assert cases > 300


def test_steps_by_hand() -> None:
    found = plan("pulse 2 at 500 Hz", "set i0=1", "set i7=1", "pulse 1 at 1000000 Hz")
    assert table(found) == [
        *((0, "10000000"), (1, "00000000"), (2, "10000000"), (3, "00000000"), (4, "00000001")),
        *((5, "10000001"), (6, "00000001"), (7, "10000001")),
    ]


def test_steps_by_hand_keep_their_pace() -> None:
    assert CHAIN.frame_hz == 1000
    assert table(plan("pulse 2")) == [
        *((0, "10000000"), (250, "00000000"), (500, "10000000"), (750, "00000000")),
    ]
    for count, hz in ((1, 4), (3, 8), (5, 100)):
        found = plan(f"pulse {count} at {hz} Hz", "frames 1")
        beat = 1000 // (2 * hz)
        assert rises(found, 7) == [2 * beat * n for n in range(count)]
        assert found.end == 2 * beat * count + 2


def test_a_button_that_is_taken_between_steps_by_hand_leaves_their_pace() -> None:
    plain = rises(plan("frames 1", "pulse 4 at 10 Hz"), 7)
    slow = replace(CHAIN, debounce={"i0": 130 * CHAIN.frame_ticks})
    assert rises(plan("press i0", "pulse 4 at 10 Hz", board=slow), 7) == plain


def test_waits_are_rounded_to_whole_frames() -> None:
    assert CHAIN.frame_hz == 1000
    for text, frames in (
        ("wait 1.4 ms", 1),
        ("wait 1.6 ms", 2),
        ("wait 0.1 s", 100),
        ("wait 2 min", 120_000),
    ):
        assert plan("set i0=1", text).end == 1 + frames + 1


def test_a_chain_without_its_oscillator_stands_still_while_time_passes() -> None:
    found = plan("strap 0", "oscillator off", "set i0=1", "wait 10 ms", "oscillator on", "frames 2")
    assert table(found) == [
        *(
            (0, "00000000"),
            (2, "10000000"),
            (3, "00000001"),
            (4, "10000001"),
            (5, "00000001"),
            (6, "10000001"),
        ),
    ]
    assert found.pauses.tolist() == [[3, 1], [3, 1], [3, 10]]
    assert found.ticks(np.array([2, 3])).tolist() == [3 * 48 - 1, (4 + 12) * 48 - 1]
    assert found.start_ticks(np.array([found.end])).tolist() == [(7 + 12) * 48]
    ends_off = plan("set i0=1", "oscillator off", "wait 10 ms")
    assert (ends_off.end, ends_off.start_ticks(np.array([1])).tolist()) == (1, [13 * 48])


def test_a_debounced_button_comes_through_later() -> None:
    board = replace(CHAIN, debounce={"i0": 100})  # 2.08 frames: the third frame after the press samples it
    assert table(plan("press i0", "frames 5", "release i0", "frames 5", board=board)) == [
        *((0, "00000000"), (3, "00000001"), (9, "00000000")),
    ]
    assert table(plan("press i0", "frames 1", "release i0", "frames 5", board=board)) == [(0, "00000000")]


def test_a_bouncing_button_touches_several_times() -> None:
    """At 1000 frames a second the contact opens and closes again within five frames, as the bounces are timed."""
    found = plan("press i0 bouncing", "frames 5", "release i0 bouncing", "frames 5")
    assert table(found)[:7] == [
        (frame, f"0000000{level}") for frame, level in enumerate((1, 0, 1, 0, 1, 0, 1))
    ]
    assert [lines[-1] for _, lines in table(found)[7:]] == list("0101010")
    patient = replace(CHAIN, debounce={"i0": 6 * 48})
    calm = plan("press i0 bouncing", "frames 20", "release i0 bouncing", "frames 20", board=patient)
    assert [lines for _, lines in table(calm)] == ["00000000", "00000001", "00000000"]


def test_a_line_driven_from_outside() -> None:
    board = replace(CHAIN, pulls={"i1": 1, "i2": 1})
    found = plan("drive i0=1", "set i2=1", "drive i2=0 i3=1", "let go i2", "let go i0 i3", board=board)
    assert [lines for _, lines in table(found)] == [
        "00000001",
        "00000101",
        "00001001",
        "00001101",
        "00000100",
    ]
    nothing = plan("set i1=1", "drive i1=0", board=board, contacts=0b1111_1101)
    assert [lines for _, lines in table(nothing)] == ["00000010", "00000000"]


def test_switches_without_contact() -> None:
    board = replace(CHAIN, pulls={"i1": 1, "i2": 0})
    found = plan("set i0=1 i1=0 i2=1 i3=1", "set i1=1", "press i0", board=board, contacts=0b1111_1001)
    assert table(found) == [(0, "00001011"), (2, "00001010")]


def test_a_direct_link_has_no_frames() -> None:
    found = plan("set i0=1 i7=1", "strap 2", "steps 2", "restart 1", board=DIRECT)
    assert table(found) == [
        (0, "0010000001"),  # i7 is only a pin here: the step line is bit 8, restart bit 9
        *((4, "0110000001"), (7, "0010000001"), (10, "0110000001"), (11, "1110000001")),
        *((13, "1010000001"), (16, "1110000001"), (17, "0110000001")),
    ]
    assert found.end == 18
    assert found.ticks(np.array([0, 4])).tolist() == [0, 4]
    assert found.latency == 0


def test_a_direct_link_without_its_oscillator_is_still_wire() -> None:
    found = plan(
        "strap 1", "frames 1", "oscillator off", "set i0=1", "oscillator on", "frames 2", board=DIRECT
    )
    assert table(found) == [
        (0, "0000000000"),
        (2, "0100000000"),  # the tick before still ran; now the step line stays where it is
        (3, "0100000001"),
        (6, "0000000001"),  # two ticks in all have passed with the step line high and the oscillator on
    ]


def test_selection() -> None:
    found = plan("set i0=1", "select 2", "select 2", "select 0", slot=1)
    assert (found.turns.tolist(), found.slots.tolist()) == ([0, 1, 3], [1, 2, 0])


def test_a_million_steps_are_an_arithmetic_sequence() -> None:
    found = plan("strap 2", "steps 1000000")
    np.testing.assert_array_equal(np.diff(found.frames[2:]), 3)
    np.testing.assert_array_equal(found.lines[2:] >> 7, np.arange(1, len(found.lines) - 1) & 1)
    assert len(rises(found, 7)) == 1_000_000


def test_lines_do_not_depend_on_how_waits_are_cut() -> None:
    rng = random.Random(7)
    for _ in range(50):
        code, length = rng.randrange(12), rng.randint(1, 60)
        cuts = sorted([*rng.sample(range(1, length + 1), min(length, 5)), 0, length])
        parts = [f"frames {b - a}" for a, b in pairwise(cuts) if b > a]
        assert table(plan(f"strap {code}", *parts)) == table(plan(f"strap {code}", f"frames {length}"))


def test_repeats_are_as_if_written_out() -> None:
    repeated = plan("strap 1", "repeat 3 (set i0=1; frames 2; set i0=0)")
    plain = plan("strap 1", *["set i0=1", "frames 2", "set i0=0"] * 3)
    assert table(repeated) == table(plain) and repeated.end == plain.end
    assert rises(repeated, 0) == [0, 3, 7, 11]  # the strap code is on the switches at first


def test_the_oscillator_takes_a_move_each_way() -> None:
    found = plan("oscillator off", "oscillator on", "set i0=1", board=DIRECT)
    assert table(found) == [(0, "0000000000"), (2, "0000000001")]
    assert found.end == 3


def test_a_pulse_beside_a_running_divider() -> None:
    """The divider drives i7, and the hand pulses i0, on which the design has its step: both are seen."""
    elsewhere = replace(SHEET, step=StepLine("i0"))
    for before in range(1, 8):
        found = plan("strap 1", f"frames {before}", "pulse 5 at 500 Hz", sheet=elsewhere)
        levels = dict(table(found))
        now, seen = "", []
        for frame in range(found.end):
            now = levels.get(frame, now)
            seen.append(now)
        clock = [int(lines[0]) for lines in seen]
        enabled = 2  # in frame 1 the enable rises; from there the divider is low for two frames, high for two
        assert clock[enabled:] == [((frame - 1) // 2) % 2 for frame in range(enabled, found.end)]
        pulses = [int(lines[7]) for lines in seen][-10 - 1 :]
        assert "".join(map(str, pulses)).strip("0").count("10") >= 4
        slow = plan("strap 1", f"frames {before}", "pulse 3 at 50 Hz", sheet=elsewhere)
        assert np.diff(rises(slow, 0)[-3:]).tolist() == [20, 20]
        assert set(np.diff(rises(slow, 7)[1:]).tolist()) == {4}


def test_a_held_button_does_not_reach_other_lines_that_are_driven() -> None:
    """The restart goes up and comes back, whatever button is held meanwhile."""
    sheet = replace(SHEET, step=StepLine("i1"))
    held, free = (plan(*before, "restart 3", board=CHAIN, sheet=sheet) for before in (["press i7"], []))
    assert rises(held, 6) == [frame + 1 for frame in rises(free, 6)]
    assert held.lines[-1] == 1 << 7


def test_a_hand_alone() -> None:
    hand = Hand(CHAIN, SHEET)
    hand.do(parse(["set i0=1", "frames 4"]))
    assert hand.contacts == 0xFF
    assert hand.now == hand.frame * CHAIN.frame_ticks > 0


@pytest.mark.parametrize("board", [CHAIN, DIRECT], ids=["chain", "direct"])
def test_a_hand_that_is_followed_move_by_move_is_that_which_is_followed_at_the_end(board: Board) -> None:
    seed = 6
    print("seed", seed)
    rng, hand = random.Random(seed), Hand(board, SHEET)
    step, done = Track(hand), 0
    while done < 150:
        moves = (
            f"set i{rng.randrange(6)}={rng.randrange(2)}",
            f"frames {rng.randrange(1, 9)}",
            f"select {rng.randrange(3)}",
            rng.choice(["press i0", "release i0", "disable", f"strap {rng.randrange(3)}"]),
        )
        try:
            hand.do(parse([rng.choice(moves)]))
        except UsageError:  # pressed or off already
            continue
        step.follow()
        done += 1
    whole = Track(hand)
    whole.follow()
    for name in ("frames", "lines", "turns", "slots"):
        one, other = (getattr(track.timeline(), name) for track in (step, whole))
        np.testing.assert_array_equal(one, other, name)
        assert len(one) > 20


def test_leads_that_go_elsewhere_turn_round_or_stay_at_a_level() -> None:
    """i0 and i2 are swapped, i1 is upside down, i3 stays at 1 and i4 at 0; i5 is as it should be."""
    leads = other_leads(
        STRAIGHT,
        {0: Lead(2), 2: Lead(0), 1: Lead(1, inverted=True), 3: Lead(3, level=1), 4: Lead(4, level=0)},
    )
    found = plan("set i0=1 i4=1", "set i1=1 i5=1", "set i2=1 i0=0", leads=leads)
    assert table(found) == [(0, "00001110"), (1, "00101100"), (2, "00101001")]
    assert table(plan("set i0=1", leads=STRAIGHT)) == [(0, "00000001")]


def test_steps_by_hand_reach_the_pin_to_which_their_lead_goes() -> None:
    """The lead of the step switch i7 is upside down, or goes to i5 as well."""
    straight = [(frame, lines) for frame, lines in table(plan("set i1=1", "pulse 2 at 10 Hz"))]
    assert {lines for _, lines in straight} == {"00000010", "10000010"}
    for leads, bits in (({7: Lead(7, inverted=True)}, 0b10000000), ({5: Lead(7)}, 0b00100000)):
        found = table(plan("set i1=1", "pulse 2 at 10 Hz", leads=other_leads(STRAIGHT, leads)))
        turned = {
            "00000010": bits & 0x80 | 2,
            "10000010": (0x82 ^ bits) if bits & 0x80 else 0x82 | bits,
        }
        assert found == [(frame, f"{turned[lines]:08b}") for frame, lines in straight]
