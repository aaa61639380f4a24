"""What some inputs are to have so that a circuit gets to work: instructions, and resets that are rare."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence

from ..fidelity.riscv import Line, alu, alui, assemble, branch, li, load, store

#: Resets that are seldom held, active low and active high, and a handshake that is mostly met.
_RESET = (0,) * 99 + (1,)
_RUNS, _READY = (1,) * 99 + (0,), (1, 1, 1, 0)


def _instructions() -> list[int]:
    """RV32I instructions that never trap: arithmetic, branches to where they stand, whole words at even addresses."""
    rng = random.Random(32)

    def register() -> int:
        return rng.randrange(16)

    found: list[Line] = ["here"]
    for name in ("add", "sub", "sll", "slt", "sltu", "xor", "srl", "sra", "or", "and") * 4:
        found.append(alu(name, register(), register(), register()))
    for name in ("add", "slt", "sltu", "xor", "or", "and") * 4:
        found.append(alui(name, register(), register(), rng.randrange(-2048, 2048)))
    found += [alui(name, register(), register(), rng.randrange(32)) for name in ("sll", "srl", "sra") * 3]
    for _ in range(8):
        found += li(register(), rng.getrandbits(32))
        found += [load("lw", register(), 4 * rng.randrange(64), 0), store("sw", register(), 0x40, 0)]
        found += [load("lbu", register(), rng.randrange(64), 0), store("sb", register(), 0x21, 0)]
    code = assemble(found)
    names = ("beq", "bne", "blt", "bge", "bltu", "bgeu")
    # Each assembled by itself, so that it branches to its own address.
    branches = [assemble(["at", branch(name, register(), register(), "at")])[0] for name in names]
    return [*code, *branches]


_PICO = {"resetn": _RUNS, "mem_ready": _READY, "mem_rdata": _instructions()}
WANTED: dict[str, Mapping[str, Sequence[int]]] = {
    # Products of 32 among others: the select then ends at bit 0.
    "yosys various/dynamic_part_select/reversed.v:reversed": {"ctrl": (4, 8, 31, 0), "sel": (8, 4, 1, 0)},
    "picorv32 picorv32.v:picorv32": _PICO,
    "picorv32 picorv32.v:picorv32_axi": {
        "resetn": _RUNS,
        "mem_axi_rdata": _PICO["mem_rdata"],
        **dict.fromkeys(
            ("mem_axi_awready", "mem_axi_wready", "mem_axi_bvalid", "mem_axi_arready", "mem_axi_rvalid"),
            _READY,
        ),
    },
    "picorv32 picorv32.v:picorv32_wb": {
        "wb_rst_i": _RESET,
        "wbm_ack_i": _READY,
        "wbm_dat_i": _PICO["mem_rdata"],
    },
    **{
        f"serv {name}.v:{name}": {
            "i_rst": _RESET,
            "i_ibus_ack": _READY,
            "i_ibus_rdt": _PICO["mem_rdata"],
            "i_dbus_ack": _READY,
        }
        for name in ("serv_top", "serv_rf_top", "serv_synth_wrapper")
    },
}
