"""Clocks that are one bit for all lanes, though a fault may hold them still in some."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .faults import Net, Site
from .lane_apart import inputs_of, net_of, nets, nets_of
from .netlist import Register, Word

if TYPE_CHECKING:
    from .lane_netlist import _Widening


class CommonClocks:
    """The clocks of one netlist of lanes that all lanes share, at most inverted on the way from where they do."""

    def __init__(self, to: _Widening) -> None:
        self._to = to

    def is_common(self, register: Register) -> bool:
        """Whether one clock serves a register in all lanes."""
        return register.clock is None or self._walk(register.clock)[0]

    def clock(self, index: int) -> tuple[Word | None, bool, int]:
        """The one-bit clock of a register, or None; its edge; and the lanes in which that clock is stuck."""
        to, register = self._to, self._to.old.registers[index]
        assert register.clock is not None
        found, net, inverted, still = self._walk(register.clock)
        if not found:
            return None, register.rising, 0
        clock = Word.const(0, 1) if net is None else to.one[net]
        return clock, register.rising != inverted, still | to.held(Site("clock", index))

    def _walk(self, bit: Word) -> tuple[bool, Net | None, bool, int]:
        """From a clock back to where all lanes are alike: found, where, inverted, the lanes stuck on the way."""
        to, inverted, still = self._to, False, 0
        while nets(bit):
            net = net_of(bit)
            if net not in to.apart:
                return True, net, inverted, still
            still |= to.held(Site("driver", *net))
            number = to.makers.get(net)
            if number is None:
                port = net[0] in to.old.inputs.values()
                return port and not self._is_per_lane(net[0]), net, inverted, still
            cell = to.old.cells[number]
            if cell.output not in to.plan.cuts and to.apart.isdisjoint(nets_of(cell)):
                broken = any(to.held(Site("gate", number, k)) for k in range(inputs_of(cell)))
                if not broken:
                    return True, net, inverted, still
            if cell.kind not in ("$buf", "$not") or cell.output in to.plan.cuts:
                return False, None, False, 0
            still |= to.held(Site("gate", number))
            inverted ^= cell.kind == "$not"
            bit = cell.operands[0]
        return True, None, inverted, still

    def _is_per_lane(self, value: int) -> bool:
        return any(self._to.old.inputs[port] == value for port in self._to.per_lane)
