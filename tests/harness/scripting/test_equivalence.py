"""Two designs are compared: proved equal, or told apart by a procedure that shows it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from forelight.harness.scripting.asking import predict
from forelight.harness.scripting.equivalence import equivalent
from forelight.sim.errors import UsageError

SHEET = """\
title = "{name}"
source = ["design.v"]
[step]
line = "i7"
[restart]
line = "i6"
active = "{active}"
[lines]
i0 = {{ means = "up" }}
"""
HEAD = """\
module design(input [7:0] inputs, output [7:0] outputs);
  wire clk = inputs[7], rst = inputs[6], up = inputs[0];
"""
#: A counter from 0 to 9 and round, written three ways; the third goes wrong only when it has gone round 3 times.
PLAIN = """\
  reg [3:0] n;
  always @(posedge clk) if (rst) n <= 0; else if (up) n <= n == 9 ? 0 : n + 1;
  assign outputs = {4'b0, n};
"""
ONE_HOT = """\
  reg [9:0] h;
  always @(posedge clk) if (rst) h <= 1; else if (up) h <= {h[8:0], h[9]};
  wire [3:0] n = {h[8] | h[9], |h[7:4], h[2] | h[3] | h[6] | h[7], h[1] | h[3] | h[5] | h[7] | h[9]};
  assign outputs = {4'b0, n};
"""
LATE = """\
  reg [3:0] n; reg [1:0] rounds;
  always @(posedge clk) if (rst) begin n <= 0; rounds <= 0; end else if (up) begin
    n <= n == 9 ? 0 : n + 1; if (n == 9 && rounds != 3) rounds <= rounds + 1; end
  assign outputs = {4'b0, n ^ (rounds == 3 && n == 5)};
"""


def design(folder: Path, name: str, body: str, active: str = "high") -> str:
    place = folder / name
    place.mkdir()
    (place / "datasheet.toml").write_text(SHEET.format(name=name, active=active))
    (place / "design.v").write_text(f"{HEAD}{body}endmodule\n")
    return str(place)


def test_two_ways_to_count_are_proved_equal(tmp_path: Path) -> None:
    found = equivalent(design(tmp_path, "plain", PLAIN), design(tmp_path, "hot", ONE_HOT), moves=500)
    assert found.equal is True and found and found.counterexample is None
    # Ten counts, each with the input up or not.
    assert found.states == 20
    assert found.settled == "proved" and str(found).endswith(
        "from a restart differs; that it settles both is proved"
    )


def test_what_no_output_depends_on_need_not_be_settled(tmp_path: Path) -> None:
    other = f"  reg idle; always @(posedge clk) idle <= idle ^ up;\n{PLAIN}"
    found = equivalent(design(tmp_path, "plain", PLAIN), design(tmp_path, "idle", other), moves=100)
    assert found.equal is True and found.settled == "proved"


def test_a_restart_that_only_power_ups_tell_of_is_said_to_be_seen(tmp_path: Path) -> None:
    """Unknown against unknown is unknown, and is 0 all the same."""
    other = PLAIN.replace("n <= 0", "n <= n ^ n")
    found = equivalent(design(tmp_path, "plain", PLAIN), design(tmp_path, "itself", other), moves=100)
    assert found.equal is True and found.settled == "seen"
    assert str(found).endswith("that it settles both was seen from 64 power-ups")


def test_where_a_maker_may_choose_nothing_is_proved(tmp_path: Path) -> None:
    other = PLAIN.replace("{4'b0, n}", "{4'b0, n} / {7'b0, up}")
    place = design(tmp_path, "divides", other)
    found = equivalent(place, place, moves=100)
    assert found.equal is None
    assert str(found) == (
        "no difference in 100 moves; no proof, as a chip's maker may choose: division by zero, design.v:5"
    )


@pytest.mark.parametrize("moves", [0, 3000])
def test_a_difference_comes_with_a_procedure_that_shows_it(tmp_path: Path, moves: int) -> None:
    one, other = design(tmp_path, "plain", PLAIN), design(tmp_path, "late", LATE)
    found = equivalent(one, other, moves=moves, seed=5)
    assert found.equal is False and not found and found.counterexample is not None
    shown = [predict(place, do=found.counterexample, power_ups=4) for place in (one, other)]
    assert shown[0].at(-1).outputs != shown[1].at(-1).outputs
    # It must have gone round three times and come to 5: the proof finds the shortest way.
    steps = int(shown[0].steps[-1])
    assert steps >= 36
    if not moves:
        assert steps == 1 + 2 + 35


def test_what_only_power_up_leaves_is_no_difference(tmp_path: Path) -> None:
    other = PLAIN.replace("reg [3:0] n;", "reg [3:0] n = 7;")
    found = equivalent(design(tmp_path, "plain", PLAIN), design(tmp_path, "seven", other), moves=300)
    assert found.equal is True


def test_a_restart_that_leaves_something_out_is_not_proved(tmp_path: Path) -> None:
    body = (
        "  reg [3:0] n; reg m;\n  always @(posedge clk) begin m <= m ^ up; if (rst) n <= 0; else n <= n + 1; end\n"
        "  assign outputs = {m, 3'b0, n};\n"
    )
    place = design(tmp_path, "extra", body)
    found = equivalent(place, place, moves=300)
    assert found.equal is None and "the restart does not settle" in str(found) and found.settled == ""


def test_too_many_states_are_no_proof(tmp_path: Path) -> None:
    wide = (
        "  reg [39:0] n;\n  always @(posedge clk) if (rst) n <= 0; else if (up) n <= n + 1;\n"
        "  assign outputs = n[7:0];\n"
    )
    place = design(tmp_path, "wide", wide)
    found = equivalent(place, place, moves=300, most=2000)
    assert found.equal is None and "too many states" in str(found)


def test_plain_logic_is_tried_with_every_input(tmp_path: Path) -> None:
    gates = {
        "and": "inputs[0] & inputs[1]",
        "or": "~(~inputs[0] | ~inputs[1])",
        "xor": "inputs[0] ^ inputs[1]",
    }
    lines = '[lines]\ni0 = { means = "a" }\ni1 = { means = "b" }\n'
    for name, text in gates.items():
        (tmp_path / name).mkdir()
        (tmp_path / name / "datasheet.toml").write_text(f'title = "{name}"\nsource = ["design.v"]\n{lines}')
        (tmp_path / name / "design.v").write_text(
            "module design(input [7:0] inputs, output [7:0] outputs);\n"
            f"  assign outputs = {{7'b0, {text}}};\nendmodule\n"
        )
    one, other, third = (str(tmp_path / name) for name in ("and", "or", "xor"))
    assert equivalent(one, other, moves=10).equal is True
    found = equivalent(one, third, moves=0)
    assert found.equal is False and found.counterexample is not None
    shown = [predict(place, do=found.counterexample, power_ups=4).at(-1).outputs for place in (one, third)]
    assert shown[0] != shown[1]


def test_restarts_on_different_levels_are_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="step or restart on different lines"):
        equivalent(design(tmp_path, "plain", PLAIN), design(tmp_path, "low", PLAIN, "low"))


def test_numbers_of_numpy_are_taken(tmp_path: Path) -> None:
    place = design(tmp_path, "plain", PLAIN)
    assert equivalent(place, place, moves=np.int64(20), most=np.uint32(5000), seed=np.int8(1)).moves == 20
