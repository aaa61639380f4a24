"""Answers in JSON: what every command really answers, judged by a JSON Schema reader from outside."""

from __future__ import annotations

import json
import shlex
from functools import cache
from pathlib import Path

import pytest
from click.testing import CliRunner
from forelight.harness.cli import COMMANDS, EXAMPLES, cli
from forelight.harness.terminal.answers import ANSWERS, KEYS, OBJECTS, VERSION, always, kind, schema
from jsonschema import Draft202012Validator

#: Each kind of answer that there is, in an order in which a later one may read what an earlier one wrote.
ORDERS = (
    "golden tide_gauge -o tide.csv",
    "golden gated_clock -o gate.vcd --coverage --improve more.toml",
    "slots tide",
    "slots no_such_word",
    "show tide_gauge --seconds 3",
    "show 4",
    "show chart_reader --seconds 1",
    "show ferry_whistle --seconds 1",
    "show weather_report --watch bit --seconds 1",
    "show inverter_ring --gate-delay 0.1ns..2ns",
    "show nor_latch",
    "show free_counter --seconds 3",
    "show tide_gauge --why o3 --step 4",
    "check tide_gauge tide.csv --survey quay.survey --keep",
    "check hex_segments eye.csv",
    "count tide_gauge --loops 6 --seconds 53",
    "strap --hz 50",
    "card sluice_code",
    "listen ferry_whistle --seconds 1 -o whistle.wav",
    "lesson --progress",
    "vet tide_gauge",
    "draft night_light --language verilog",
    "draft --keys",
    "survey quay.survey",
    "survey quay.survey tide_gauge",
    "survey next quay.survey --tries 2",
    "survey report quay.survey",
    "survey again quay.survey",
    "survey withdraw quay.survey tide_gauge",
    "survey merge friends.survey quay.survey",
)
#: Those about all slots of a chip, or about many causes.
WHOLE = (
    "check dice eye.csv",
    "check tide_gauge --exercise 7 --answer 'restart held'",
    "wall --board mole --seconds 1",
    "card --all --board mole",
    "check --any --board mole eye.csv",
    "golden --all",
    "check tide_gauge --exercise 7 -o what.csv",
)
WRONG = ("show no_such_design", "strap", "show tide_gauge --nn")


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    Path("eye.csv").write_text("step,shown\n3,3.\n4,5.\n5,4.\n6,6.\n7,7.\n8,8.\n")
    return tmp_path


def asked(order: str) -> object:
    done = CliRunner().invoke(cli, [*shlex.split(order), "--json"], prog_name="forelight")
    try:
        return json.loads(done.stdout)
    except json.JSONDecodeError:
        raise AssertionError(f"{order}: {done.output[:200]}") from None


@cache
def judge(command: str) -> Draft202012Validator:
    """A reader from outside, whose own test of a schema takes longer than most commands."""
    return Draft202012Validator(schema(command))


@pytest.mark.slow
def test_what_the_commands_answer_fits_the_schema(here: Path) -> None:
    Draft202012Validator.check_schema(schema())
    told = set()
    for order in ORDERS:
        command = order.split()[0]
        judge(command).validate(asked(order))
        told.add(command)
    assert told == set(COMMANDS) - {"wall"}  # which is about a whole chip


@pytest.mark.slow
@pytest.mark.parametrize("order", WHOLE)
def test_answers_that_take_longer_fit_it_too(order: str, here: Path) -> None:
    judge(order.split(maxsplit=1)[0]).validate(asked(order))


def test_errors_fit_it_too(here: Path) -> None:
    for order in WRONG:
        answer = asked(order)
        assert isinstance(answer, dict) and set(answer) == {"schema", "error"}
        assert set(answer["error"]) == {"what", "place", "remedy", "exit_code"}
        judge(order.split()[0]).validate(answer)


def test_what_does_not_belong_there_is_found() -> None:
    code = {"strap_code": 1, "hz": 2.0, "error_percent": None, "switches": {"i0": 1}}
    good = {"schema": VERSION, "board": "quay", "wanted_hz": 50.0, "codes": [code]}
    assert judge("strap").is_valid(good)
    for wrong in (
        {**good, "bord": "quay"},
        {**good, "wanted_hz": "50"},
        {**good, "codes": [{"code": 1}]},
        {**good, "codes": [code | {"hz": "2"}]},
        {**good, "codes": ["1"]},
        {**good, "codes": [{key: value for key, value in code.items() if key != "switches"}]},
        {**good, "codes": [code | {"switches": {"i0": "up"}}]},
        {key: value for key, value in good.items() if key != "schema"},
        {key: value for key, value in good.items() if key != "codes"},
    ):
        assert not judge("strap").is_valid(wrong), wrong


def test_the_table_names_every_command_and_only_known_keys() -> None:
    assert set(ANSWERS) == set(COMMANDS)
    assert {key for command in ANSWERS for _, keys in always(command) for key in keys} <= set(KEYS)
    own = {command for command in EXAMPLES if command not in {"answers", "panel"} and " " not in command}
    assert own == set(COMMANDS)


def test_a_key_holds_one_kind_of_value() -> None:
    """Beside null: whoever reads an answer need not ask what came, in a list either."""
    for key, (types, means) in KEYS.items():
        head, _, inside = types.partition(":")
        assert len(head.removesuffix("-")) == 1, key
        assert bool(inside) == (head[0] in "lm"), key
        assert means, key
    assert kind("code_ranges") == "array of array of number"
    assert kind("brightness") == "array of number or null"
    assert kind("slots") == "array of object"


def test_the_table_says_what_is_in_every_object() -> None:
    """Of each key that holds objects, itself, in a list or under names, and of no other."""
    holders = {key for key, (types, _) in KEYS.items() if types.removesuffix("-").endswith("o")}
    assert holders == set(OBJECTS)
    for key, objects in OBJECTS.items():
        for which, keys in objects.items():
            assert set(keys.split()) <= set(KEYS), (key, which)


def test_each_answer_has_all_that_is_promised_of_it() -> None:
    """Every answer is known by its own keys; with one key less it is none, unless another has no more than those."""
    for command in ANSWERS:
        judge = Draft202012Validator(schema(command))
        for asked, keys in always(command):
            whole = {key: _some(key) for key in keys}
            assert judge.is_valid(whole), (command, asked)
            for key in keys:
                less = {other: value for other, value in whole.items() if other != key}
                another = any(less.keys() >= set(others) for _, others in always(command))
                assert judge.is_valid(less) == another, (command, asked, key)


def _some(key: str) -> object:
    """A value of the kind that a key holds."""
    if KEYS[key][0][0] == "o":
        return {inner: _some(inner) for inner in next(iter(OBJECTS[key].values())).split()}
    return {"s": "", "n": 0, "b": True, "l": [], "m": {}}[KEYS[key][0][0]]


def test_the_schema_is_printed(here: Path) -> None:
    assert asked("answers show") == schema("show")
    told = CliRunner(env={"COLUMNS": "100"}).invoke(cli, ["answers"]).output
    assert f"version {VERSION}" in told
    for line in (
        "strap_code the code that sets the step rate; null where none is set (number or null)",
        "an empty slot schema, board, slot, empty, output_levels, says",
        "strap_codes strap codes that fit (array of number)",
        "codes each: strap_code, hz, error_percent, switches",
        "causes of a level: name, kind, value, since_s, since_step, places, causes",
    ):
        assert line in " ".join(told.split())
