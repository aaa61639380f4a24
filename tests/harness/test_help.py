"""The examples at the end of each command's help run as they stand, one after another."""

from __future__ import annotations

import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner
from forelight.harness.cli import EXAMPLES, cli


def test_every_example_runs_and_stands_in_the_help(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for name, examples in EXAMPLES.items():
        shown = CliRunner().invoke(cli, [*name.split(), "--help"], prog_name="forelight").output
        assert len(examples) == 2
        for example in examples:
            assert f"  {example}\n" in shown
            done = CliRunner().invoke(cli, shlex.split(example)[1:], prog_name="forelight")
            assert done.exit_code == 0, f"{example}: {done.output}"
