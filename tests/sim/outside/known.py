"""Circuits from outside that are refused, not compared, undecided or that differ, each with the reason.

`python -m tests.sim.outside.known` prints the table of README.md beside it.
"""

from __future__ import annotations

_COMMA = "IEEE 1364-2005, A.1.3, has no empty port at the end of a list of declarations; Yosys takes one"
_ANY_PORTS = "the list of ports is `(...)`, which Yosys takes and IEEE 1364-2005, A.1.3, has not"
_UNSIZED = "IEEE 1364-2005, 5.1.14: a concatenation has no unsized number; Yosys takes it for 32 bits"
_LOAD = (
    "Icarus follows the standard (IEEE 1364-2005, 9.7: the block waits for edges alone); Forelight builds, as synthesis"
    " and silicon do, a flip-flop whose load is a level, so data that moves while it loads is seen"
)
_TWO = (
    "a net is driven by logic and by a constant: IEEE 1364-2005, 4.6.1, and Icarus have x where they differ; Yosys 0.70"
    " gives all that reads the net the constant, so Forelight refuses it"
)
_NOTHING = "nothing drives the outputs: z or x by the standard"

#: For each circuit: `refused` by Forelight, `not compared` (refused by Icarus Verilog 11 alone), `undecided` (Icarus
#: knows hardly any of the output bits) or `differs`; and why.
KNOWN: dict[str, tuple[str, str]] = {
    "yosys sim/aldff.v:aldff": ("differs", _LOAD),
    "yosys sim/aldffe.v:aldffe": ("differs", _LOAD),
    "yosys sim/dffsr.v:dffsr": (
        "differs",
        "Icarus follows the standard (IEEE 1364-2005, 9.7: no edge, no event, when the clear ends while the set goes"
        " on); Forelight builds, as synthesis and silicon do, a flip-flop whose set is a level",
    ),
    "yosys hana/test_parse2synthtrans.v:f3_test": ("refused", _TWO),
    "yosys hana/test_simulation_vlib.v:f1_test": (
        "refused",
        "Icarus follows the standard (IEEE 1364-2005, 4.6: `supply1` is a net); Yosys 0.70 does not parse it",
    ),
    "yosys hana/test_simulation_vlib.v:f2_test": (
        "refused",
        "the same library of cells, which holds `supply1`",
    ),
    "yosys opt/opt_rmdff.v:opt_rmdff_test": (
        "refused",
        "made of cells of Yosys' own library by name, which no Verilog text declares; Icarus has none either",
    ),
    "picorv32 picosoc/ice40up5k_spram.v:ice40up5k_spram": (
        "refused",
        "made of a chip maker's memory, which no text of the package declares; Icarus has none either",
    ),
    "yosys simple/memory.v:memtest02": (
        "not compared",
        "a port is named `bit`, a word of IEEE 1800, by which Icarus is asked here; Forelight reads IEEE 1364-2005",
    ),
    "yosys various/dynamic_part_select/forloop_select_gate.v:forloop_select_gate": ("not compared", _UNSIZED),
    "yosys various/dynamic_part_select/reset_test_gate.v:reset_test_gate": ("not compared", _UNSIZED),
    "yosys various/dynamic_part_select/reversed_gate.v:reversed_gate": ("not compared", _UNSIZED),
    "yosys various/dynamic_part_select/latch_1990.v:latch_1990": (
        "not compared",
        "an attribute of `!BUG`, a constant expression by IEEE 1364-2005, 3.8; Icarus 11 does not take it for one",
    ),
    "yosys arch/common/mul.v:top": ("not compared", _COMMA),
    "yosys opt/opt_share_add_sub.v:opt_share_test": ("not compared", _COMMA),
    "yosys opt/opt_share_cat.v:opt_share_test": ("not compared", _COMMA),
    "yosys opt/opt_share_cat_multiuser.v:opt_share_test": ("not compared", _COMMA),
    "yosys opt/opt_expr_cmp.v:top": ("not compared", _ANY_PORTS),
    "yosys opt/opt_expr_constconn.v:top": ("not compared", _ANY_PORTS),
    "serv serv_rf_ram.v:serv_rf_ram": (
        "not compared",
        "not meant to stand alone: its width is 0, which repeats a word no times (IEEE 1364-2005, 5.1.14, forbids it)",
    ),
    "yosys asicworld/code_hdl_models_full_subtracter_gates.v:full_subtracter_gates": (
        "undecided",
        "a slip in the source: `borrows` is driven by nothing, and so is `borrow`",
    ),
    "yosys asicworld/code_verilog_tutorial_comment.v:addbit": ("undecided", _NOTHING),
    "yosys asicworld/code_verilog_tutorial_good_code.v:addbit": ("undecided", _NOTHING),
    "yosys hana/test_intermout.v:f33_test": ("undecided", _NOTHING),
    "yosys hana/test_parse2synthtrans.v:f1_test": ("undecided", _NOTHING),
    "yosys hana/test_parse2synthtrans.v:f2_demultiplexer1_to_4": ("undecided", _NOTHING),
    "yosys hana/test_parse2synthtrans.v:f5_test": (
        "undecided",
        "constants fight on the output: x by IEEE 1364-2005, 4.6.1; Yosys takes one of them",
    ),
}


def table() -> str:
    """The lines of the table in README.md."""
    lines = [f"| `{label}` | {outcome} | {why} |" for label, (outcome, why) in KNOWN.items()]
    return "\n".join(["| circuit | outcome | why |", "|---|---|---|", *lines, ""])


if __name__ == "__main__":
    print(table(), end="")
