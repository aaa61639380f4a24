"""RTLIL designs that contradict themselves, or lack something: each message whole."""

from __future__ import annotations

import pytest
from forelight.sim.errors import ForelightError, NetlistError, RtlilError, UnsupportedError
from forelight.sim.proof.ternary import Proof
from forelight.sim.rtlil.reader import parse
from forelight.sim.undefined.opened import opened

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


UNLIKE = "where they differ it is unsettled, and on a chip they draw current: leave one"


@pytest.mark.parametrize(
    ("body", "message"),
    [
        (
            inverter("first") + inverter("second", to="\\y", line=9).replace("\\A \\a", "\\A \\b [0]"),
            f"net y has two drivers that fight: cell $not first (t.v:7) and cell $not second (t.v:9); {UNLIKE}",
        ),
        (
            "connect \\y \\a\nconnect \\y \\b [2]",
            f"net y has two drivers that fight: net a and net b; {UNLIKE}",
        ),
        (
            inverter("drives", "\\b [1]"),
            f"net b has two drivers that fight: input b and cell $not drives (t.v:7); {UNLIKE}",
        ),
        (
            "process $p\nswitch \\a\ncase 1'1\nassign \\y \\b [0]\nend\nend\n" + inverter("n"),
            f"net y has two drivers that fight: cell $not n (t.v:7) and process $p; {UNLIKE}",
        ),
    ],
)
def test_two_drivers_fight(body: str, message: str) -> None:
    assert parse(HEAD + body + "\nend\n").warnings[0] == message


def test_a_fight_is_lost_where_drivers_differ() -> None:
    """IEEE 1364-2005, 4.6.1: x where two strong drivers differ, their level where they agree."""
    netlist = parse(HEAD + "connect \\y \\a\nconnect \\y \\b [2]\nend\n")
    proof = Proof(opened(netlist).netlist)
    for a, b in ((0, 0), (0, 4), (1, 0), (1, 4)):
        proof.update({"a": a, "b": b})
        assert proof.get("y") == ((a, 1) if a == b >> 2 else (0, 0))


def test_one_net_drawn_twice_does_not_fight() -> None:
    twice = "process $p\nassign \\y \\a\nend\nprocess $q\nassign \\y \\a\nend\nend\n"
    assert parse(HEAD + twice).warnings == ()


@pytest.mark.parametrize(
    ("body", "message"),
    [
        (
            inverter("first") + "connect \\y 1'0",
            "net y has two drivers that fight: cell $not first (t.v:7) and the constant 0; leave one",
        ),
        (inverter("n", "1'0"), "t.v:7: cell $not n (t.v:7) drives a constant; connect it to a wire"),
    ],
)
def test_a_constant_that_fights_is_refused(body: str, message: str) -> None:
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
