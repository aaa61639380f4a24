"""The README: its commands, its outputs and its code are those of the program.

`python tests/test_readme.py` writes the outputs into README.md anew.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import shlex
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from click.testing import CliRunner
from forelight.harness.cli import cli

README = Path(__file__).resolve().parent.parent / "README.md"
BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
#: Blocks of these kinds are files; the last word in backticks before them is the file's name.
FILES = ("csv", "verilog", "toml")


@dataclass(frozen=True)
class Block:
    kind: str
    body: str
    before: str  # the text between the block before and this one


def blocks(text: str) -> Iterator[Block]:
    end = 0
    for match in BLOCK.finditer(text):
        yield Block(match[1], match[2], text[end : match.start()])
        end = match.end()


def console(body: str) -> str:
    """The block with its command run anew."""
    command = body.splitlines()[0]
    assert command.startswith("$ forelight ")
    result = CliRunner(env={"COLUMNS": "80"}).invoke(cli, shlex.split(command)[2:], prog_name="forelight")
    assert result.exit_code in (0, 1), result.output
    return f"{command}\n{result.output}"


def python(body: str) -> str:
    """What the code prints."""
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        exec(compile(body, "README.md", "exec"), {})
    return printed.getvalue()


def anew(text: str, folder: Path) -> str:
    """The README with every output made again, in a folder for the files that it mentions."""
    before = Path.cwd()
    os.chdir(folder)
    try:
        printed = ""
        for block in blocks(text):
            new = block.body
            if block.kind in FILES:
                Path(re.findall(r"`([\w.]+)`", block.before)[-1]).write_text(block.body)
            elif block.kind == "console":
                new = console(block.body)
            elif block.kind == "python":
                printed = python(block.body)
            elif block.kind == "text":
                new = printed
            text = text.replace(f"```{block.kind}\n{block.body}```", f"```{block.kind}\n{new}```")
        return text
    finally:
        os.chdir(before)


def test_the_first_two_commands_set_up_and_test() -> None:
    first, second, *_ = blocks(README.read_text("utf-8"))
    assert (first.kind, second.kind) == ("sh", "sh")
    assert first.body == (
        'python3 -m venv .venv && .venv/bin/pip install -e ".[test]" && .venv/bin/forelight show tide_gauge\n'
    )
    assert second.body == ".venv/bin/python -m pytest -n 2\n"


def test_every_output_is_what_the_program_prints(tmp_path: Path) -> None:
    text = README.read_text("utf-8")
    kinds = [block.kind for block in blocks(text)]
    assert kinds.count("console") >= 4
    assert kinds.count("python") == kinds.count("text")
    assert anew(text, tmp_path) == text, "run: python tests/test_readme.py"


def test_the_datasheet_is_a_valid_one(tmp_path: Path) -> None:
    found = {block.kind: block.body for block in blocks(README.read_text("utf-8"))}
    (tmp_path / "blink.v").write_text(found["verilog"])
    (tmp_path / "datasheet.toml").write_text(found["toml"])
    result = CliRunner().invoke(cli, ["show", str(tmp_path), "--run", "three times"])
    assert result.exit_code == 0, result.output
    assert "o0    a              6" in result.output  # three times on and off


def test_the_licence_stands_at_the_end() -> None:
    text = README.read_text("utf-8")
    assert (
        "\n## Licence\n\nMIT License\n\nCopyright (c) the Forelight contributors\n\nPermission is hereby"
        in text
    )
    assert text.endswith("THE USE OR OTHER DEALINGS IN THE SOFTWARE.\n")


@pytest.mark.parametrize("name", sorted(cli.commands))
def test_every_command_is_mentioned(name: str) -> None:
    assert f"forelight {name}" in README.read_text("utf-8")


if __name__ == "__main__":
    sys.stdout.reconfigure(encoding="utf-8")  # type: ignore[union-attr]
    with tempfile.TemporaryDirectory() as folder:
        README.write_text(anew(README.read_text("utf-8"), Path(folder)), "utf-8")
