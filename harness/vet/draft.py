"""Starts a contribution: a folder with a datasheet and a source that runs, and marks where its author must write."""

from __future__ import annotations

import keyword
import re
import secrets
from pathlib import Path

from forelight.designs.datasheet import DATASHEET_FILE
from forelight.designs.toml_file import quoted
from forelight.sim.errors import UsageError
from forelight.sim.files import unfinished

from .sheet import MARK

#: The words that Verilog keeps for itself and that look like a name (IEEE 1364-2005, annex B).
_VERILOG_WORDS = """
always and assign automatic begin buf bufif0 bufif1 case casex casez cell cmos config deassign default
defparam design disable edge else end endcase endconfig endfunction endgenerate endmodule endprimitive
endspecify endtable endtask event for force forever fork function generate genvar highz0 highz1 if ifnone
incdir include initial inout input instance integer join large liblist library localparam macromodule medium
module nand negedge nmos nor noshowcancelled not notif0 notif1 or output parameter pmos posedge primitive
pull0 pull1 pulldown pullup pulsestyle_onevent pulsestyle_ondetect rcmos real realtime reg release repeat
rnmos rpmos rtran rtranif0 rtranif1 scalared showcancelled signed small specify specparam strong0 strong1
supply0 supply1 table task time tran tranif0 tranif1 tri tri0 tri1 triand trior trireg unsigned use uwire
vectored wait wand weak0 weak1 while wire wor xnor xor
"""

_DATASHEET = f"""\
title = "{MARK}: what it is, in a few words"
creator = "{MARK}: who made it"
license = "{MARK}: under which licence others may use it, such as MIT"
description = "{MARK}: what it shows, how to drive it, and what cannot be predicted of it"
{{source}}

[step]
line = "i7"
wanted_hz = 2                # {MARK}: the step rate that suits eye, ear or probe, then delete this remark

[restart]
line = "i6"
active = "high"

[lines]                      # every input that the design uses, and what its outputs mean
i0 = {{{{ means = "{MARK}: what it does while it is 1", idle = 0 }}}}
o0 = {{{{ means = "{MARK}: what it says" }}}}

[[run]]
name = "first look"
do = ["restart", "steps 20", "set i0=1", "steps 4", "set i0=0", "steps 4"]
expect = "{MARK}: what a person should see"
"""

_AMARANTH = f'''\
"""{MARK}: what it is, in one line."""

from amaranth.hdl import Module, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out


class {{top}}(wiring.Component):
    """A start: counts the steps while i0 is 0. The restart line sets every register to its `init` by itself."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform):
        m = Module()
        hold = self.inputs[0]
        count = Signal(8)
        with m.If(~hold):
            m.d.sync += count.eq(count + 1)
        m.d.comb += self.outputs.eq(count)
        return m
'''

_VERILOG = f"""\
// {MARK}: what it is, in one line.
// A start: counts the steps while i0 is 0.
module {{top}} (
    input  [7:0] inputs,
    output [7:0] outputs
);
    wire step    = inputs[7];
    wire restart = inputs[6];
    wire hold    = inputs[0];

    reg [7:0] count;
    always @(posedge step)
        if (restart) count <= 8'd0;
        else if (!hold) count <= count + 8'd1;

    assign outputs = count;
endmodule
"""


def draft(name: str, language: str, parent: Path) -> Path:
    """Make the folder `name` in `parent`. It passes `vet` once its marks are filled in.

    Raises UsageError for a name that cannot be one, or a folder that is there already; then nothing is written.
    """
    _check_name(name, language)
    if not parent.is_dir():
        raise UsageError("there is no such folder", place=str(parent), remedy="make it, or give another")
    folder = parent / name
    if folder.exists() or folder.is_symlink():
        raise UsageError("is there already", place=str(folder), remedy="choose another name, or move it away")
    if language == "amaranth":
        top = "".join(word.capitalize() for word in name.split("_"))
        files = {"design.py": _AMARANTH.format(top=top)}
        source = f'source = "design.py:{top}"'
    else:
        files = {"design.v": _VERILOG.format(top=name)}
        source = f'source = ["design.v"]\nmodule = "{name}"'
    files[DATASHEET_FILE] = _DATASHEET.format(source=source)
    _write(folder, files)
    return folder


def _check_name(name: str, language: str) -> None:
    if not re.fullmatch(r"[a-z][a-z0-9]*(_[a-z0-9]+)*", name) or len(name) > 40:
        raise UsageError(
            f"{quoted(name)} cannot be the name of a design",
            remedy="use up to 40 small letters, digits and single underscores, a letter first: tide_clock",
        )
    taken = _VERILOG_WORDS.split() if language == "verilog" else keyword.kwlist
    if name in taken:
        raise UsageError(f"{quoted(name)} is a word of {language} itself", remedy="choose another name")


def _write(folder: Path, files: dict[str, str]) -> None:
    """All files or none."""
    try:
        with unfinished(folder.with_name(f".{folder.name}.{secrets.token_hex(6)}")) as made:
            made.mkdir()
            for name, text in files.items():
                (made / name).write_text(text, encoding="utf-8")
            made.rename(folder)
    except OSError as error:
        raise UsageError(f"cannot be written: {error.strerror}", place=str(folder)) from None
