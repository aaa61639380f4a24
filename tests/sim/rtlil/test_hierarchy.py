"""RTLIL of several modules, linked and flattened: the whole printed netlist of each."""

from __future__ import annotations

from textwrap import dedent

from forelight.sim.rtlil.reader import parse

from .test_rtlil import shown

LEAF = r"""
    module \leaf
      wire width 2 input 1 \a
      wire width 2 output 2 \y
      wire width 2 \inner
      attribute \init 2'1x
      wire width 2 \state
      cell $not $1
        parameter \A_SIGNED 0
        parameter \A_WIDTH 2
        parameter \Y_WIDTH 2
        connect \A \a
        connect \Y \inner
      end
      cell $dff $2
        parameter \WIDTH 2
        parameter \CLK_POLARITY 1'0
        connect \CLK \a [0]
        connect \D \inner
        connect \Q \state
      end
      connect \y \state
    end
"""
TWO = r"""
    module \two
      wire width 2 input 1 \p
      wire width 2 output 2 \q
      wire width 2 \middle
      cell \leaf \first
        connect \a \p
        connect \y \middle
      end
      cell \leaf $second
        connect \a { \middle [0] \middle [1] }
        connect \y \q
      end
    end
"""
FLAT = """\
netlist two
input p v0:2
v1:2 = $not v0[0+:2] A_SIGNED=0
v3:2 = $not {v2[0+:1] v2[1+:1]} A_SIGNED=0
v2:2 = register first.state fall v0[0+:1] takes v1[0+:2] init 2'1x
v4:2 = register $second.state fall v2[1+:1] takes v3[0+:2] init 2'1x
output q v4[0+:2]
"""


def test_hierarchy() -> None:
    assert shown(TWO + LEAF) == shown(LEAF + TWO) == shown(TWO, LEAF) == FLAT
    assert list(parse(dedent(TWO + LEAF)).names) == [
        *("p", "q", "middle"),
        *("first.a", "first.y", "first.inner", "first.state"),
        *("$second.a", "$second.y", "$second.inner", "$second.state"),
    ]
    assert shown(TWO + LEAF, top="leaf").startswith("netlist leaf\ninput a v0:2\n")


def test_a_text_looks_in_itself_first() -> None:
    other = LEAF.replace("2'1x", "2'0x")
    assert shown(TWO + LEAF, other) == FLAT
    assert "first.state fall v0[0+:1] takes v1[0+:2] init 2'0x" in shown(TWO, other, other)


def test_deep_hierarchy() -> None:
    depth = 3000
    modules = [
        f"module \\m{n}\n  wire input 1 \\a\n  wire output 2 \\y\n"
        + (
            f"  cell \\m{n + 1} \\u\n    connect \\a \\a\n    connect \\y \\y\n  end\n"
            if n < depth
            else "  connect \\y \\a\n"
        )
        + "end"
        for n in range(depth + 1)
    ]
    assert shown("\n".join(modules), top="m0") == "netlist m0\ninput a v0:1\noutput y v0[0+:1]\n"


def test_parametrised_names_and_parameters_that_agree() -> None:
    text = r"""
        module $paramod\leaf\W=s32'00000000000000000000000000000010
          parameter \W 2
          wire width 2 input 1 \a
          wire width 2 output 2 \y
          connect \y \a
        end
        module \t
          wire width 2 input 1 \p
          wire width 2 output 2 \q
          cell $paramod\leaf\W=s32'00000000000000000000000000000010 \u
            parameter \W 32'00000000000000000000000000000010
            connect \a \p
            connect \y \q
          end
        end
    """
    assert shown(text) == "netlist t\ninput p v0:2\noutput q v0[0+:2]\n"
