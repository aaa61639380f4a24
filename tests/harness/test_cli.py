"""The command line as a whole: help, exit codes, errors without tracebacks, pipes and encodings."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from forelight.harness import ending as module
from forelight.harness.cli import cli
from forelight.sim.errors import UsageError


def ask(*arguments: str, **environment: str) -> Result:
    return CliRunner(env={"COLUMNS": "80", **environment}).invoke(cli, arguments)


def process(*arguments: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
    """The installed program in a process of its own, with its output through pipes."""
    command = [sys.executable, "-c", "from forelight.harness.cli import main; main()", *arguments]
    return subprocess.run(
        command, capture_output=True, env={**os.environ, **environment}, timeout=60, check=False
    )


def test_help_names_every_command() -> None:
    result = ask("--help")
    assert result.exit_code == 0
    listed = [line.split()[0] for line in result.output.partition("Commands:\n")[2].splitlines()]
    assert listed == sorted(cli.commands)
    for command in listed:
        assert ask(command, "-h").output.startswith(f"Usage: cli {command} ")


@pytest.mark.parametrize("columns", [40, 51, 80])
def test_help_fits_the_terminal(columns: int) -> None:
    for arguments in ([], ["show"], ["check"]):
        said = ask(*arguments, "--help", COLUMNS=str(columns)).output
        lines = said.partition("Examples:")[0].splitlines()  # a command is one line, to be copied
        assert max(map(len, lines)) <= columns


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys; from forelight.harness.cli import cli\n"
        "try: cli(['--help'])\n"
        "except SystemExit: pass\n"
        "print([name for name in ('numpy', 'rich', 'amaranth', 'llvmlite', 'pyosys') if name in sys.modules])"
    )
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert result.stdout.splitlines()[-1] == "[]"


def test_version() -> None:
    assert ask("--version").output == "forelight 0.1.0\n"


@pytest.mark.parametrize("arguments", [[], ["no such command"], ["slots", "--colour"], ["strap"]])
def test_wrong_use_is_2(arguments: list[str]) -> None:
    result = ask(*arguments)
    assert result.exit_code == 2
    assert "Usage: cli" in result.stderr
    assert "Traceback" not in result.output


def test_an_error_with_a_remedy_is_one_message_and_2(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*arguments: object) -> int:
        raise UsageError("the lamp is broken", place="lamp.toml:3", remedy="change the lamp")

    monkeypatch.setattr("forelight.harness.commands.slots.run", refuse)
    result = ask("slots")
    assert result.exit_code == 2
    assert result.stderr == "forelight: lamp.toml:3: the lamp is broken; change the lamp\n"
    assert result.stdout == ""


def break_slots(monkeypatch: pytest.MonkeyPatch, error: BaseException) -> None:
    def fail(*arguments: object) -> int:
        raise error

    monkeypatch.setattr("forelight.harness.commands.slots.run", fail)


def test_a_fault_is_4_and_says_how_to_report_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(module.TRACEBACK_VARIABLE, raising=False)
    break_slots(monkeypatch, ZeroDivisionError("division by zero"))
    result = ask("slots")
    assert result.exit_code == 4
    assert result.stderr == (
        "Forelight has failed: this is a fault of the program, not of what you asked. Please report it to those who "
        "keep your copy of Forelight, with the command as you typed it and the files that it reads. To have the "
        "details written to a file, set FORELIGHT_TRACEBACK=FILE and run it again. "
        "(ZeroDivisionError: division by zero)\n"
    )


def test_the_traceback_of_a_fault_goes_to_a_file(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    break_slots(monkeypatch, ZeroDivisionError("division by zero"))
    kept = tmp_path / "fault.txt"
    result = ask("slots", FORELIGHT_TRACEBACK=str(kept))
    assert result.exit_code == 4
    assert "Traceback" not in result.output
    assert f"The details are in {kept}: send them too." in result.stderr
    assert kept.read_text().startswith("Traceback (most recent call last):\n")
    elsewhere = tmp_path / "missing" / "fault.txt"
    result = ask("slots", FORELIGHT_TRACEBACK=str(elsewhere))
    assert result.exit_code == 4
    assert f"The details could not be written to {elsewhere}: No such file or directory." in result.stderr


def test_an_interruption_is_130(monkeypatch: pytest.MonkeyPatch) -> None:
    break_slots(monkeypatch, KeyboardInterrupt())
    result = ask("slots")
    assert result.exit_code == 130
    assert result.output.strip() == ""


@pytest.mark.parametrize("arguments", ["slots", "slots --json", "strap --hz 50", "--help"])
def test_a_closed_pipe_is_quiet(arguments: str) -> None:
    reader, writer = os.pipe()
    os.close(reader)
    command = [sys.executable, "-c", "from forelight.harness.cli import main; main()", *arguments.split()]
    try:
        result = subprocess.run(command, stdout=writer, stderr=subprocess.PIPE, timeout=60, check=False)
    finally:
        os.close(writer)
    assert result.stderr == b""
    assert result.returncode == 0


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp437", "utf-8"])
def test_any_encoding_of_the_output_will_do(encoding: str, tmp_path: Path) -> None:
    contribution = tmp_path / "m\u00f6we"
    contribution.mkdir()
    (contribution / "design.v").write_text(
        "module top(input [7:0] inputs, output [7:0] outputs); endmodule\n"
    )
    (contribution / "datasheet.toml").write_text(
        'title = "M\u00f6we \u2603"\nsource = ["design.v"]\nmodule = "top"\n', encoding="utf-8"
    )
    (tmp_path / "jetty.toml").write_text(
        'title = "Jetty"\nlink = "chain"\noscillator_hz = 1000\nslot_count = 1\n[chain]\npositions = 1\n'
        'ticks_per_bit = 1\n[step]\nline = "i7"\nlaw = "counter"\n[slots]\n0 = "m\u00f6we"\n',
        encoding="utf-8",
    )
    result = process("slots", "--board", str(tmp_path / "jetty.toml"), PYTHONIOENCODING=encoding)
    assert result.returncode == 0, result.stderr
    assert b"   0  " + "m\u00f6we".encode(encoding, "replace") in result.stdout
    assert "M\u00f6we \u2603".encode(encoding, "replace") in result.stdout
