"""Asks Yosys' own constant folder, and its cell library under Icarus Verilog, what a cell means."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from forelight.sim.errors import NetlistError, UnsupportedError
from forelight.sim.evaluate import MEANINGS, evaluate
from forelight.sim.kinds import PORTS
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.sizes import sized

from .icarus import needs_icarus, run

yosys = pytest.importorskip(
    "pyosys.libyosys", reason="the judge is Yosys' constant folder, from the pyosys wheel"
)

WIDTHS = st.one_of(st.integers(1, 9), st.sampled_from([16, 31, 32, 33, 63, 64, 65, 127, 128, 129, 130]))
FOLDED = sorted(
    kind
    for kind, ports in PORTS.items()
    if ports in (("A",), ("A", "B")) and kind not in ("$lut", "$sop") and hasattr(yosys, "const_" + kind[1:])
)


def bits_of(width: int) -> st.SearchStrategy[int]:
    """Numbers of `width` bits, with the edges of the range more often than chance would have them."""
    top = (1 << width) - 1
    return st.one_of(
        st.integers(0, top), st.sampled_from(sorted({0, min(1, top), top >> 1, top ^ (top >> 1), top}))
    )


def constant(value: int, width: int) -> Any:
    return yosys.Const.from_string(f"{value:0{width}b}" if width else "")


def number(answer: Any) -> int:
    """Undefined is 0 here."""
    digits: str = answer.as_string()
    return int(digits.replace("x", "0") or "0", 2)


def test_the_folder_judges_nearly_every_kind() -> None:
    assert len(FOLDED) == 38
    assert set(MEANINGS) == {*PORTS, "case", "read"}


@pytest.mark.parametrize("kind", FOLDED)
@settings(max_examples=sized(30, 100))
@given(data=st.data())
def test_operators(kind: str, data: st.DataObject) -> None:
    ports = PORTS[kind]
    width = data.draw(WIDTHS, "width")
    widths = [data.draw(WIDTHS, f"width of {port}") for port in ports]
    operands = [data.draw(bits_of(each), port) for port, each in zip(ports, widths, strict=True)]
    signed_a = data.draw(st.booleans(), "A signed")
    # The folder gives each operand a sign of its own, the library signs a pair or none: they meet where
    # both are alike.
    alone = kind in ("$shl", "$shr", "$sshl", "$sshr", "$shift", "$shiftx", "$pow")
    signed_b = data.draw(st.booleans(), "B signed") if alone else signed_a
    if kind in ("$shl", "$shr", "$sshl", "$sshr"):
        signed_b = False
    if kind == "$shiftx":
        signed_a = False
    arguments = [constant(v, w) for v, w in zip(operands, widths, strict=True)]
    if len(arguments) == 1:
        arguments.append(constant(0, 0))
    expected = number(getattr(yosys, "const_" + kind[1:])(*arguments, signed_a, signed_b, width))
    assert evaluate(kind, {"A_SIGNED": signed_a, "B_SIGNED": signed_b}, operands, widths, width) == expected


@given(st.data())
def test_choices(data: st.DataObject) -> None:
    width, select = data.draw(WIDTHS), data.draw(st.integers(1, 5))
    a, b, s = data.draw(bits_of(width)), data.draw(bits_of(width)), data.draw(bits_of(select))
    wide = data.draw(bits_of(width << select))
    hot = data.draw(st.sampled_from([0, *(1 << i for i in range(select))]))
    many = wide & ((1 << width * select) - 1)
    mask = data.draw(bits_of(width))
    c = constant

    def meant(kind: str, operands: list[int], widths: list[int], out: int = width) -> int:
        return evaluate(kind, {"WIDTH": width, "S_WIDTH": select}, operands, widths, out)

    one = s & 1
    assert meant("$mux", [a, b, one], [width, width, 1]) == number(
        yosys.const_mux(c(a, width), c(b, width), c(one, 1))
    )
    assert meant("$pmux", [a, many, hot], [width, width * select, select]) == number(
        yosys.const_pmux(c(a, width), c(many, width * select), c(hot, select))
    )
    assert meant("$bwmux", [a, b, mask], [width] * 3) == number(
        yosys.const_bwmux(c(a, width), c(b, width), c(mask, width))
    )
    assert meant("$bmux", [wide, s], [width << select, select]) == number(
        yosys.const_bmux(c(wide, width << select), c(s, select))
    )
    assert meant("$demux", [a, s], [width, select], width << select) == number(
        yosys.const_demux(c(a, width), c(s, select))
    )


class Asked(NamedTuple):
    kind: str
    params: dict[str, int]
    operands: dict[str, int]
    widths: dict[str, int]
    width: int


#: How many of the sizes Icarus 11 can be asked about; beyond, the folder is the only judge. It answers 0
#: for a number of
#: more than 64 bits divided by 1, and cuts an index to 32 bits.
USABLE = {"$div": 9, "$mod": 9, "$divfloor": 9, "$modfloor": 9, "$shiftx": 7}


def one_cell(rng: random.Random, kind: str) -> tuple[dict[str, int], dict[str, int], int]:
    """Parameters as in the library, the width of each port, and the width of the output."""

    sizes = [1, 2, 3, 4, 5, 8, 13, 33, 62, 65, 100]

    def any_width() -> int:
        return rng.choice(sizes[: USABLE.get(kind, len(sizes))])

    width, select = any_width(), rng.randint(1, 3)
    chosen = {"WIDTH": width, "S_WIDTH": select}
    special: dict[str, tuple[dict[str, int], dict[str, int], int]] = {
        "$lut": ({"WIDTH": select, "LUT": rng.getrandbits(1 << select)}, {"A": select}, 1),
        "$sop": ({"WIDTH": select, "DEPTH": 3, "TABLE": rng.getrandbits(6 * select)}, {"A": select}, 1),
        "$pmux": (chosen, {"A": width, "B": width * select, "S": select}, width),
        "$bmux": (chosen, {"A": width << select, "S": select}, width),
        "$demux": (chosen, {"A": width, "S": select}, width << select),
    }
    if kind in special:
        return special[kind]
    if kind in ("$mux", "$bwmux", "$fa", "$lcu", "$buf", "$tribuf"):
        ones = ("S",) if kind == "$mux" else ("CI", "EN")
        return {"WIDTH": width}, {port: 1 if port in ones else width for port in PORTS[kind]}, width
    widths = {port: 1 if port in ("CI", "BI") else any_width() for port in PORTS[kind]}
    params = {"Y_WIDTH": width}
    for port in ("A", "B"):
        if port in widths:
            params |= {f"{port}_WIDTH": widths[port], f"{port}_SIGNED": rng.randint(0, 1)}
    return params, widths, width


def instance(number: int, asked: Asked) -> str:
    """One cell of the library in Verilog, its inputs constant, its output `y<number>`."""
    wide = ("LUT", "TABLE")
    given_ = ", ".join(f".{k}({64 if k in wide else 32}'d{v})" for k, v in asked.params.items())
    ports = ", ".join(f".{port}({asked.widths[port]}'d{asked.operands[port]})" for port in asked.widths)
    out = "CO" if asked.kind == "$lcu" else "Y"
    wire = f"wire [{asked.width - 1}:0] y{number};"
    return f"{wire} \\{asked.kind} #({given_}) c{number} ({ports}, .{out}(y{number}));\n"


def ask(rng: random.Random, kind: str) -> Asked:
    params, widths, width = one_cell(rng, kind)
    operands = {port: rng.getrandbits(each) for port, each in widths.items()}
    if kind == "$shiftx":
        params["A_SIGNED"] = 0
    if kind == "$pow":
        # Icarus answers 0 for 1 to a negative power; IEEE 1364-2005, table 5-6, says 1, and so does the
        # folder.
        params["B_SIGNED"] = 0
    if kind == "$pmux":
        operands["S"] &= -operands["S"]
    if "B" in operands and rng.random() < 0.3:
        operands["B"] = rng.choice([0, 1, (1 << widths["B"]) - 1])
    return Asked(kind, params, operands, widths, width)


@needs_icarus
def test_cell_library(tmp_path: Path) -> None:
    """Every kind, with the signs of both operands mixed as well, against Yosys' `simlib.v`."""
    seed = random.randrange(1 << 32)
    print(f"seed {seed}")
    rng = random.Random(seed)
    cells = [ask(rng, kind) for kind in sorted(PORTS) for _ in range(24)]
    shows = "".join(f'$display("%b", y{i});' for i in range(len(cells)))
    body = "".join(instance(i, cell) for i, cell in enumerate(cells))
    source = tmp_path / "cells.v"
    source.write_text(f"module cells;\n{body}initial begin #1; {shows} end\nendmodule\n")
    library = Path(yosys.__file__).parent / "share" / "simlib.v"
    answers = run([source, library], "cells", tmp_path).split()
    for cell, answer in zip(cells, answers, strict=True):
        if set(answer) - {"0", "1"}:
            assert cell.kind in ("$div", "$mod", "$divfloor", "$modfloor", "$shiftx", "$pow", "$tribuf"), cell
        meant = evaluate(
            cell.kind, cell.params, list(cell.operands.values()), list(cell.widths.values()), cell.width
        )
        assert f"{meant:0{cell.width}b}" == answer.replace("x", "0").replace("z", "0"), cell


