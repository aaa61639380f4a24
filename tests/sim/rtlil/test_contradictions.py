"""RTLIL designs that contradict themselves, or lack something: each message whole."""

from __future__ import annotations

import pytest
from forelight.sim.errors import ForelightError, NetlistError, RtlilError, UnsupportedError

from .test_errors import HEAD, in_module, refused

NOT = """
    attribute \\src "t.v:{line}"
    cell $not \\{name}
      parameter \\A_WIDTH 1
      parameter \\Y_WIDTH 1
      connect \\A \\a
      connect \\Y {to}
    end
"""


def inverter(name: str, to: str = "\\y", line: int = 7) -> str:
    return NOT.replace("{name}", name).replace("{to}", to).replace("{line}", str(line))


REMEDY = "leave one (a tri-state bus is not supported)"


@pytest.mark.parametrize(
    ("body", "message"),
    [
        (
            inverter("first") + inverter("second", line=9),
            f"net y has two drivers: cell $not first (t.v:7) and cell $not second (t.v:9); {REMEDY}",
        ),
        (
            inverter("first") + "connect \\y 1'0",
            f"net y has two drivers: cell $not first (t.v:7) and the constant 0; {REMEDY}",
        ),
        (
            "connect \\y \\a\nconnect \\y \\b [2]",
            f"net y has two drivers: net a and net b; {REMEDY}",
        ),
        (
            'attribute \\src "t.v:3"\nwire width 3 \\w\nconnect \\y \\w [1]\nconnect \\y \\a',
            f"net y has two drivers: net w (t.v:3) and net a; {REMEDY}",
        ),
        (
            inverter("drives", "\\b [1]"),
            f"net b[1] has two drivers: input b and cell $not drives (t.v:7); {REMEDY}",
        ),
        (
            "process $p\nswitch \\a\ncase 1'1\nassign \\y \\b [0]\nend\nend\n" + inverter("n"),
            f"net y has two drivers: cell $not n (t.v:7) and process $p; {REMEDY}",
        ),
        (
            "process $p\nassign \\y \\a\nend\nprocess $q\nassign \\y \\a\nend",
            f"net y has two drivers: net a and net a; {REMEDY}",
        ),
        (inverter("n", "1'0"), "t.v:7: cell $not n (t.v:7) drives a constant; connect it to a wire"),
    ],
)
def test_two_drivers(body: str, message: str) -> None:
    assert in_module(body, NetlistError) == message


LEAF = "module \\leaf\n  wire input 1 \\i\n  wire width 2 output 2 \\o\n  wire \\w\nend\n"
USE = 'attribute \\src "t.v:4"\ncell \\leaf \\u\n  connect \\{port} {to}\nend'


def use(port: str, to: str = "\\a") -> str:
    return USE.replace("{port}", port).replace("{to}", to)


@pytest.mark.parametrize(
    ("body", "kind", "further", "message"),
    [
        (
            use("i"),
            NetlistError,
            "",
            "t.v:4: cell \\leaf u names module leaf, which is not there; add the text of that module",
        ),
        (use("x"), RtlilError, LEAF, "t.v:4: cell \\leaf u: module leaf has no port x"),
        (use("w"), RtlilError, LEAF, "t.v:4: cell \\leaf u: module leaf has no port w"),
        (use("i", "\\b"), RtlilError, LEAF, "t.v:4: cell \\leaf u has 4 bits on port i, not 1"),
        (
            use("i").replace("  connect", "  parameter \\W 3\n  connect"),
            UnsupportedError,
            LEAF,
            "t.v:4: cell \\leaf u sets parameter W of module leaf; "
            "that module has been read already; read it with this parameter",
        ),
        (
            use("i"),
            UnsupportedError,
            LEAF.replace("  wire \\w", '  attribute \\src "leaf.v:2"\n  wire inout 3 \\w'),
            "leaf.v:2: port w of module leaf is inout; use an input, an output and an enable",
        ),
        (
            use("i"),
            NetlistError,
            "attribute \\blackbox 1\n" + LEAF,
            "t.v:4: cell \\leaf u is a black box; add the text of that module",
        ),
        (
            use("i"),
            NetlistError,
            LEAF.replace("end\n", '  attribute \\src "leaf.v:2"\n  cell \\leaf \\again\n  end\nend\n'),
            "leaf.v:2: module leaf holds itself",
        ),
    ],
)
def test_hierarchy(body: str, kind: type[ForelightError], further: str, message: str) -> None:
    modules = [further] if further else []
    assert refused(HEAD + body + "\nend\n", kind, *modules) == message


def test_two_meanings_of_one_module() -> None:
    text = HEAD + use("i") + "\nend\n"
    message = "t.v:4: module leaf is defined differently in two texts; rename one"
    assert refused(text, NetlistError, LEAF, LEAF.replace("width 2", "width 3")) == message


def test_inout_top() -> None:
    text = 'module \\t\n  attribute \\src "t.v:1"\n  wire inout 1 \\pad\nend\n'
    message = "t.v:1: port pad of module t is inout; use an input, an output and an enable"
    assert refused(text, UnsupportedError) == message


def test_initial_values_that_disagree() -> None:
    body = """
        wire \\x
        attribute \\src "t.v:9"
        attribute \\init 1'0
        wire \\z
        attribute \\init 1'1
        wire \\q
        cell $dff $q
          parameter \\WIDTH 1
          connect \\CLK \\a
          connect \\D \\x
          connect \\Q \\q
        end
        connect \\z \\q
        connect \\y \\q
    """
    assert in_module(body, NetlistError) == (
        "q and another name of that register state different initial values; leave one"
    )


MEMORY = """
    memory width 4 size 8 \\mem
    attribute \\src "t.v:6"
    cell {kind} $m
      parameter \\MEMID "\\\\mem"
      parameter \\WIDTH {width}
      parameter \\CLK_ENABLE 1
      parameter \\WORDS 1
      parameter \\TRANSPARENT 1
      connect \\CLK \\a
      connect \\EN \\a
      connect \\ADDR {address}
      connect \\DATA \\b
    end
"""


def memory(kind: str, width: int = 4, address: str = "\\b") -> str:
    return MEMORY.replace("{kind}", kind).replace("{width}", str(width)).replace("{address}", address)


def test_memories() -> None:
    assert in_module(memory("$memrd"), UnsupportedError) == (
        "t.v:6: cell $memrd $m is not supported; "
        "a transparent port in the old form: let Yosys' `memory_collect` write it anew"
    )
    assert in_module(memory("$meminit").replace("EN \\a", "EN 4'1111"), UnsupportedError) == (
        "t.v:6: cell $meminit $m is not supported; initial contents must be constants"
    )
    assert in_module(
        memory("$memrd_v2", 12).replace("connect \\DATA \\b", "connect \\DATA { \\b \\b \\b }")
    ) == (
        "t.v:6: cell $memrd_v2 $m is 12 bits wide, its memory mem 4; a power of two of words at once can be read"
    )
