"""Bench actions: their words, both ways; what cannot be done on a design; and a bound on everything."""

from __future__ import annotations

from pathlib import Path

import pytest
from forelight.designs.action_text import MOST_SECONDS, MOST_STEPS
from forelight.designs.datasheet import Datasheet, Run
from forelight.designs.datasheet import Restart as RestartLine
from forelight.designs.datasheet import Step as StepLine
from forelight.designs.procedure import (
    Action,
    Disable,
    Enable,
    Frames,
    Oscillator,
    Press,
    Procedure,
    Pulse,
    Release,
    Repeat,
    Restart,
    Seconds,
    Select,
    Set,
    Steps,
    Strap,
    load_toml,
    of_run,
    parse,
    to_text,
)
from forelight.designs.procedure_check import check, clocked_at_start
from forelight.sim.errors import DatasheetError, UsageError
from hypothesis import given, settings
from hypothesis import strategies as st

CLOCKED = Datasheet(
    "whistle", Path(), "Whistle", (), None, "amaranth", step=StepLine("i7"), restart=RestartLine("i6")
)
PLAIN = Datasheet("vote", Path(), "Vote", (), None, "verilog")

LINES = st.sampled_from([f"i{n}" for n in range(8)])
SINGLE: st.SearchStrategy[Action] = st.one_of(
    st.builds(Select, st.integers(0, 65535)),
    st.builds(Strap, st.integers(0, 2**32 - 1)),
    st.just(Enable()),
    st.just(Disable()),
    st.builds(Oscillator, st.booleans()),
    st.builds(Set, st.dictionaries(LINES, st.integers(0, 1), min_size=1)),
    st.builds(Press, LINES),
    st.builds(Release, LINES),
    st.builds(Restart, st.integers(1, 1000)),
    st.builds(Steps, st.integers(1, 10**6)),
    st.builds(Frames, st.integers(1, 10**6)),
    st.builds(Seconds, st.floats(1e-9, 1000)),
    st.builds(Pulse, st.integers(1, 1000)),
)


def repeats(inner: st.SearchStrategy[Action]) -> st.SearchStrategy[Action]:
    return st.builds(Repeat, st.integers(1, 3), st.lists(inner, min_size=1, max_size=3).map(tuple))


ACTIONS = st.one_of(SINGLE, repeats(SINGLE), repeats(st.one_of(SINGLE, repeats(SINGLE))))


@given(st.lists(ACTIONS, max_size=5))
@settings(print_blob=True, deadline=None)
def test_text_and_record_are_each_others_inverse(actions: list[Action]) -> None:
    texts = [to_text(action) for action in actions]
    assert parse(texts) == tuple(actions)
    assert [to_text(action) for action in parse(texts)] == texts


WORDS = [
    *("select", "strap", "enable", "set", "i2=1", "o1=0", "i9=1", "repeat", "(", ")", ";", "3", "-1", "wait"),
    *("s", "ms", "restart", "steps", "press", "i6", "1e5", "\u0663", "\x00"),
]


@given(st.lists(st.one_of(st.lists(st.sampled_from(WORDS)).map(" ".join), st.text()), max_size=4))
@settings(print_blob=True, deadline=None)
def test_any_text_is_read_or_refused(texts: list[str]) -> None:
    try:
        parse(texts, "here")
    except DatasheetError as error:
        assert str(error).startswith("here")


