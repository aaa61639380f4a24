"""RTLIL that cannot be read or whose constructs are refused: each message whole."""

from __future__ import annotations

from textwrap import dedent

import pytest
from forelight.sim.errors import ForelightError, RtlilError, UnsupportedError
from forelight.sim.rtlil.reader import parse

HEAD = "module \\t\n  wire input 1 \\a\n  wire width 4 input 2 \\b\n  wire output 3 \\y\n"


def refused(text: str, kind: type[ForelightError], *modules: str, top: str | None = None) -> str:
    with pytest.raises(ForelightError) as caught:
        parse(text, modules, top)
    assert type(caught.value) is kind
    return str(caught.value)


def in_module(body: str, kind: type[ForelightError] = RtlilError) -> str:
    """The error for a module with input `a`, input `b` of four bits, output `y`, and more from line 5 on."""
    return refused(HEAD + dedent(body).strip("\n") + "\nend\n", kind)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "the text holds no module; is this RTLIL text?"),
        ("garbage here\n", "RTLIL line 1: `garbage here` outside a module; expected `module`"),
        ("\nmodule \\t\n", "RTLIL line 3: the text ends inside module t; is it cut off?"),
        ("module\n", "RTLIL line 1: cannot read `module`"),
        ("module \\t\nend\nmodule \\t\nend\n", "RTLIL line 3: module t is there twice"),
        ("module \\t\nend\nmodule \\u\nend\n", "which module is the top?; name one of t, u"),
        (
            "module \\t\n  wibble \\x\nend\n",
            "RTLIL line 2: `wibble` in module t; expected wire, memory, cell, process, connect or end",
        ),
        ("module \\t\n  wire width many \\x\nend\n", "RTLIL line 2: cannot read `wire width many \\x`"),
        (
            "module \\t\n  wire tall \\x\nend\n",
            "RTLIL line 2: wire x has the option `tall`; is this RTLIL text?",
        ),
        ("module \\t\n  wire \\x\n  wire \\x\nend\n", "RTLIL line 3: wire x is declared twice"),
    ],
)
def test_text(text: str, message: str) -> None:
    assert refused(text, RtlilError) == message


def test_no_such_top() -> None:
    assert refused("module \\t\nend\n", RtlilError, top="u") == "there is no module u; the text holds t"


@pytest.mark.parametrize(
    ("signal", "message"),
    [
        ("\\z", "wire z is not declared in module t"),
        ("\\b [4]", "slice [4] in `\\y \\b [4]` is out of range"),
        ("\\b [2:3]", "slice [2:3] in `\\y \\b [2:3]` is out of range"),
        ("{ \\a", "`{` without `}` in `\\y { \\a`"),
        ("}", "`}` without `{` in `\\y }`"),
        ("?", "cannot read `?` as a signal"),
        ("\\b", "`connect \\y \\b` joins signals of 1 and 4 bits; expected two of one width"),
        ("\\a \\a", "`connect \\y \\a \\a` joins signals of 1 and 1 and 1 bits; expected two of one width"),
        ("", "`connect \\y` joins signals of 1 bits; expected two of one width"),
    ],
)
def test_signals(signal: str, message: str) -> None:
    assert in_module(f"connect \\y {signal}") == f"RTLIL line 5: {message}"


@pytest.mark.parametrize(
    ("body", "message"),
    [
        (
            "cell $not $n\n  connect \\A \\a\n",
            "RTLIL line 8: the text ends inside module t; is it cut off?",
        ),
        (
            "cell $not $n\n  wire \\x\nend",
            "RTLIL line 6: `wire` in cell $n; expected parameter, connect or end",
        ),
        ("cell $not $n\n  connect \\A \\a \\b\nend", "RTLIL line 6: `\\a \\b` is not one signal"),
        ("cell $not $n\n  connect \\A \\a\nend", "RTLIL line 5: cell $not $n has no parameter WIDTH"),
        (
            "cell $buf $n\n  parameter \\WIDTH 1\n  connect \\A \\a\nend",
            "RTLIL line 5: cell $buf $n has no port Y",
        ),
        (
            "cell $pmux $n\n  parameter \\WIDTH 1\n  parameter \\S_WIDTH 2\n  connect \\A \\a\n"
            "  connect \\B \\b\n  connect \\S \\b [1:0]\n  connect \\Y \\y\nend",
            "RTLIL line 5: cell $pmux $n has 4 bits on port B, not 2",
        ),
        (
            "cell $not $n\n  parameter \\A_WIDTH 4\n  parameter \\Y_WIDTH 4\n  connect \\A \\b\n"
            "  connect \\Y \\y\nend",
            "RTLIL line 5: cell $not $n has 1 bits on port Y, not 4",
        ),
        (
            "cell $not $n\n  parameter \\A_WIDTH 2\n  parameter \\Y_WIDTH 1\n  connect \\A \\b\n  connect \\Y \\y\nend",
            "RTLIL line 5: cell $not $n has 4 bits on port A, not 2",
        ),
        (
            'attribute \\src "t.v:8"\ncell $dff \\q\n  parameter \\WIDTH 1\n  connect \\CLK \\a\n  connect \\D \\b\n'
            "  connect \\Q \\y\nend",
            "t.v:8: cell $dff q has 4 bits on port D, not 1",
        ),
        ("cell $memrd_v2 $m\nend", "RTLIL line 5: cell $memrd_v2 $m: parameter MEMID is not a string"),
        (
            'cell $memrd_v2 $m\n  parameter \\MEMID "\\\\mem"\nend',
            "RTLIL line 5: cell $memrd_v2 $m names memory mem, which is not declared",
        ),
        (
            'memory width 4 size 4 \\mem\ncell $meminit_v2 $m\n  parameter \\MEMID "\\\\mem"\nend',
            "RTLIL line 6: cell $meminit_v2 $m has no parameter WORDS",
        ),
    ],
)
def test_cells(body: str, message: str) -> None:
    assert in_module(body) == message


