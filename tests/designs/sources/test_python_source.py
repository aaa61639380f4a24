"""Amaranth sources: the component of a file, and the messages when there is none."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from textwrap import dedent

import pytest
from forelight.designs import read
from forelight.designs.sources.python_source import amaranth_rtlil, component
from forelight.sim.errors import SourceError

HEAD = """\
from amaranth.hdl import *
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out


"""
LAMP = """\
class {name}(wiring.Component):
    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform):
        m = Module()
        count = Signal(8, init=5)
        m.d.sync += count.eq(count + self.inputs)
        m.d.comb += self.outputs.eq(count)
        return m
"""


def write(folder: Path, body: str, name: str = "lamp.py") -> Path:
    path = folder / name
    path.write_text(HEAD + dedent(body))
    return path


def lamp(name: str = "Lamp") -> str:
    return LAMP.replace("{name}", name)


LAMP_NETLIST = """\
netlist Lamp
input inputs v0:8
input clk v1:1
input rst v2:1
v3:9 = $add v4[0+:8] v0[0+:8] A_SIGNED=0 B_SIGNED=0
v5:8 = case v2[0+:1] 8'00000101 v3[0+:8] patterns=(('1',),)
v4:8 = register count rise v1[0+:1] takes v5[0+:8] init 8'00000101
output outputs v4[0+:8]
"""


def test_the_only_component(tmp_path: Path) -> None:
    path = write(tmp_path, lamp() + lamp("_Helper"))
    netlist = read(path)
    assert str(netlist) == str(read(f"{path}:Lamp")) == str(read(path, top="Lamp")) == LAMP_NETLIST
    assert {cell.src for cell in netlist.cells} == {"lamp.py:12", "lamp.py:13"}
    assert [file.name for file in tmp_path.rglob("*")] == ["lamp.py"]  # no bytecode


def test_rtlil_holds_no_path_of_this_machine(tmp_path: Path) -> None:
    inner = tmp_path / "parts"
    inner.mkdir()
    path = write(
        tmp_path,
        "import parts.glow\n"
        + lamp().replace("return m", "m.submodules += parts.glow.Glow()\n        return m"),
    )
    write(inner, lamp("Glow"), "glow.py")
    text = amaranth_rtlil(component(path), tmp_path)
    assert str(tmp_path) not in text and sys.prefix not in text
    assert 'attribute \\src "lamp.py:13"' in text
    assert 'attribute \\src "parts/glow.py:12"' in text
    assert 'attribute \\src "_ir.py:' in text  # a place in Amaranth itself
    assert "parts" not in sys.path and "parts.glow" in sys.modules


def test_files_beside_it_and_no_trace_of_them(tmp_path: Path) -> None:
    (tmp_path / "neighbour.py").write_text("STEP = 3\n")
    path = write(tmp_path, "from neighbour import STEP\n" + lamp().replace("+ self.inputs", "+ STEP"))
    before = list(sys.path)
    assert "$add v4[0+:8] 2'11" in str(read(path))
    assert sys.path == before and "neighbour" not in sys.modules


def test_what_a_design_prints_is_not_our_output(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    read(write(tmp_path, "print('hello')\n" + lamp()))
    assert capsys.readouterr() == ("", "hello\n")


def refused(path: Path, class_name: str | None = None) -> str:
    with pytest.raises(SourceError) as caught:
        amaranth_rtlil(component(path, class_name))
    return str(caught.value).replace(f"{path.parent}/", "")


def test_which_class(tmp_path: Path) -> None:
    path = write(tmp_path, lamp("Lamp") + lamp("Buoy"))
    assert refused(path) == "lamp.py: which component class is meant?; the file defines Lamp, Buoy"
    assert refused(path, "Bell") == "lamp.py: there is no component class Bell; the file defines Lamp, Buoy"
    assert (
        refused(path, "Module") == "lamp.py: there is no component class Module; the file defines Lamp, Buoy"
    )
    assert refused(write(tmp_path, "")) == "lamp.py: there is no component class; the file defines none"
    assert refused(tmp_path / "none.py") == "none.py: no such file; check the path"


@pytest.mark.parametrize(
    ("body", "message"),
    [
        ("1 / 0\n", "lamp.py:6: the file fails: ZeroDivisionError: division by zero"),
        ("import nowhere\n", "lamp.py:6: the file fails: ModuleNotFoundError: No module named 'nowhere'"),
        ("class (:\n", "lamp.py:6: the file fails: SyntaxError: invalid syntax"),
        ("raise SystemExit(3)\n", "lamp.py:6: the file fails: SystemExit: 3"),
        (
            lamp().replace("    inputs", "    def __init__(self, size): pass\n    inputs"),
            "lamp.py: Lamp() fails: TypeError: Lamp.__init__() missing 1 required positional argument: 'size'",
        ),
        (
            lamp().replace("count +", "county +"),
            "lamp.py:13: Lamp.elaborate() fails: NameError: name 'county' is not defined",
        ),
        (
            lamp().replace("m.d.comb", "m.d.sync").replace("m.d.sync += count", "m.d.comb += count"),
            "lamp.py: Lamp.elaborate() fails: CombinationalCycle: Combinational cycle detected, "
            "path: lamp.py:13: operator + bit 0 lamp.py:12: signal count bit 0",
        ),
        (
            lamp().replace("return m", 'raise ValueError("not\\n  today")'),
            "lamp.py:15: Lamp.elaborate() fails: ValueError: not today",
        ),
    ],
)
def test_a_design_that_fails(tmp_path: Path, body: str, message: str) -> None:
    assert refused(write(tmp_path, body)) == message


def test_a_failure_is_all_that_is_said(tmp_path: Path) -> None:
    """Amaranth would warn of the modules that the failure left unused."""
    path = write(tmp_path, lamp().replace("return m", "m.submodules.x = Module()\n        return undefined"))
    script = (
        "import sys\nfrom forelight.designs import read\n"
        "try:\n    read(sys.argv[1])\nexcept Exception as error:\n    print(error)"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, str(path)], capture_output=True, text=True, check=True
    )
    assert done.stdout.replace(f"{tmp_path}/", "") == (
        "lamp.py:16: Lamp.elaborate() fails: NameError: name 'undefined' is not defined\n"
    )
    assert done.stderr == ""
