"""Combinational processes of RTLIL: the whole printed netlist of each."""

from __future__ import annotations

from textwrap import dedent

from .test_rtlil import shown


def process(body: str) -> str:
    """The netlist lines of a process that drives the four bits of `y` from `a` and `b` under `s`."""
    text = r"""
        module \t
          wire width 2 input 1 \s
          wire width 4 input 2 \a
          wire width 4 input 3 \b
          wire width 4 output 4 \y
          process $p
        BODY
          end
        end
    """
    return "".join(
        shown(dedent(text).replace("BODY", dedent(body).strip("\n"))).splitlines(keepends=True)[4:]
    )


def test_process_keeps_each_switch_and_only_the_bits_that_differ() -> None:
    body = r"""
        assign \y \a
        switch \s
          case 2'00 , 2'1-
            assign \y [1:0] \b [1:0]
            switch \b [3]
              case 1'0
                assign \y [0] 1'1
              case
            end
          case 2'01
          case
            assign \y [1] 1'0
        end
    """
    assert process(body) == dedent(
        """\
        v3:1 = case v2[3+:1] 1'1 v2[0+:1] patterns=(('0',),)
        v4:2 = case v0[0+:2] {v2[1+:1] v3[0+:1]} v1[0+:2] {1'0 v1[0+:1]} patterns=(('00', '1-'), ('01',))
        output y {v1[2+:2] v4[0+:2]}
        """
    )


def test_process_scopes_dead_cases_and_cases_that_never_match() -> None:
    body = r"""
        assign \y 4'0000
        switch {}
          case
            assign \y [3] \a [3]
        end
        switch \s
          case 2'0x
            assign \y 4'1111
          case 2'11
            assign \y [0] \a [0]
          case
          case 2'10
            assign \y 4'1111
        end
        switch { }
          case 0'
            assign \y [2] \a [2]
          case
            assign \y [2] \b [2]
        end
    """
    assert process(body) == dedent(
        """\
        v3:1 = case v0[0+:2] v1[0+:1] 1'0 patterns=(('11',),)
        output y {v1[2+:2] 1'0 v3[0+:1]}
        """
    )


def test_process_reads_nets_not_what_it_has_assigned() -> None:
    body = r"""
        assign \y [0] \a [0]
        assign \y [1] \y [0]
        assign \y [3:2] { \b [0] \y [1] }
    """
    assert process(body) == "output y {v2[0+:1] v1[0+:1] v1[0+:1] v1[0+:1]}\n"


def test_process_without_a_default_leaves_x() -> None:
    body = r"""
        switch \s [0]
          case 1'1
            assign \y \a
        end
    """
    assert process(body) == dedent(
        """\
        v3:4 = case v0[0+:1] v1[0+:4] 4'xxxx patterns=(('1',),)
        output y v3[0+:4]
        """
    )


def test_deep_process() -> None:
    depth = 3000
    body = "\n".join(
        ["assign \\y \\a"] + ["switch \\s [0]", "case 1'1"] * depth + ["assign \\y \\b"] + ["end"] * depth
    )
    assert process(body).count("= case") == depth
