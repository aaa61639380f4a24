"""Designs of every kind behind eight lines: domains, ports of their own, and messages for what does not fit."""

# Amaranth has no py.typed; `inputs: In(8)` fails a strict check.
# mypy: disable-error-code="valid-type, misc"

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest
from amaranth.hdl import Elaboratable, Module, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out
from forelight.designs.datasheet import Datasheet, RestartLine, StepLine
from forelight.designs.sources.verilog import verilog_rtlil
from forelight.harness.boards.profile import Board
from forelight.harness.chip.netlist import wrapper_netlist
from forelight.harness.chip.routing import OWN_RESTART, OWN_STEP, routing
from forelight.sim import Simulation
from forelight.sim.errors import ForelightError, SourceError, UsageError

#: c17, the smallest of the ISCAS'85 benchmark circuits (Brglez and Fujiwara 1985): six NAND gates.
C17 = """
module c17 (input N1, N2, N3, N6, N7, output N22, N23);
    wire N10, N11, N16, N19;
    nand (N10, N1, N3);
    nand (N11, N3, N6);
    nand (N16, N2, N11);
    nand (N19, N11, N7);
    nand (N22, N10, N16);
    nand (N23, N16, N19);
endmodule
"""
C17_PORTS = {"N1": "i0", "N2": "i1", "N3": "i2", "N6": "i3", "N7": "i4", "N22": "o0", "N23": "o7"}
COUNTER = """
module counter (input clock, clear, input [3:0] by, output reg [5:0] value);
    always @(posedge clock) if (clear) value <= 0; else value <= value + by;
endmodule
"""


class Counter(wiring.Component):
    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        count = Signal(8, init=5)
        m.d.sync += count.eq(count + 1)
        m.d.comb += self.outputs.eq(count)
        return m


class Narrow(wiring.Component):
    inputs: In(4)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        return Module()