def test_the_words_of_a_datasheet() -> None:
    texts = "restart|steps 97500|set i2=1 i3=0|strap 29|enable|disable|press i6|release i6|wait 3 s|frames 10|select 12"
    more = "pulse 4|oscillator off|restart 5|wait 250 ms|wait 2min|WAIT 7 US|repeat 3 (pulse 1; repeat 2 (wait 1 s))"
    assert parse([*texts.split("|"), *more.split("|")]) == (
        Restart(2),
        Steps(97500),
        Set({"i2": 1, "i3": 0}),
        Strap(29),
        Enable(),
        Disable(),
        Press("i6"),
        Release("i6"),
        Seconds(3.0),
        Frames(10),
        Select(12),
        Pulse(4),
        Oscillator(False),
        Restart(5),
        Seconds(0.25),
        Seconds(120.0),
        Seconds(7e-6),
        Repeat(3, (Pulse(1), Repeat(2, (Seconds(1.0),)))),
    )


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "step 4",
            '"step 4": no such action; did you mean "steps" or "strap"? the actions are select, strap, ',
        ),
        ("", '"": no such action; the actions are select, '),
        ("steps", '"steps": found 0 words after steps; write steps COUNT'),
        ("steps -4", '"steps -4": found "-4" for a whole number from 1 to 1000000000; write steps COUNT'),
        ("steps 0", '"steps 0": found "0" for a whole number from 1 to 1000000000; write steps COUNT'),
        ("steps 1_0", '"steps 1_0": found "1_0" for a whole number from 1 to 1000000000; write steps COUNT'),
        ("steps 9999999999999", '"steps 9999999999999": found "9999999999999" for a whole number from 1 to'),
        ("set i2=2", '"set i2=2": found "2" as the level of i2, which is 0 or 1; write set i2=1 i3=0'),
        ("set i2", '"set i2": found "" as the level of i2, which is 0 or 1; write set i2=1 i3=0'),
        ("set i2=1 i2=0", '"set i2=1 i2=0": i2 is set twice at one instant; write set i2=1 i3=0'),
        ("set o2=1", '"set o2=1": "o2" is an output, the input lines are i0 to i7; write set i2=1 i3=0'),
        ("press i8", '"press i8": "i8" is no line, the input lines are i0 to i7; write press i6'),
        (
            "oscillator of",
            '"oscillator of": found "of", the oscillator is on or off; write oscillator on or oscillator',
        ),
        ("wait 3", '"wait 3": found "3" for a time, its units are s, ms, us, min; write wait 3 s'),
        ("wait -3 s", '"wait -3 s": found "-3s" for a time, its units are s, ms, us, min; write wait 3 s'),
        ("wait 0 s", '"wait 0 s": found "0s", a wait is from 1 ns to 1000000 s; write wait 3 s'),
        ("wait nan s", '"wait nan s": found "nans" for a time'),
        (
            "repeat (wait 1 s)",
            '"repeat (wait 1 s)": found no count, or no actions in parentheses; write repeat COUNT',
        ),
        (
            "repeat 2 (wait 1 s",
            '"repeat 2 (wait 1 s": a parenthesis without its partner; write repeat 3 (pulse 1; wa',
        ),
        ("repeat 2 (pulse 1;)", '"": no such action; the actions are select, '),
        ("pulse 1; pulse 2", '"pulse 1; pulse 2": 2 actions in one text; give each a text of its own'),
        (
            "repeat 1 (" * 9 + "enable" + ")" * 9,
            '"repeat 1 (enable)": repeats stand more than 8 deep; write repeat',
        ),
        ("enable" + " " * 20_001, "a text of 20007 characters; split it into several actions"),
    ],
)
def test_what_is_said_of_a_text_that_cannot_be_read(text: str, message: str) -> None:
    with pytest.raises(DatasheetError) as error:
        parse(["restart", text], "sheet.toml:9")
    assert str(error.value).startswith(f"sheet.toml:9, action 2: {message}")


@pytest.mark.parametrize(
    "texts",
    [
        [f"steps {MOST_STEPS}", "frames 1"],
        ["repeat 1000 (repeat 1000 (repeat 1001 (pulse 1)))"],
        ["repeat 1000000000 (set i0=1)"],
        [f"wait {MOST_SECONDS} s", "wait 1 s"],
        ["repeat 1000 (repeat 1000 (enable))"],
    ],
)
def test_no_procedure_is_endless(texts: list[str]) -> None:
    with pytest.raises(DatasheetError, match=r"the procedure comes to .* are allowed"):
        parse(texts, "sheet.toml:9")


def test_the_bounds_themselves_are_allowed() -> None:
    assert parse([f"steps {MOST_STEPS}", f"wait {MOST_SECONDS} s"])


@pytest.mark.parametrize(
    ("sheet", "texts", "message"),
    [
        (
            CLOCKED,
            ["steps 3", "set i7=1"],
            'f, action 2: "set i7=1": the step clock drives i7; write disable before',
        ),
        (CLOCKED, ["set i2=1 i7=0"], 'f, action 1: "set i2=1 i7=0": the step clock drives i7;'),
        (CLOCKED, ["press i7"], 'f, action 1: "press i7": the step clock drives i7;'),
        (
            CLOCKED,
            ["strap 29", "pulse 1"],
            'f, action 2: "pulse 1": the step clock is on; write disable before, or',
        ),
        (
            CLOCKED,
            ["disable", "steps 1"],
            'f, action 2: "steps 1": the step clock is off; write strap or enable',
        ),
        (CLOCKED, ["pulse 1", "steps 1"], 'f, action 2: "steps 1": the step clock is off;'),
        (
            CLOCKED,
            ["oscillator off", "steps 1"],
            'f, action 2: "steps 1": nothing moves while the oscillator is off;',
        ),
        (
            CLOCKED,
            ["oscillator off", "frames 1"],
            'f, action 2: "frames 1": nothing moves while the oscillator is off;',
        ),
        (
            CLOCKED,
            ["press i6", "press i6"],
            'f, action 2: "press i6": the button is held already; write release i6',
        ),
        (CLOCKED, ["release i6"], 'f, action 1: "release i6": the button is not held; write press i6 before'),
        (
            CLOCKED,
            ["repeat 2 (enable; set i0=1; set i7=1; disable)"],
            'f, action 1.3: "set i7=1": the step clock',
        ),
        (
            CLOCKED,
            ["disable", "repeat 2 (set i7=1; enable)"],
            'f, action 2.1: "set i7=1": the step clock drives i7',
        ),
        (CLOCKED, ["repeat 3 (press i0)"], 'f, action 1.1: "press i0": the button is held already;'),
        (
            PLAIN,
            ["restart"],
            'f, action 1: "restart": vote has no restart line; leave it out, or state [restart]',
        ),
        (
            PLAIN,
            ["steps 1"],
            'f, action 1: "steps 1": vote has no step line; use frames or wait, or state [step]',
        ),
        (PLAIN, ["pulse 1"], 'f, action 1: "pulse 1": vote has no step line;'),
        (PLAIN, ["enable"], 'f, action 1: "enable": vote has no step line;'),
    ],
)
def test_what_cannot_be_done_on_a_design(sheet: Datasheet, texts: list[str], message: str) -> None:
    with pytest.raises(DatasheetError) as error:
        check(parse(texts), sheet, "f")
    assert str(error.value).startswith(message)


