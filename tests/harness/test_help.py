"""The examples at the end of each command's help run as they stand, one after another."""

from __future__ import annotations

import shlex
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
from click.testing import CliRunner
from forelight.harness.cli import EXAMPLES, cli

from tests.sizes import sized

#: Commands whose examples take long, since they are about every slot.
LONG = {"wall"}


def commands(group: click.Group, before: str = "") -> Iterator[tuple[str, click.Command]]:
    for name, command in group.commands.items():
        yield f"{before}{name}", command
        if isinstance(command, click.Group):
            yield from commands(command, f"{before}{name} ")


def test_every_command_has_examples_and_says_what_a_procedure_is() -> None:
    found = dict(commands(cli))
    assert set(EXAMPLES) == set(found)
    for name, command in found.items():
        told = CliRunner().invoke(cli, [*name.split(), "--help"], prog_name="forelight").output
        assert "Examples:\n" in told, name
        if any(option.name == "procedure" for option in command.params):
            assert 'do = ["restart", "steps 40"]' in " ".join(told.split()), name


def test_every_example_runs_and_stands_in_the_help(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for name, examples in EXAMPLES.items():
        if name in sized(LONG, set()):
            continue
        shown = CliRunner().invoke(cli, [*name.split(), "--help"], prog_name="forelight").output
        assert len(examples) >= 2
        for example in examples:
            assert f"  {example}\n" in shown
            done = CliRunner().invoke(cli, shlex.split(example)[1:], prog_name="forelight")
            assert done.exit_code == 0, f"{example}: {done.output}"
