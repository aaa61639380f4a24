"""How far a prediction holds, in sentences."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from forelight.harness.asking.settled import told
from forelight.harness.bench.restarting import Restarting
from forelight.harness.bench.settling import Settling
from forelight.harness.golden.golden import Golden, Race

EIGHT = tuple(f"o{bit}" for bit in range(8))
EVERYTHING = str(Restarting(1))
BYTE = np.zeros(1, np.uint8)


def bare_golden(facts: Mapping[str, str | int]) -> Golden:
    return Golden(
        "quay", 1000, np.zeros(1, np.int64), np.zeros(1, np.int64), BYTE, BYTE, BYTE, BYTE, 5000,
        {"start": "fixed", "power_ups": 256, "step_line": "i7", **facts},
    )  # fmt: skip


def said(found: Settling, *races: Race, **facts: str | int) -> list[str]:
    restart = Restarting(1) if found.restarted else None
    return told(replace(bare_golden(facts), races=races), found, restart)


@pytest.mark.parametrize(
    ("found", "sentence"),
    [
        (
            Settling(True, False, 3, (), (), EIGHT, ()),
            "The restart settles the whole design, 1 step after it begins: proved from any state, at any rate.",
        ),
        (
            Settling(False, False, 7, (), (), EIGHT[:6], EIGHT[6:]),
            "All outputs are settled, from step 7 on: o0 to o5 are proved, 256 power-ups agree on o6, o7; with 95 % "
            "confidence fewer than 1.2 % of power-ups differ.",
        ),
        (
            Settling(True, False, None, ("o3",), (), EIGHT[:3], EIGHT[4:]),
            f"{EVERYTHING} In this run o3 is unsettled: 256 power-ups did not agree to the end, so the chip may show "
            "either.",
        ),
        (
            Settling(False, False, None, EIGHT, (), (), ()),
            "The power-up decides o0 to o7: 256 power-ups did not agree to the end, so the chip may show "
            "either. A longer run may tell whether it repeats itself.",
        ),
        (
            Settling(True, False, None, ("o3",), ("o3",), EIGHT[:3], ()),
            f"{EVERYTHING} A race leaves o3 unsettled to the end: the chip may show either.",
        ),
        (
            Settling(True, False, None, (), (), EIGHT[4:], EIGHT[:4], ("o3",)),
            f"{EVERYTHING} In this run o3 is settled for some time, and then unsettled again.",
        ),
    ],
)
def test_what_settles(found: Settling, sentence: str) -> None:
    assert " ".join(said(found)) == sentence


@pytest.mark.parametrize(
    ("restart", "adds"),
    [
        (Restarting(1, left_out=("t (own.v:5)",)), []),
        (
            Restarting(None, ("t (own.v:5)",), reached=("o1",), shown=("o1",)),
            ["What came before the restart in this run happened to settle that; at another rate it may not."],
        ),
        (Restarting(None, ("t (own.v:5)",), reached=("o1",)), ["In this run no output depends on that."]),
    ],
)
def test_a_run_is_told_apart_from_the_restart_alone(restart: Restarting, adds: list[str]) -> None:
    assert told(bare_golden({}), Settling(True, False, 1, (), (), EIGHT, ()), restart) == [
        str(restart),
        *adds,
    ]


def test_where_it_may_begin() -> None:
    found = Settling(False, True, None, EIGHT, (), (), ())
    facts: dict[str, str | int] = {
        "start": "anywhere",
        "period_ticks": 2500,
        "period_from_tick": 250,
        "period_steps": 20,
    }
    assert said(found, **facts) == [
        "It may begin anywhere: from 0.250 s on it repeats itself every 20 steps (2.5 s), and each of 256 power-ups "
        "shows the same from another place on."
    ]


def test_races_are_told_one_by_one_and_then_counted() -> None:
    found = Settling(True, False, 1, (), (), EIGHT, ())
    race = Race(1234, 5, ("i0", "i2", "i7"), ("o1", "o2"), ("count",))
    sentences = said(found, *[race] * 5)
    assert len(sentences) == 1 + 3 + 2 and sentences[0] == EVERYTHING
    assert sentences[1] == (
        "At 1.234000 s, step 5, i0, i2 and i7 (the step line) move in one update: what o1, o2 show then depends on "
        "which is first."
    )
    assert sentences[-2:] == [
        "There are 2 more like that.",
        "Change inputs with the step clock off, or only while it stands still, and nothing races.",
    ]


def test_races_that_only_the_proof_suspects_come_last() -> None:
    found = Settling(True, False, 1, (), (), EIGHT[1:], EIGHT[:1])
    pair = Race(1234, 5, ("i0", "i7"), ("o0",), ("count",))
    golden = replace(bare_golden({}), races=(pair,), suspects=(pair, replace(pair, lines=("i2",))))
    assert told(golden, found, Restarting(1))[2:] == [
        "At 1.234000 s, step 5, i0 and i7 (the step line) move in one update: what o0 shows then depends on which is "
        "first.",
        "At 1.234000 s, step 5, i0 and i7 (the step line) move in one update, and which is first may decide what o0 "
        "shows then. No proof rules it out, though 256 power-ups, in orders by chance, agreed.",
        "At 1.234000 s, step 5, i2 moves, and a glitch on its way may decide what o0 shows then. No proof rules it "
        "out, though 256 power-ups, without glitches, agreed.",
        "Change inputs with the step clock off, or only while it stands still, and nothing races.",
        "No order of moves helps against a glitch: see at the bench whether it comes out the same every time.",
    ]
    alone = replace(golden, races=(), suspects=(replace(pair, lines=("i2",)),) * 4)
    assert told(alone, found, Restarting(1))[-2:] == [
        "There is 1 more like that.",
        "No order of moves helps against a glitch: see at the bench whether it comes out the same every time.",
    ]


def test_lines_that_race_without_the_step_line_are_moved_one_at_a_time() -> None:
    found = Settling(True, False, 1, (), (), EIGHT, ())
    pair = Race(0, 0, ("i0", "i1"), ("o0",), ("held",))
    assert said(found, pair)[1:] == [
        "At 0.000000 s, step 0, i0 and i1 move in one update: what o0 shows then depends on which is first.",
        "Change one input at a time, and nothing races.",
    ]
    assert said(found, replace(pair, tick=-1))[1].startswith(
        "While the slot is brought up, i0 and i1 move in one"
    )
    assert said(found, pair, replace(pair, lines=("i0", "i7")))[-2:] == [
        "Change inputs with the step clock off, or only while it stands still, and nothing races.",
        "Change one input at a time, and nothing races.",
    ]


def test_one_power_up_says_nothing_of_others() -> None:
    assert said(Settling(True, False, 1, (), (), EIGHT[:6], EIGHT[6:]), power_ups=1) == [
        EVERYTHING,
        "In this run all outputs are settled, 1 step after the restart begins: only 1 power-up was tried, and others "
        "may show something else on o6, o7.",
    ]


def test_what_no_proof_was_tried_of() -> None:
    open_memory = "memory store has 8192 bits, so what it holds counts as unknown"
    *_, sentence = said(Settling(True, False, 1, (), (), (), EIGHT), left_open=open_memory)
    assert sentence == f"Proof goes only so far here: {open_memory}."


def test_a_design_that_has_a_restart_may_be_settled_by_it() -> None:
    found = Settling(False, False, None, ("o3",), (), EIGHT[:3], ())
    (sentence,) = told(bare_golden({}), found, Restarting(1))
    assert sentence.endswith(
        "so the chip may show either. A procedure that begins with restart may settle them."
    )
