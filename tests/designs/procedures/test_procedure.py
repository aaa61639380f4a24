"""Bench actions: their words, both ways, and a bound on everything."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from forelight.designs.datasheet import Datasheet, Run
from forelight.designs.procedures.procedure import (
    Action,
    Disable,
    Drive,
    Enable,
    Frames,
    LetGo,
    Oscillator,
    Play,
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
from forelight.designs.procedures.text import MOST_ACTIONS, MOST_SECONDS, MOST_STEPS, VERBS
from forelight.sim.errors import DatasheetError, UsageError
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.sizes import sized

PLAIN = Datasheet("vote", Path(), "Vote", (), None, "verilog")

LINES = st.sampled_from([f"i{n}" for n in range(8)])
SINGLE: st.SearchStrategy[Action] = st.one_of(
    st.builds(Select, st.integers(0, 65535)),
    st.builds(Strap, st.integers(0, 2**32 - 1)),
    st.just(Enable()),
    st.just(Disable()),
    st.builds(Oscillator, st.booleans()),
    st.builds(Set, st.dictionaries(LINES, st.integers(0, 1), min_size=1)),
    st.builds(Press, LINES, st.booleans()),
    st.builds(Release, LINES, st.booleans()),
    st.builds(Drive, st.dictionaries(LINES, st.integers(0, 1), min_size=1)),
    st.builds(LetGo, st.sets(LINES, min_size=1).map(sorted).map(tuple)),
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
@settings(print_blob=True, deadline=None, max_examples=sized(40, 200))
def test_any_text_is_read_or_refused(texts: list[str]) -> None:
    try:
        parse(texts, "here")
    except DatasheetError as error:
        assert str(error).startswith("here")


def test_the_words_of_a_datasheet() -> None:
    texts = "restart|steps 97500|set i2=1 i3=0|strap 29|enable|disable|press i6|release i6|wait 3 s|frames 10|select 12"
    more = "pulse 4|oscillator off|restart 5|wait 250 ms|wait 2min|WAIT 7 US|repeat 3 (pulse 1; repeat 2 (wait 1 s))"
    paced = "pulse 64 at 4 Hz|PULSE 2 AT 0.5hz"
    last = "press i0 bouncing|release i0 BOUNCING|drive i2=1 i3=0|let go i3 i2|play Two Hands.csv"
    assert parse([*texts.split("|"), *more.split("|"), *paced.split("|"), *last.split("|")]) == (
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
        Pulse(64, 4.0),
        Pulse(2, 0.5),
        Press("i0", bouncing=True),
        Release("i0", bouncing=True),
        Drive({"i2": 1, "i3": 0}),
        LetGo(("i2", "i3")),
        Play("Two Hands.csv"),
    )
    assert to_text(Play("Two Hands.csv")) == "play Two Hands.csv"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "step 4",
            '"step 4": no such action; did you mean "steps" or "strap"? the actions are select, strap, ',
        ),
        ("", "an empty action; take it out, or write one of select, "),
        ("steps", '"steps": nothing stands after steps; write steps COUNT'),
        ("steps -4", '"steps -4": "-4" is no whole number from 1 to 1000000000; write steps COUNT'),
        ("steps 0", '"steps 0": "0" is no whole number from 1 to 1000000000; write steps COUNT'),
        ("steps 1_0", '"steps 1_0": "1_0" is no whole number; write steps COUNT'),
        ("steps 9999999999999", '"steps 9999999999999": "9999999999999" is no whole number from 1 to'),
        ("set i2=2", '"set i2=2": "2" is no level of i2, which is 0 or 1; write set i2=1 i3=0'),
        ("set i2", '"set i2": nothing is no level of i2, which is 0 or 1; write set i2=1 i3=0'),
        ("set i2=1 i2=0", '"set i2=1 i2=0": i2 is set twice at one instant; write set i2=1 i3=0'),
        ("set o2=1", '"set o2=1": "o2" is an output, the input lines are i0 to i7; write set i2=1 i3=0'),
        ("press i8", '"press i8": "i8" is no line, the input lines are i0 to i7; write press i6'),
        (
            "oscillator of",
            '"oscillator of": "of" does not fit, the oscillator is on or off; write oscillator on or oscillator',
        ),
        ("press i6 hard", '"press i6 hard": "hard" stands where may be bouncing or nothing; write press i6'),
        ("enable now", '"enable now": 1 word stands after enable; write enable'),
        ("wait", '"wait": nothing stands after wait; write wait 3 s'),
        ("select 1 2", '"select 1 2": 2 words stand after select; write select SLOT'),
        (
            "drive i0=1 i1=1 i2=1 i3=1 i4=1 i5=1 i6=1 i7=1 i0=1",
            '"drive i0=1 i1=1 i2=1 i3=1 i4=1 i5=1 i6=1 i7=1 i0=1": 9 words stand after drive; write drive i2=1 i3=0',
        ),
        ("let i2", '"let i2": 1 word stands after let; write let go i2 i3'),
        ("let us i2", '"let us i2": "us" stands after let; write let go i2 i3'),
        ("play", '"play": the name of a file is missing; write play FILE'),
        ("wait 3", '"wait 3": "3" is no time, its units are s, ms, us, min; write wait 3 s'),
        ("wait -3 s", '"wait -3 s": "-3 s" is no time, its units are s, ms, us, min; write wait 3 s'),
        ("wait 0 s", '"wait 0 s": "0 s" does not fit, a wait is from 1 ns to 1000000 s; write wait 3 s'),
        ("wait nan s", '"wait nan s": "nan s" is no time'),
        (
            "repeat (wait 1 s)",
            '"repeat (wait 1 s)": a count, or actions in parentheses, are missing; write repeat COUNT',
        ),
        (
            "repeat 2 (wait 1 s",
            '"repeat 2 (wait 1 s": a parenthesis without its partner; write repeat 3 (pulse 1; wa',
        ),
        ("pulse 3 at 0 Hz", '"pulse 3 at 0 Hz": "at 0 hz" is no rate such as at 10 Hz'),
        ("pulse 3 every 5 s", '"pulse 3 every 5 s": "every 5 s" is no rate such as at 10 Hz'),
        ("repeat 2 (pulse 1;)", "an empty action; take it out, or write one of select, "),
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
        ["repeat 10 (repeat 3 (steps 40000000))"],
        ["repeat 1001 (wait 1000 s)"],
        ["repeat 1000000000 (set i0=1)"],
        [f"wait {MOST_SECONDS} s", "wait 1 s"],
        [f"pulse {2 * MOST_SECONDS}", "wait 1 s"],
        ["repeat 1000 (repeat 1000 (enable))"],
    ],
)
def test_no_procedure_is_endless(texts: list[str]) -> None:
    with pytest.raises(DatasheetError, match=r"the procedure comes to .* are allowed"):
        parse(texts, "sheet.toml:9")


def test_the_bounds_themselves_are_allowed() -> None:
    assert parse([f"steps {MOST_STEPS}", f"wait {MOST_SECONDS} s"])


def test_a_procedure_file(tmp_path: Path) -> None:
    file = tmp_path / "short.toml"
    file.write_text('do = ["restart",\n "steps 3"]\nexpect = "three"\n')
    assert load_toml(file) == Procedure("short", (Restart(), Steps(3)), "three", tmp_path)
    file.write_text('name = "mine"\n\ndo = ["restart",\n  # three of them: ["x"]\n  "stepps 3"]\n')
    with pytest.raises(DatasheetError) as error:
        load_toml(file)
    assert str(error.value).startswith(
        f'{file}:5, action 2: "stepps 3": no such action; did you mean "steps"?'
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


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Set({"i9": 1}), "Set(levels={'i9': 1}): 'i9' is no input line; those are i0 to i7"),
        (lambda: Set({"i0": 2}), "Set(levels={'i0': 2}): 2 is no level of i0; give 0 or 1"),
        (lambda: Set({}), "Set(levels={}): 'none' is no input line"),
        (lambda: Drive({"o1": 1}), "Drive(levels={'o1': 1}): 'o1' is no input line"),
        (lambda: LetGo(()), "LetGo(lines=()): 'none' is no input line"),
        (lambda: Press("i8"), "Press(line='i8', bouncing=False): 'i8' is no input line"),
        (lambda: Release("step"), "Release(line='step', bouncing=False): 'step' is no input line"),
        (lambda: Steps(-1), "Steps(count=-1): -1 does not fit; give a whole number from 1 on"),
        (lambda: Frames(1.5), "Frames(count=1.5): 1.5 does not fit; give a whole number"),  # type: ignore[arg-type]
        (lambda: Pulse(0), "Pulse(count=0, hz=2.0): 0 does not fit"),
        (lambda: Pulse(1, 0.0), "Pulse(count=1, hz=0.0): 0.0 does not fit; give a rate above 0 Hz"),
        (lambda: Restart(0), "Restart(length=0): 0 does not fit"),
        (lambda: Select(-1), "Select(slot=-1): -1 does not fit; give a whole number from 0 on"),
        (lambda: Strap(-1), "Strap(code=-1): -1 does not fit"),
        (lambda: Seconds(float("inf")), "Seconds(seconds=inf): inf does not fit; give a time above 0 s"),
        (lambda: Seconds(0.0), "Seconds(seconds=0.0): 0.0 does not fit"),
        (lambda: Repeat(0, (Steps(1),)), "Repeat(count=0, actions=(Steps(count=1),)): 0 does not fit"),
        (lambda: Repeat(2, ()), "Repeat(count=2, actions=()): nothing to repeat"),
    ],
)
def test_what_nobody_could_do_is_refused_in_python_too(make: Callable[[], Action], message: str) -> None:
    with pytest.raises(DatasheetError) as error:
        make()
    assert str(error.value).startswith(message)


def test_as_many_actions_as_are_allowed_and_one_more() -> None:
    """A repeat is an action too, beside those that it stands for."""
    inner = (MOST_ACTIONS - 5) // 5
    five = "set i0=1; set i0=0; enable; set i1=1; disable"
    most = ["enable", "disable", f"repeat {inner} ({five})", "enable", "disable"]
    assert 3 + 5 * inner + 2 == MOST_ACTIONS and len(parse(most)) == 5
    with pytest.raises(
        DatasheetError, match=f"comes to 0 steps and frames, {MOST_ACTIONS + 1} actions and 0 s"
    ):
        parse([*most, "enable"])


def test_the_largest_strap_code_has_32_bits() -> None:
    assert parse([f"strap {2**32 - 1}"]) == (Strap(2**32 - 1),)
    with pytest.raises(DatasheetError, match=f"no whole number from 0 to {2**32 - 1}"):
        parse([f"strap {2**32}"])


@pytest.mark.parametrize("verb", VERBS)
def test_an_action_wants_as_many_words_as_its_form_shows(verb: str) -> None:
    """By itself each action stands or is refused with its form, and with more words than any may have it is refused."""
    alone = ("enable", "disable", "restart")
    if verb in alone:
        assert len(parse([verb])) == 1
    for text in (verb, " ".join([verb, *["i2=1"] * 10])):
        if text not in alone and verb != "play":
            with pytest.raises(DatasheetError, match=f"write {verb}"):
                parse([text])
