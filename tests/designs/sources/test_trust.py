"""Python contributions: refused until someone agrees, then run in a process of their own under limits."""

from __future__ import annotations

from pathlib import Path
from textwrap import dedent

import pytest
from click.testing import CliRunner
from forelight.designs import read
from forelight.designs.catalogue import load_design
from forelight.designs.sheets.bare import bare
from forelight.designs.sources import child_process
from forelight.designs.sources.confinement import landlock_version
from forelight.designs.sources.python_apart import rtlil_apart
from forelight.designs.sources.python_source import amaranth_rtlil, component
from forelight.designs.sources.trust import APART, HERE, REFUSED, TRUST, Trust, runs_apart
from forelight.harness.chip.netlist import wrapper_netlist
from forelight.harness.cli import cli
from forelight.sim.errors import SourceError, UsageError

LAMP = """\
from pathlib import Path

from amaranth.hdl import *
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

{first}

class Lamp(wiring.Component):
    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform):
        m = Module()
        count = Signal(8, init=5)
        m.d.sync += count.eq(count + self.inputs)
        m.d.comb += self.outputs.eq(count ^ 0x55)
        {inside}
        return m
"""
PYTHON_ERROR = "lamp.py: a design in Python is a program, and reading it runs it"


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def write(first: str = "", inside: str = "") -> Path:
    path = Path("lamp.py")
    path.write_text(LAMP.format(first=dedent(first), inside=inside))
    return path


def test_apart_reads_what_here_reads() -> None:
    path = write()
    assert rtlil_apart(path) == rtlil_apart(path, "Lamp") == amaranth_rtlil(component(path))
    sheet = bare(path, None, "i7", "i6")
    here = wrapper_netlist(sheet)
    token = TRUST.set(Trust(APART))
    try:
        apart = wrapper_netlist(sheet)
        assert str(read(path)) == str(read("lamp.py:Lamp"))
    finally:
        TRUST.reset(token)
    # The one names its register by the wire that shows it first.
    assert str(apart) == str(here).replace("wrapper.design.outputs", "wrapper.design.count")


def test_who_runs_where() -> None:
    path = write()
    own = load_design("lighthouse")
    for policy, expected in ((HERE, False), (APART, True)):
        token = TRUST.set(Trust(policy))
        assert runs_apart(path) is expected
        assert not runs_apart(own.folder / own.sources[0])
        TRUST.reset(token)
    token = TRUST.set(Trust(REFUSED))
    with pytest.raises(UsageError, match="say --trust") as caught:
        runs_apart(path)
    assert str(caught.value).startswith(PYTHON_ERROR)
    TRUST.reset(token)


def test_the_commands_ask_first() -> None:
    write(first='Path("ran").write_text("")')
    for command in ("show", "golden"):
        result = CliRunner().invoke(cli, [command, "lamp.py", "--seconds", "0.1"])
        assert result.exit_code == 2 and result.stderr.startswith(f"forelight: {PYTHON_ERROR}")
    assert not Path("ran").exists()
    write()
    result = CliRunner().invoke(cli, ["golden", "lamp.py", "--seconds", "0.1", "--trust"])
    assert result.exit_code == 0 and result.stdout.startswith("time_s,step,")
    assert TRUST.get(Trust()) == Trust(), "what was agreed ends with the command"


def test_a_board_brings_no_program_in(folder: Path) -> None:
    """The slot of someone's profile may hold Python too."""
    write()
    Path("pier.toml").write_text(
        'title = "Pier"\nlink = "chain"\noscillator_hz = 1_000_000\nslot_count = 2\n'
        '[chain]\npositions = 2\nticks_per_bit = 2\n[step]\nline = "i7"\nlaw = "counter"\n'
        '[slots]\n0 = "lighthouse"\n1 = "lamp.py"\n'
    )
    result = CliRunner().invoke(cli, ["show", "1", "--board", "pier.toml"])
    assert result.exit_code == 2 and "lamp.py: a design in Python is a program" in result.stderr


@pytest.mark.skipif(not landlock_version(), reason="this system has no Landlock")
@pytest.mark.parametrize(
    "attempt",
    ['Path("written").write_text("")', 'import subprocess; subprocess.run(["/bin/true"])'],
)
@pytest.mark.parametrize("where", ["first", "inside"])
def test_what_it_cannot_do(attempt: str, where: str) -> None:
    write(**{where: attempt})
    with pytest.raises(SourceError, match=r"lamp\.py:\d+: .*(PermissionError|Errno 13|Errno 1\b)"):
        rtlil_apart(Path("lamp.py"))
    assert [path.name for path in Path().iterdir()] == ["lamp.py"]


@pytest.mark.slow
def test_limits(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setenv("FORELIGHT_SECONDS", "3")
    path = write(first="while True: pass")
    with pytest.raises(
        SourceError,
        match=r"^lamp\.py: the source did not finish within 3 s; simplify .*FORELIGHT_SECONDS higher$",
    ):
        rtlil_apart(path)
    write(inside="b = bytearray(2**40)")
    with pytest.raises(SourceError, match=r"lamp\.py:18: Lamp\.elaborate\(\) fails: MemoryError$"):
        rtlil_apart(path)
    write(first='import os; os.write(1, b"noise"); print("more"); raise SystemExit(3)')
    with pytest.raises(SourceError, match=r"^lamp\.py:7: the file fails: SystemExit: 3"):
        rtlil_apart(path)
    assert "noisemore" in capfd.readouterr().err.replace("\n", "")
    write(first="import os; os._exit(7)")
    with pytest.raises(SourceError, match="ended its process with code 7"):
        rtlil_apart(path)
    monkeypatch.setattr(child_process, "BYTES_WRITTEN", 1000)
    write()
    with pytest.raises(SourceError, match="writes more than 0 MiB"):
        rtlil_apart(path)