def test_a_cut_cell() -> None:
    text = HEAD + "cell $not $n\n"
    assert refused(text, RtlilError) == "RTLIL line 6: the text ends inside cell $n; is it cut off?"


@pytest.mark.parametrize(
    ("cell", "remedy"),
    [
        ("$ff", "it is for formal proofs; leave it out of a simulation"),
        ("$anyinit", "it is for formal proofs; leave it out of a simulation"),
        ("$_FF_", "it is for formal proofs; leave it out of a simulation"),
        ("$specify2", "it states delays; leave it out"),
        ("$fsm", "run Yosys' `fsm_map` on it"),
        ("$specrule", "it states delays; leave it out"),
        ("$no_such_cell", "let Yosys turn it into simpler cells"),
        ("$_DFF_Q_", "let Yosys turn it into simpler cells"),
    ],
)
def test_refused_cells(cell: str, remedy: str) -> None:
    text = f'attribute \\src "t.v:3.1-3.9"\ncell {cell} \\u\n  connect \\Y \\y\nend'
    assert in_module(text, UnsupportedError) == f"t.v:3.1-3.9: cell {cell} u is not supported; {remedy}"


@pytest.mark.parametrize("rule", ["posedge \\a", "always", "init"])
def test_sync_rules(rule: str) -> None:
    text = f"process $p\n  assign \\y \\a\n  sync {rule}\n    update \\y \\a\nend"
    ending = f"process $p has `sync {rule}` (RTLIL line 7); run Yosys' `proc` on it first"
    assert in_module(text, UnsupportedError) == f"RTLIL line 5: {ending}"
    assert in_module('attribute \\src "t.v:3"\n' + text, UnsupportedError) == "t.v:3: " + ending.replace(
        "7)", "8)"
    )


@pytest.mark.parametrize(
    ("body", "kind", "message"),
    [
        (
            "switch \\a\n  case 1'1\nend\nassign \\y \\a",
            UnsupportedError,
            "RTLIL line 9: process $p assigns after a switch in the same body; "
            "Yosys would move it up; write `switch { }` and `case` around it",
        ),
        (
            "switch \\b\n  case \\a\nend",
            UnsupportedError,
            "RTLIL line 7: case \\a is not a constant; run Yosys' `proc` on it first",
        ),
        (
            "switch \\b\n  case 3'1-1, 4'1111\n  assign \\y \\a\nend",
            RtlilError,
            "t.v:5: process $p: case 1-1, 1111 of a switch over 4 bits; "
            "patterns are as wide as what they are compared with",
        ),
        ("case 1'1", RtlilError, "RTLIL line 6: `case` in process $p; expected assign, switch, case or end"),
        (
            "switch \\a\n  assign \\y \\a\nend",
            RtlilError,
            "RTLIL line 7: `assign` in process $p; expected assign, switch, case or end",
        ),
        (
            "assign \\y \\b",
            RtlilError,
            "RTLIL line 6: `assign \\y \\b` joins signals of 1 and 4 bits; expected two of one width",
        ),
        ("switch \\a \\b\nend", RtlilError, "RTLIL line 6: `\\a \\b` is not one signal"),
    ],
)
def test_processes(body: str, kind: type[ForelightError], message: str) -> None:
    place = 'attribute \\src "t.v:5"\n' if message.startswith("t.v") else ""
    assert in_module(f"{place}process $p\n{body}\nend", kind) == message


def test_a_cut_process() -> None:
    text = HEAD + "process $p\nswitch \\a\n"
    assert refused(text, RtlilError) == "RTLIL line 7: the text ends inside process $p; is it cut off?"


_MANY = "cell {} u adds more terms than its ports have bits"
_SUM = "cell {} \\u\n{}\n  connect \\A \\a\n  connect \\B \\a\n  connect \\C \\a\n  connect \\Y \\y\nend"
_ONE_PRODUCT = "NPRODUCTS=1 NADDENDS=0 A_WIDTHS=3 B_WIDTHS=1 C_WIDTHS=0 Y_WIDTH=1"


@pytest.mark.parametrize(
    ("kind", "params", "message"),
    [
        ("$macc", "CONFIG=12'001000010001 CONFIG_WIDTH=1000000", _MANY.format("$macc")),
        ("$macc_v2", "NPRODUCTS=1000000000 NADDENDS=0", _MANY.format("$macc_v2")),
        ("$macc_v2", _ONE_PRODUCT, "cell $macc_v2 u has 1 bits on port A, not 3"),
    ],
)
def test_sums_that_do_not_fit_their_ports(kind: str, params: str, message: str) -> None:
    lines = [f"  parameter \\{param.replace('=', ' ')}" for param in params.split()]
    assert message in in_module(_SUM.format(kind, "\n".join(lines)))
