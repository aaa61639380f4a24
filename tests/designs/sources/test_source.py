"""Reading a source in any of its forms: which reader it goes to, and the messages when it goes to none."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from textwrap import dedent

import pytest
from forelight.designs import read
from forelight.designs.sources import source
from forelight.sim.errors import ForelightError, RtlilError, SourceError

WIRE = "module \\{name}\n  wire input 1 \\a\n  wire output 2 \\y\n  connect \\y \\a\nend\n"
NETLIST = "netlist {name}\ninput a v0:1\noutput y v0[0+:1]\n"
VERILOG = "module {name}(input a, output y);\n  assign y = a;\nendmodule\n"


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("FORELIGHT_CACHE", str(tmp_path / "cache"))
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    return tmp_path / "here"


def write(path: str, text: str, name: str = "t") -> Path:
    """Write a file; `{name}` in its text becomes `name`."""
    file = Path(path)
    file.parent.mkdir(exist_ok=True)
    file.write_text(text.replace("{name}", name))
    return file


def test_rtlil_text() -> None:
    path = write("two.il", WIRE.replace("{name}", "t") + WIRE.replace("{name}", "u.v"))
    assert str(read("two.il:t")) == str(read(path, top="t")) == NETLIST.replace("{name}", "t")
    assert str(read("two.il:u.v")) == NETLIST.replace("{name}", "u.v")
    assert str(read([path], top="t")) == NETLIST.replace("{name}", "t")


def test_a_file_with_a_colon_in_its_name() -> None:
    write("odd.il:t", "not a source")
    write("odd.il", WIRE, name="t")
    with pytest.raises(SourceError, match=r"the ending `\.il:t` is not that of a source"):
        read("odd.il:t")
    assert read(write("odd:t.il", WIRE, name="t")).name == "t"


def test_a_folder_with_one_source() -> None:
    write("lamp/lamp.v", VERILOG, name="lamp")
    write("lamp/notes.txt", "")
    assert str(read("lamp")) == NETLIST.replace("{name}", "lamp")


def test_a_folder_with_a_datasheet() -> None:
    sheet = """
        title = "Lamp"
        license = "MIT"
        source = ["a.v", "b.v"]
        module = "b"
        [ports]
        a = "i0"
        y = "o0"
    """
    write("lamp/a.v", VERILOG, name="a")
    write("lamp/b.v", VERILOG, name="b")
    write("lamp/datasheet.toml", dedent(sheet))
    assert str(read("lamp")) == NETLIST.replace("{name}", "b")
    assert str(read("lamp", top="a")) == NETLIST.replace("{name}", "a")


def refused(*args: object, kind: type[ForelightError] = SourceError, **options: object) -> str:
    with pytest.raises(ForelightError) as caught:
        read(*args, **options)  # type: ignore[arg-type]
    assert type(caught.value) is kind
    return str(caught.value)


def test_what_is_no_source() -> None:
    write("a.txt", "")
    write("a.py", "")
    write("a.il", WIRE, name="t")
    write("a.v", VERILOG, name="t")
    write("two/a.v", "")
    write("two/b.sv", "")
    write("none/a.txt", "")
    allowed = "allowed: .py, .v, .sv, .il, or a folder with a datasheet.toml"
    assert refused("gone.v") == "gone.v: no such file; check the path"
    assert refused("gone.v:top") == "gone.v: no such file; check the path"
    assert refused("a.txt") == f"a.txt: the ending `.txt` is not that of a source; {allowed}"
    assert refused("none") == (
        "none: there is no datasheet.toml, and not one source but none; name one file, or write a datasheet"
    )
    assert refused("two") == (
        "two: there is no datasheet.toml, and not one source but a.v, b.sv; name one file, or write a datasheet"
    )
    assert refused([]) == "several sources must all be Verilog, not none; name one"
    assert refused(["a.v", "a.il"]) == "several sources must all be Verilog, not a.v, a.il; name one"
    for_verilog = "include and define are for Verilog; leave them out"
    assert refused("a.il", include=["."]) == f"a.il: {for_verilog}"
    assert refused("a.py", define={"A": 1}) == f"a.py: {for_verilog}"
    assert refused("a.py", sandbox=True) == (
        "a.py: a Python source cannot be read in a sandbox; read it only if you trust it"
    )


def test_rtlil_text_that_cannot_be_read() -> None:
    write("bad.il", "module \\t\n  wire \\x\n  connect \\x \\z\nend\n")
    message = "bad.il, RTLIL line 3: wire z is not declared in module t"
    assert refused("bad.il", kind=RtlilError) == message
    write("empty.il", "")
    assert refused("empty.il", kind=RtlilError) == "empty.il: the text holds no module; is this RTLIL text?"
    Path("binary.il").write_bytes(b"\xff\xfe")
    assert refused("binary.il").startswith("binary.il: cannot be read: 'utf-8' codec can't decode byte 0xff")


def test_readers_are_loaded_when_they_are_needed() -> None:
    script = (
        "import sys\nfrom forelight.designs.sources import source\n"
        "print('amaranth' in sys.modules, source.component)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.startswith("False <function component at ")
    with pytest.raises(
        AttributeError, match=r"module 'forelight\.designs\.sources\.source' has no attribute 'gone'"
    ):
        source.gone  # noqa: B018
