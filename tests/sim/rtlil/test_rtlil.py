"""RTLIL text to netlist: the whole printed netlist of small designs."""

from __future__ import annotations

from textwrap import dedent

from forelight.sim.rtlil.reader import parse


def shown(text: str, *modules: str, top: str | None = None) -> str:
    return str(parse(dedent(text), [dedent(module) for module in modules], top))


COUNTER = r"""
    attribute \generator "Amaranth"
    attribute \src "/home/someone/counter.py:7"
    attribute \top 1
    module \top
      attribute \src "/home/someone/counter.py:9"
      attribute \init 4'0101
      wire width 4 \count
      wire width 1 input 0 \clk
      wire width 1 input 1 \rst
      wire width 1 input 2 \en
      attribute \src "/home/someone/counter.py:3"
      wire width 4 output 3 \outputs
      wire width 5 $1
      wire width 4 $2
      attribute \src "/home/someone/counter.py:12"
      cell $add $3
        parameter \A_SIGNED 0
        parameter \B_SIGNED 0
        parameter \A_WIDTH 4
        parameter \B_WIDTH 1
        parameter \Y_WIDTH 5
        connect \A \count [3:0]
        connect \B 1'1
        connect \Y $1
      end
      attribute \src "/home/someone/counter.py:9"
      process $4
        assign $2 [3:0] \count [3:0]
        switch \en [0]
          case 1'1
            assign $2 [3:0] $1 [3:0]
        end
        switch \rst [0]
          case 1'1
            assign $2 [3:0] 4'0101
        end
      end
      attribute \src "/home/someone/counter.py:9"
      cell $dff $5
        parameter \WIDTH 4
        parameter \CLK_POLARITY 1
        connect \D $2 [3:0]
        connect \CLK \clk [0]
        connect \Q \count
      end
    connect \outputs \count [3:0]
    end
"""


def test_counter() -> None:
    assert shown(COUNTER) == dedent(
        """\
        netlist top
        input clk v0:1
        input rst v1:1
        input en v2:1
        v3:5 = $add v4[0+:4] 1'1 A_SIGNED=0 B_SIGNED=0
        v5:4 = case v2[0+:1] v3[0+:4] v4[0+:4] patterns=(('1',),)
        v6:4 = case v1[0+:1] 4'0101 v5[0+:4] patterns=(('1',),)
        v4:4 = register count rise v0[0+:1] takes v6[0+:4] init 4'0101
        output outputs v4[0+:4]
        """
    )


def test_names_and_source_places() -> None:
    netlist = parse(dedent(COUNTER))
    assert {name: str(word) for name, word in netlist.names.items()} == {
        "count": "v4[0+:4]",
        "clk": "v0[0+:1]",
        "rst": "v1[0+:1]",
        "en": "v2[0+:1]",
        "outputs": "v4[0+:4]",
    }
    assert [cell.src for cell in netlist.cells] == ["counter.py:12", "counter.py:9", "counter.py:9"]
    assert netlist.registers[0].src == "counter.py:9"
    assert netlist.warnings == ()
    inside = parse(dedent(COUNTER), root="/home")
    assert inside.cells[0].src == "someone/counter.py:12"
    outside = parse(dedent(COUNTER), root="/srv")
    assert outside.cells[0].src == "counter.py:12"


def test_of_several_source_places_the_first() -> None:
    text = r"""
        module \t
          wire input 1 \a
          wire output 2 \y
          attribute \src "lib/t.v:3.5-3.9|lib/t.v:2.1-4.4"
          cell $not $n
            parameter \A_SIGNED 0
            parameter \A_WIDTH 1
            parameter \Y_WIDTH 1
            connect \A \a
            connect \Y \y
          end
        end
    """
    assert parse(dedent(text)).cells[0].src == "lib/t.v:3.5-3.9"