def test_case_takes_the_first_that_fits() -> None:
    params = {"patterns": (("1-0", "011"), ("--1",), ("100", "000"))}
    meant = [evaluate("case", params, (s, 10, 20, 30, 40), (3, 6, 6, 6, 6), 6) for s in range(8)]
    assert meant == [30, 20, 40, 10, 10, 20, 10, 20]


def test_case_without_a_selector_or_a_pattern() -> None:
    assert evaluate("case", {"patterns": (("",),)}, (0, 1, 2), (0, 2, 2), 2) == 1
    assert evaluate("case", {"patterns": ((),)}, (0, 1, 2), (1, 2, 2), 2) == 2


def test_read_outside_of_the_memory_is_0() -> None:
    meant = [evaluate("read", {"offset": 2}, (a, 7, 5), (3, 4, 4), 4) for a in range(6)]
    assert meant == [0, 0, 7, 5, 0, 0]


def test_several_selected_the_highest_wins() -> None:
    assert evaluate("$pmux", {"WIDTH": 4, "S_WIDTH": 3}, (0, 0x321, 0b011), (4, 12, 3), 4) == 2


@pytest.mark.parametrize("kind", FOLDED)
def test_operands_of_no_bits(kind: str) -> None:
    """Amaranth has operands and results of no bits: they are 0, and all of no bits are 1."""
    ones = ["$not", "$xnor", "$logic_not", "$reduce_and", "$reduce_xnor", "$eq", "$eqx", "$le", "$ge", "$pow"]
    none = (0,) * len(PORTS[kind])
    assert evaluate(kind, {}, none, none, 0) == 0
    assert evaluate(kind, {}, none, none, 1) == (kind in ones)


def test_an_unknown_kind_is_refused() -> None:
    with pytest.raises(UnsupportedError) as refused:
        evaluate("$macc", {}, (), (), 1)
    assert str(refused.value) == (
        "cell kind $macc has no meaning here; rewrite it with the kinds of sim/netlist.py"
    )


def test_a_parameter_of_the_wrong_type_is_refused() -> None:
    with pytest.raises(NetlistError) as refused:
        evaluate("$not", {"A_SIGNED": "1"}, (0,), (1,), 1)
    assert str(refused.value) == "cell $not: parameter A_SIGNED is '1'; give an integer"
