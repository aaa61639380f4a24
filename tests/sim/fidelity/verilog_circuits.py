"""The Verilog circuits that were written for comparison, and what each is driven with."""

from __future__ import annotations

from pathlib import Path

from .stimulus import Drive

FOLDER = Path(__file__).parent / "verilog"
CLK = ("clk",)
#: What a circuit is driven with beyond its clock `clk`; each lies in a file of its own name.
CIRCUITS = {
    "adder_chain": Drive(CLK),
    "alu": Drive(CLK),
    "arbiter": Drive(CLK, {"rst": 0.0005, "ask": 0.4}),
    "async_reset": Drive(CLK, {"rst_n": 0.995, "set": 0.02}, {"rst_n": 1, "clk": 1}),
    "automaton": Drive(CLK, {"load": 0.01, "rule": 0.05}),
    "barrel": Drive(),
    "bcd": Drive(CLK, {"rst": 0.0002, "en": 0.9}),
    "both_edges": Drive(CLK, {"rst": 0.01}, {"rst": 1}, hold=2, late=True),
    "buttons": Drive(CLK, {"raw": 0.06}),
    "byte_memory": Drive(CLK),
    "counter": Drive(CLK, {"rst": 0.01, "load": 0.03, "d": 0.5}),
    "crc": Drive(CLK, {"clear": 0.02}),
    "cross_coupled": Drive(("s_n", "r_n", "clk", "rst_n"), first={"s_n": 0, "r_n": 1, "rst_n": 0}, hold=1),
    "decoder": Drive(),
    "display": Drive(CLK, {"load": 0.05}),
    "divider": Drive(CLK, {"start": 0.3}),
    "dividers": Drive(CLK, {"rst": 0.01}, {"rst": 1}, hold=1),
    "fifo": Drive(CLK, {"rst": 0.003, "put": 0.52}),
    "filter": Drive(CLK, {"valid": 0.8}),
    "functions": Drive(CLK),
    "gated_clock": Drive(CLK, {"test": 0.1}, {"clk": 1}, hold=1, late=True),
    "gray": Drive(CLK, {"rst": 0.001, "en": 0.9}),
    "hamming": Drive(CLK),
    "hierarchy": Drive(CLK, {"clear": 0.02}),
    "latches": Drive(("g", "h"), {"rst": 0.1}),
    "lfsr": Drive(CLK, {"load": 0.002}),
    "morse": Drive(CLK, {"rst": 0.002, "go": 0.3}),
    "multiplier": Drive(CLK, {"start": 0.4}),
    "noise": Drive(CLK, {"load": 0.005}),
    "one_hot": Drive(CLK, {"rst": 0.0005}),
    "pwm": Drive(CLK, {"rst": 0.002, "we": 0.1}),
    "quadrature": Drive(CLK, {"rst": 0.002}),
    "reductions": Drive(),
    "register_file": Drive(CLK),
    "ripple": Drive(CLK, {"rst": 0.001}, {"rst": 1}, hold=1),
    "root": Drive(CLK, {"start": 0.05}),
    "selects": Drive(CLK),
    "serial_in": Drive(CLK, {"rst": 0.002, "send": 0.2, "hold": 0.01}),
    "serial_out": Drive(CLK, {"rst": 0.002, "send": 0.2}),
    "shifter": Drive(CLK, {"mode": 0.3}),
    "signed_math": Drive(CLK),
    "slots": Drive(("wclk", "rclk")),
    "sorter": Drive(CLK),
    "spi": Drive(CLK, {"rst": 0.01, "cpol": 0.02, "cpha": 0.02}),
    "stack_machine": Drive(CLK, {"rst": 0.01}),
    "table_lookup": Drive(CLK),
    "tickets": Drive(CLK, {"rst": 0.01, "cancel": 0.1}),
    "traffic": Drive(CLK, {"rst": 0.01, "hurry": 0.2}),
    "two_clocks": Drive(("clk_a", "clk_b")),
    "two_ports": Drive(CLK),
    "wide": Drive(CLK),
    "winch": Drive(CLK, {"rst_n": 0.999, "wish": 0.02}, {"rst_n": 1}),
}
#: Files that a circuit needs beside its own.
MORE = {"serial_in": ["serial_out.v"]}


def sources(name: str) -> list[Path]:
    return [FOLDER / f"{name}.v", *(FOLDER / more for more in MORE.get(name, ()))]