class Turned(wiring.Component):
    inputs: Out(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        return Module()


class Broken(Counter):
    def elaborate(self, platform: object) -> Module:
        raise ValueError("the tide is out")


def amaranth(step: str | None, restart: str | None = None, active: str = "high") -> Datasheet:
    return Datasheet(
        name="counter",
        folder=Path(__file__).parent,
        title="",
        sources=("design.py",),
        top=None,
        format="amaranth",
        step=StepLine(step) if step else None,
        restart=RestartLine(restart, active) if restart else None,
    )


def verilog(folder: Path, text: str, ports: Mapping[str, str], **other: object) -> Datasheet:
    (folder / "design.v").write_text(text)
    sheet = {"name": "own", "folder": folder, "title": "", "sources": ("design.v",), "top": None}
    return Datasheet(**sheet, format="verilog", ports=ports, **other)  # type: ignore[arg-type]


def outputs(sheet: Datasheet, design: Elaboratable | None, inputs: list[int], power_up: int = 1) -> list[int]:
    simulation = Simulation(wrapper_netlist(sheet, design), 1 if power_up else 0)
    shown = []
    for value in inputs:
        simulation.set("inputs", value)
        simulation.settle()
        shown.append(simulation.get("outputs"))
    return shown


def test_step_line_and_active_high_restart() -> None:
    sheet = amaranth("i7", "i6")
    # Restart is synchronous: nothing happens until the step line rises with it.
    assert outputs(sheet, Counter(), [0x40, 0xC0, 0x40, 0x00, 0x80, 0x00, 0x80]) == [255, 5, 5, 5, 6, 6, 7]


def test_active_low_restart_on_another_line() -> None:
    sheet = amaranth("i0", "i3", "low")
    assert outputs(sheet, Counter(), [0x00, 0x01, 0x00, 0x08, 0x09, 0x08, 0x09]) == [255, 5, 5, 5, 6, 6, 7]


def test_no_restart_at_all() -> None:
    assert outputs(amaranth("i7"), Counter(), [0x40, 0xC0, 0x40, 0xC0]) == [255, 0, 0, 1]


def test_lines_of_its_own_come_after_the_inputs() -> None:
    sheet = amaranth("own", "own")
    netlist = wrapper_netlist(sheet, Counter())
    assert netlist.widths[netlist.inputs["inputs"]] == 10
    assert outputs(sheet, Counter(), [0x200, 0x3FF, 0x000, 0x100, 0x0FF, 0x1FF]) == [255, 5, 5, 6, 6, 7]
    only_restart = amaranth("i7", "own", "low")
    assert wrapper_netlist(only_restart, Counter()).widths[0] == 9
    assert outputs(only_restart, Counter(), [0x000, 0x080, 0x100, 0x180]) == [255, 5, 5, 6]


def test_c17_by_its_ports(tmp_path: Path) -> None:
    """All 32 input vectors, against the equations of its six gates."""
    sheet = verilog(tmp_path, C17, C17_PORTS)
    for vector, found in enumerate(outputs(sheet, None, [*range(32)])):
        n1, n2, n3, n6, n7 = (bool(vector >> bit & 1) for bit in range(5))
        n11 = not (n3 and n6)
        n16 = not (n2 and n11)
        n22 = not (not (n1 and n3) and n16)
        n23 = not (n16 and not (n11 and n7))
        assert found == n22 | n23 << 7


def test_bits_of_wide_ports_on_lines_of_its_own(tmp_path: Path) -> None:
    ports = {"clock": "step", "clear": "restart"} | {f"by[{n}]": f"i{7 - n}" for n in range(4)}
    ports |= {f"value[{n}]": f"o{n + 1}" for n in range(6)}
    sheet = verilog(tmp_path, COUNTER, ports, step=StepLine("own"), restart=RestartLine("own"))
    # i7 counts for 1, i6 for 2, i5 for 4; step is bit 8, restart bit 9; the value stands one line higher.
    shown = outputs(sheet, None, [0x280, 0x380, 0x080, 0x180, 0x060, 0x160])
    assert shown == [0x7E, 0, 0, 1 << 1, 1 << 1, 7 << 1]


def test_an_unmapped_output_is_left_out_but_an_input_may_not_float(tmp_path: Path) -> None:
    ports = {port: line for port, line in C17_PORTS.items() if port != "N22"}
    assert set(outputs(verilog(tmp_path, C17, ports), None, [*range(32)])) == {0, 0x80}
    del ports["N3"]
    with pytest.raises(SourceError) as caught:
        wrapper_netlist(verilog(tmp_path, C17, ports))
    assert str(caught.value) == (
        f"{tmp_path / 'design.v'}: module c17: bit 0 of input port N3 cannot be wired to a line; "
        "give it inputs and outputs of 8 bits each, or map its ports in the datasheet's [ports]"
    )


def test_a_design_in_rtlil(tmp_path: Path) -> None:
    """c17 as Yosys prints it, and a text that holds it beside another module that nobody uses."""
    verilog(tmp_path, C17, C17_PORTS)
    text = verilog_rtlil(["design.v"], folder=tmp_path)
    (tmp_path / "design.il").write_text(text)
    sheet = replace(verilog(tmp_path, C17, C17_PORTS), sources=("design.il",), format="netlist")
    expected = outputs(verilog(tmp_path, C17, C17_PORTS), None, [*range(32)])
    assert outputs(sheet, None, [*range(32)]) == expected
    other = "module \\other\n  wire input 1 \\a\nend\n"
    (tmp_path / "design.il").write_text(text.replace("attribute \\top 1\n", "") + other)
    assert outputs(replace(sheet, top="c17"), None, [*range(32)]) == expected
    for top, what in ((None, "which module is the top?"), ("c18", "there is no module c18")):
        with pytest.raises(SourceError) as caught:
            wrapper_netlist(replace(sheet, top=top))
        assert str(caught.value) == (
            f"{tmp_path / 'design.il'}: {what}; the source holds c17, other: name one in the datasheet's module"
        )
    (tmp_path / "design.il").write_text("module \\c17\n  connect \\N22 \\N23\nend\n")
    with pytest.raises(ForelightError) as refused:
        wrapper_netlist(sheet)
    assert refused.value.place == f"{tmp_path / 'design.il'}, RTLIL line 2"


class Ported(wiring.Component):
    """Ports of its own, in Amaranth."""

    switch: In(2)
    lamp: Out(1)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        m.d.comb += self.lamp.eq(self.switch == 2)
        return m


def test_a_component_with_ports_of_its_own() -> None:
    sheet = replace(amaranth(None), ports={"switch[0]": "i3", "switch[1]": "i5", "lamp": "o6"})
    values = [0, 1 << 3, 1 << 5, 1 << 3 | 1 << 5]
    assert outputs(sheet, Ported(), values) == [0, 0, 1 << 6, 0]


REMEDY = "give it inputs and outputs of 8 bits each, or map its ports in the datasheet's [ports]"


@pytest.mark.parametrize(
    ("ports", "what"),
    [
        ({}, "module c17 has no port inputs (N1, N2, N3, N6, N7, N22, N23)"),
        (C17_PORTS | {"N9": "i5"}, "module c17 has no port N9 (N1, N2, N3, N6, N7, N22, N23)"),
        (C17_PORTS | {"N7[2]": "i5"}, "port N7 has 1 bits and no bit 2"),
        (C17_PORTS | {"N22": "i5"}, "output port N22 is mapped to i5, which is an input line"),
        (C17_PORTS | {"N1": "o5"}, "input port N1 is mapped to o5, which is an output line"),
    ],
)
def test_ports_that_do_not_fit(tmp_path: Path, ports: dict[str, str], what: str) -> None:
    with pytest.raises(SourceError) as caught:
        wrapper_netlist(verilog(tmp_path, C17, ports))
    assert str(caught.value) == f"{tmp_path / 'design.v'}: {what}; {REMEDY}"


def test_components_that_do_not_fit() -> None:
    here = Path(__file__).parent / "design.py"
    sheet = amaranth("i7")
    for design, what in (
        (Narrow(), "port inputs has 4 bits, not 8"),
        (Turned(), "output port inputs is mapped to i0, which is an input line"),
        (Module(), "Module has no port inputs"),
    ):
        with pytest.raises(SourceError) as caught:
            wrapper_netlist(sheet, design)
        assert str(caught.value) == f"{here}: {what}; {REMEDY}"


def test_an_error_in_the_design_names_its_line() -> None:
    with pytest.raises(SourceError) as caught:
        wrapper_netlist(amaranth("i7"), Broken())
    line = next(
        n for n, text in enumerate(Path(__file__).read_text().splitlines(), 1) if "the tide is out" in text
    )
    assert str(caught.value) == (f"{__file__}:{line}: the design fails: ValueError: the tide is out")


def test_a_clocked_design_needs_a_step_line() -> None:
    with pytest.raises(ForelightError) as caught:
        wrapper_netlist(amaranth(None), Counter())
    assert "the design counts on a clock or reset that it does not get (clk, rst)" in str(caught.value)


def test_routing_between_boards_and_designs() -> None:
    chain = Board("chain", "", 1000, "chain", {}, 4)
    direct = Board("direct", "", 1000, "direct", {}, 4, step_line="own", restart_line="own")
    straight = (0, 1, 2, 3, 4, 5, 6, 7)
    assert routing(chain, amaranth("i7", "i6")) == straight
    assert routing(direct, amaranth(None)) == straight
    assert routing(direct, amaranth("own", "own")) == (*straight, OWN_STEP, OWN_RESTART)
    assert routing(direct, amaranth("i7", "i2")) == (0, 1, OWN_RESTART, 3, 4, 5, 6, OWN_STEP)
    assert routing(direct, amaranth("i3", "own")) == (0, 1, 2, OWN_STEP, 4, 5, 6, 7, OWN_RESTART)
    with pytest.raises(UsageError) as caught:
        routing(chain, amaranth("own"))
    assert str(caught.value) == (
        "counter needs a board with a step line of its own, which chain has not; "
        "choose another board, or another line in the datasheet"
    )
