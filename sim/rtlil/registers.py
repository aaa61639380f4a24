"""Yosys' flip-flops and latches to register records: enables and synchronous resets folded into the data.

Sources: the port lists, parameters and priorities of Yosys' cell library (`simlib.v`).
"""

from __future__ import annotations

from .lower import Design, PendingRegister, PlacedCell
from .records import ONE, ZERO, Bits, constant, digits

#: Ports of each kind beside Q. The stronger of enable and synchronous reset comes first.
REGISTERS: dict[str, tuple[str, ...]] = {
    "$dff": ("CLK", "D"),
    "$dffe": ("CLK", "EN", "D"),
    "$adff": ("CLK", "ARST", "D"),
    "$adffe": ("CLK", "ARST", "EN", "D"),
    "$sdff": ("CLK", "SRST", "D"),
    "$sdffe": ("CLK", "SRST", "EN", "D"),
    "$sdffce": ("CLK", "EN", "SRST", "D"),
    "$aldff": ("CLK", "ALOAD", "AD", "D"),
    "$aldffe": ("CLK", "ALOAD", "AD", "EN", "D"),
    "$dffsr": ("CLK", "SET", "CLR", "D"),
    "$dffsre": ("CLK", "SET", "CLR", "EN", "D"),
    "$dlatch": ("EN", "D"),
    "$adlatch": ("EN", "ARST", "D"),
    "$dlatchsr": ("EN", "SET", "CLR", "D"),
    "$sr": ("SET", "CLR"),
}


def lower_register(design: Design, site: PlacedCell) -> None:
    """One flip-flop or latch."""
    ports = REGISTERS[site.kind]
    q = site.port("Q", site.number("WIDTH", 1))
    width = len(q)
    number, out = design.nets.value(width, site.title, site.src)
    clocked = "CLK" in ports
    data = site.port("D", width) if clocked else ()
    for name in reversed(ports):  # the innermost choice comes last in the list
        if name == "EN" and clocked:
            data = design.choose(_active(design, site, "EN", 1), out, data, site.src)
        elif name == "SRST":
            data = design.choose(
                _active(design, site, "SRST", 1), data, _constant(site, "SRST_VALUE", width), site.src
            )
    overrides: list[tuple[Bits, Bits]] = []
    if not clocked and "EN" in ports:
        overrides.append((_active(design, site, "EN", 1) * width, site.port("D", width)))
    if "SET" in ports:  # clear is stronger than set
        overrides.append((_active(design, site, "SET", width), (ONE,) * width))
        overrides.append((_active(design, site, "CLR", width), (ZERO,) * width))
    if "ARST" in ports:
        overrides.append((_active(design, site, "ARST", 1) * width, _constant(site, "ARST_VALUE", width)))
    if "ALOAD" in ports:
        overrides.append((_active(design, site, "ALOAD", 1) * width, site.port("AD", width)))
    clock = site.port("CLK", 1) if clocked else None
    rising = site.number("CLK_POLARITY", 1) == 1
    design.registers.append(
        PendingRegister(number, width, clock, rising, data, tuple(overrides), site.name, site.src, q=q)
    )
    design.nets.connect(q, out)


def _active(design: Design, site: PlacedCell, name: str, width: int) -> Bits:
    """The bits of a control, 1 when it acts."""
    bits = site.port(name, width)
    return bits if site.number(f"{name}_POLARITY", 1) else design.invert(bits, site.src)


def _constant(site: PlacedCell, name: str, width: int) -> Bits:
    bits = constant(digits(site.cell.params.get(name, "0")))
    return bits[:width] + (ZERO,) * (width - len(bits))