@pytest.mark.parametrize(
    ("sheet", "texts"),
    [
        (CLOCKED, ["restart", "steps 5", "disable", "set i7=1", "pulse 2", "enable", "steps 1"]),
        (CLOCKED, ["set i7=1", "strap 29", "steps 4"]),
        (CLOCKED, ["repeat 3 (press i6; wait 1 s; release i6)"]),
        (CLOCKED, ["oscillator off", "wait 1 s", "oscillator on", "frames 2"]),
        (CLOCKED, ["steps 3", "select 4", "set i7=1", "wait 1 s"]),
        (PLAIN, ["set i0=1 i7=1", "frames 3", "press i7", "wait 1 s", "release i7"]),
    ],
)
def test_what_can_be_done_passes(sheet: Datasheet, texts: list[str]) -> None:
    check(parse(texts), sheet, "f")


def test_the_boards_numbers_count_where_they_are_given() -> None:
    for texts, message in (
        (["select 192"], "there is no slot 192; the slots are 0 to 191"),
        (["strap 256"], "there is no strap code 256; the codes are 0 to 255"),
    ):
        check(parse(texts), CLOCKED)
        with pytest.raises(DatasheetError, match=message):
            check(parse(texts), CLOCKED, slot_count=192, codes=256)
    with pytest.raises(DatasheetError, match="no button sits on i1; lines with buttons: i0, i6; or use set"):
        check(parse(["press i1"]), CLOCKED, buttons={"i6": "RESTART", "i0": "PUSH"})


def test_another_slots_design_has_other_rules() -> None:
    texts = ["select 9", "set i7=1", "select 7", "set i7=1"]
    with pytest.raises(DatasheetError, match="action 4"):
        check(parse(texts), CLOCKED, slot=7)


def test_records_made_in_code_obey_the_grammar_too() -> None:
    for action in (Set({"i9": 1}), Set({"i0": 2}), Steps(-1), Seconds(float("inf")), Repeat(2, (Steps(0),))):
        with pytest.raises(DatasheetError):
            check([action], CLOCKED)


@pytest.mark.parametrize(
    ("texts", "clocked"),
    [
        ([], True),
        (["restart", "wait 1 s"], True),
        (["steps 3", "pulse 1"], True),
        (["disable", "pulse 1"], True),
        (["set i0=1", "pulse 1"], False),
        (["set i0=1", "strap 3"], False),
        (["repeat 2 (set i0=1; pulse 3)", "steps 1"], False),
    ],
)
def test_the_step_clock_runs_at_first_unless_the_procedure_sees_to_it(
    texts: list[str], clocked: bool
) -> None:
    assert clocked_at_start(parse(texts)) is clocked


def test_a_procedure_file(tmp_path: Path) -> None:
    file = tmp_path / "short.toml"
    file.write_text('do = ["restart",\n "steps 3"]\nexpect = "three"\n')
    assert load_toml(file) == Procedure("short", (Restart(), Steps(3)), "three")
    file.write_text('name = "mine"\n\ndo = ["restart", "stepps 3"]\n')
    with pytest.raises(DatasheetError) as error:
        load_toml(file)
    assert str(error.value).startswith(
        f'{file}:3, action 2: "stepps 3": no such action; did you mean "steps"?'
    )
    file.write_text('steps = ["restart"]\n')
    with pytest.raises(DatasheetError, match=":1: steps: no such key; the keys here are name, do, expect"):
        load_toml(file)


def test_a_run_of_a_datasheet_by_name() -> None:
    sheet = Datasheet(
        "whistle", Path(), "W", (), None, "amaranth", runs=(Run("two blasts", ("restart",), "loud"),)
    )
    assert of_run(sheet, "two blasts") == Procedure("two blasts", (Restart(),), "loud")
    with pytest.raises(UsageError) as error:
        of_run(sheet, "two blast")
    assert str(error.value) == (
        'whistle has no run "two blast"; did you mean "two blasts"? its runs are "two blasts"'
    )
    with pytest.raises(UsageError, match='vote has no run "x"; it has no runs'):
        of_run(PLAIN, "x")