def test_undriven_bits() -> None:
    text = r"""
        module \t
          attribute \src "t.v:2"
          wire width 8 \loose
          wire \round
          wire \about
          wire width 2 \unread
          wire width 2 output 1 \y
          wire width 4 output 2 \z
          connect \y { \loose [6] 1'1 }
          connect \z { \loose [2:0] \round }
          connect \round \about
          connect \about \round
          connect \loose [5:3] 3'z10
        end
    """
    netlist = parse(dedent(text))
    assert str(netlist) == "netlist t\noutput y 2'x1\noutput z 4'xxxx\n"
    assert netlist.warnings == (
        "loose[6,2:0] (t.v:2) is read but nothing drives it: what hangs on it is unsettled",
        "round is read but nothing drives it: what hangs on it is unsettled",
    )
    assert str(netlist.names["loose"]) == "8'xxx10xxx"


def test_initial_values_by_any_name_of_the_register() -> None:
    text = r"""
        module \t
          wire input 1 \c
          wire width 4 input 2 \d
          wire width 4 output 3 \q
          attribute \init 2'01
          wire width 2 \low
          attribute \init 3'1x0
          wire width 3 \mixed
          wire width 4 $q
          cell $dff $1
            parameter \WIDTH 4
            parameter \CLK_POLARITY 1
            connect \CLK \c
            connect \D \d
            connect \Q $q
          end
          connect \q $q
          connect \low $q [2:1]
          connect \mixed { $q [3] \d [0] $q [2] }
        end
    """
    assert shown(text) == dedent(
        """\
        netlist t
        input c v0:1
        input d v1:4
        v2:4 = register q rise v0[0+:1] takes v1[0+:4] init 4'101x
        output q v2[0+:4]
        """
    )


def test_registers_fold_enables_and_resets() -> None:
    text = r"""
        module \t
          wire input 1 \c
          wire input 2 \e
          wire input 3 \r
          wire width 2 input 4 \d
          wire width 2 output 5 \q
          wire width 2 output 6 \l
          cell $sdffe \a
            parameter \WIDTH 2
            parameter \CLK_POLARITY 1'1
            parameter \EN_POLARITY 1'0
            parameter \SRST_POLARITY 1'1
            parameter \SRST_VALUE 2'10
            connect \CLK \c
            connect \EN \e
            connect \SRST \r
            connect \D \d
            connect \Q \q
          end
          cell $adlatch \b
            parameter \WIDTH 2
            parameter \EN_POLARITY 1'1
            parameter \ARST_POLARITY 1'0
            parameter \ARST_VALUE 2'01
            connect \EN \e
            connect \ARST \r
            connect \D \d
            connect \Q \l
          end
        end
    """
    assert shown(text) == dedent(
        """\
        netlist t
        input c v0:1
        input e v1:1
        input r v2:1
        input d v3:2
        v5:1 = $not v1[0+:1] A_SIGNED=0
        v6:2 = $mux v4[0+:2] v3[0+:2] v5[0+:1]
        v7:2 = $mux v6[0+:2] 2'10 v2[0+:1]
        v9:1 = $not v2[0+:1] A_SIGNED=0
        v4:2 = register q rise v0[0+:1] takes v7[0+:2] init 2'xx
        v8:2 = register l latch while {v1[0+:1] v1[0+:1]} v3[0+:2] while {v9[0+:1] v9[0+:1]} 2'01 init 2'xx
        output q v4[0+:2]
        output l v8[0+:2]
        """
    )


def test_cells_without_values() -> None:
    text = r"""
        # t.v:9: Warning: something that whoever printed this wants to say
        module \t
          wire input 1 \a
          attribute \src "t.v:5"
          cell $print \hello
            parameter \FORMAT "a = %d\n"
            connect \EN \a
          end
          cell $scopeinfo \scope
            parameter \TYPE "module"
          end
        end
    """
    assert parse(dedent(text).lstrip()).warnings == (
        "t.v:9: Warning: something that whoever printed this wants to say",
        "t.v:5: cell $print is left out",
    )


def test_ports_in_the_order_of_their_numbers() -> None:
    text = r"""
        module \t
          wire output 4 \d
          wire width 0 input 3 \none
          wire width 2 upto offset 5 input 1 signed \b
          wire output 2 \c
          connect \c \b [0]
          connect \d \b [1]
        end
    """
    assert shown(text) == "netlist t\ninput b v0:2\ninput none v1:0\noutput c v0[0+:1]\noutput d v0[1+:1]\n"
