"""Many variants of one netlist side by side: power-ups, inputs or stuck-at faults, a lane each."""

from __future__ import annotations

import random
from collections.abc import Collection, Mapping, Sequence
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from ..errors import UsageError
from ..gates.rewrite import gates
from ..netlist import Netlist
from ..simulation import fits
from ..state import PowerUp
from .faults import Fault, FaultLines
from .in_turn import InTurn
from .together import Together

Bits = NDArray[np.uint8]
Numbers = NDArray[np.unsignedinteger[Any]]


class _Engine(Protocol):
    """What carries the lanes out: all in one word, or one after another."""

    def power_cycle(self, power_ups: Sequence[PowerUp]) -> None: ...
    def power_cycle_again(self) -> None: ...
    def load(self, images: Sequence[bytes]) -> None: ...
    def save(self) -> list[bytes]: ...
    def set(self, name: str, values: Sequence[int]) -> None: ...
    def settle(self) -> None: ...
    def bits(self, name: str) -> Bits: ...
    def samples(self, columns: Mapping[str, NDArray[Any]], observe: str) -> Bits: ...
    def agreement(self, columns: Mapping[str, NDArray[Any]], observe: str) -> Numbers: ...
    def clock(self, port: str, bit: int, cycles: int, observe: str) -> Bits: ...
    def differs_in_samples(self, columns: Mapping[str, NDArray[Any]]) -> Bits: ...
    def differs_in_clock(self, port: str, bit: int, cycles: int) -> Bits: ...


class Lanes:
    """`lanes` copies of one netlist, each with a state of its own.

    `power_up` is what all lanes hold at first (0, 1, "init" or a random.Random, which is asked for one lane after
    another, as `Simulation` asks it), or one such for each lane. The inputs named by `per_lane_inputs` differ
    from lane to lane, the others are one for all. `faults` gives lane k the fault `faults[k]`, None for none;
    the netlist must then be one of gates, best `gates(netlist, as_drawn=True)`, to which the sites belong.

    The lanes lie side by side in words, which are quickest where `lanes` is 512 (or 128 or 256). A netlist with a
    memory that cannot be turned into gates (see `gates`) runs one lane after another instead; `side_by_side` tells
    which, and `note` why.

    Whatever a run gives has the lane as its first index. A loop without rest in one lane is a LoopError for all.
    """

    def __init__(
        self,
        netlist: Netlist,
        lanes: int = 512,
        power_up: PowerUp | Sequence[PowerUp] = 0,
        *,
        per_lane_inputs: Collection[str] = (),
        faults: Sequence[Fault | None] = (),
    ) -> None:
        self.netlist, self.lanes = netlist, lanes
        self.inputs = {name: netlist.widths[value] for name, value in netlist.inputs.items()}
        self.outputs = {name: word.width for name, word in netlist.outputs.items()}
        self.per_lane_inputs = frozenset(per_lane_inputs)
        self._check(faults)
        drawn = netlist if faults else gates(netlist)
        self.side_by_side = not drawn.memories
        self.note = ""
        self._engine: _Engine
        if self.side_by_side:
            self._engine = Together(netlist, drawn, lanes, self.per_lane_inputs, faults)
        else:
            names = ", ".join(memory.name for memory in drawn.memories)
            self.note = f"memory {names} of {netlist.name} is no gates: the lanes run one after another"
            self._engine = InTurn(netlist, lanes)
        self.power_cycle(power_up)

    def power_cycle(self, power_up: PowerUp | Sequence[PowerUp] = 0) -> None:
        """Power off and on: all state anew, inputs 0; the next settling makes no edges."""
        if isinstance(power_up, (int, str, random.Random)):
            held: list[PowerUp] = [power_up] * self.lanes
        else:
            held = list(power_up)
        if len(held) != self.lanes:
            raise UsageError(
                f"{len(held)} power-ups for {self.lanes} lanes",
                place=self.netlist.name,
                remedy="give one a lane",
            )
        self._engine.power_cycle(held)

    def power_cycle_again(self) -> None:
        """Power off and on, each lane in the state in which it woke up before, also one by chance."""
        self._engine.power_cycle_again()

    def load(self, states: Sequence[bytes]) -> None:
        """Put lane k into a state that `snapshot` of a simulation of the netlist gave; the netlist must have no loops.

        All states must have been taken with the same inputs.
        """
        if len(states) != self.lanes:
            raise UsageError(
                f"{len(states)} states for {self.lanes} lanes",
                place=self.netlist.name,
                remedy="give one a lane",
            )
        self._engine.load(states)

    def save(self) -> list[bytes]:
        """The state of each lane, as `load` and `restore` of a simulation take it."""
        return self._engine.save()

    def set(self, name: str, value: int | Sequence[int] | NDArray[Any]) -> None:
        """Put an input to a value, or one of `per_lane_inputs` to a value for each lane."""
        self._input(name)
        if isinstance(value, (int, np.integer)):
            values = [int(value)] * self.lanes
        else:
            values = [int(each) for each in value]
            if name not in self.per_lane_inputs or len(values) != self.lanes:
                raise UsageError(
                    f"input {name} cannot take {len(values)} values",
                    place=self.netlist.name,
                    remedy=f"give one value, or one for each of {self.lanes} lanes of a per-lane input",
                )
        if not all(0 <= each < 1 << self.inputs[name] for each in values):
            raise UsageError(
                f"input {name} has {self.inputs[name]} bits and cannot take all of these values",
                place=self.netlist.name,
                remedy=f"give 0 to {(1 << self.inputs[name]) - 1}",
            )
        self._engine.set(name, values)

    def settle(self) -> None:
        """One update of all lanes."""
        self._engine.settle()

    def bits(self, name: str) -> Bits:
        """The bits of an output or of a name of the source: an array of lanes and bits, bit 0 first."""
        self._named(name)
        return self._engine.bits(name)

    def get(self, name: str) -> list[int]:
        """The value of an output or of a name of the source, one for each lane."""
        return _integers(self.bits(name))

    def run_samples(self, columns: Mapping[str, NDArray[Any]], observe: str) -> Numbers:
        """One update for each row of the columns; an array of lanes and updates, the observed value after each.

        A column of one of `per_lane_inputs` may have an axis for the lanes behind the rows: rows x lanes.
        """
        return _numbers(self._engine.samples(self._columns(columns), self._narrow(observe)))

    def run_agreement(self, columns: Mapping[str, NDArray[Any]], observe: str) -> tuple[Numbers, Numbers]:
        """As `run_samples`, of an output of 8, 16 or 32 bits: what lane 0 shows, and a mask of the bits that differ.

        Both are arrays of updates.
        """
        width = self.outputs[observe]
        if width not in (8, 16, 32):
            raise UsageError(
                f"output {observe} has {width} bits",
                place=self.netlist.name,
                remedy="observe an output of 8, 16 or 32 bits",
            )
        both = self._engine.agreement(self._columns(columns), observe).view(f"<u{width // 8}")
        return both[0::2], both[1::2]

    def run_clock(self, port: str, *, bit: int = 0, cycles: int, observe: str) -> Numbers:
        """Toggle one bit of an input that is one for all: up and down for each cycle, observed after each fall."""
        self._clock_bit(port, bit)
        return _numbers(self._engine.clock(port, bit, cycles, self._narrow(observe)))

    def differs_in_samples(self, columns: Mapping[str, NDArray[Any]]) -> Bits:
        """As `run_samples`; for each lane whether any output was ever another than that of lane 0 after an update."""
        return self._engine.differs_in_samples(self._columns(columns))

    def differs_in_clock(self, port: str, *, bit: int = 0, cycles: int) -> Bits:
        """As `run_clock`; for each lane whether any output was ever another than that of lane 0 after a fall."""
        self._clock_bit(port, bit)
        return self._engine.differs_in_clock(port, bit, cycles)

    # What may be asked

    def _check(self, faults: Sequence[Fault | None]) -> None:
        for name in self.per_lane_inputs:
            self._input(name)
        if self.lanes < 1 or len(faults) > self.lanes:
            raise UsageError(
                f"{len(faults)} faults in {self.lanes} lanes",
                place=self.netlist.name,
                remedy="give more lanes",
            )
        if faults:
            known = FaultLines(self.netlist).places
            for fault in faults:
                if fault is not None and fault.site not in known:
                    raise UsageError(
                        f"{fault} is at no site of {self.netlist.name}",
                        remedy="take faults from the netlist of gates that runs",
                    )

    def _columns(self, columns: Mapping[str, NDArray[Any]]) -> dict[str, NDArray[Any]]:
        arrays = {name: np.asarray(values) for name, values in columns.items()}
        rows = {len(values) for values in arrays.values()}
        for name, values in arrays.items():
            width = self._input(name)
            shapes = {1, 2} if name in self.per_lane_inputs else {1}
            wrong = values.ndim not in shapes or (values.ndim == 2 and values.shape[1] != self.lanes)
            if wrong or width > 64 or len(rows) != 1 or not fits(values, width):
                raise UsageError(
                    f"input {name} of {width} bits cannot take an array of {values.dtype} of shape {values.shape}",
                    place=self.netlist.name,
                    remedy="give whole numbers that fit, a row for each update (and a column for each lane)",
                )
            if values.dtype.kind != "u":
                arrays[name] = values.astype(np.uint64)
        return arrays

    def _clock_bit(self, port: str, bit: int) -> None:
        width = self._input(port)
        if port in self.per_lane_inputs or not 0 <= bit < width:
            raise UsageError(
                f"bit {bit} of input {port} is no clock for all lanes",
                place=self.netlist.name,
                remedy=f"name one of bits 0 to {width - 1} of an input that does not differ from lane to lane",
            )

    def _input(self, name: str) -> int:
        if name not in self.inputs:
            raise UsageError(
                f"no input is called {name}",
                place=self.netlist.name,
                remedy=f"there are {', '.join(self.inputs)}",
            )
        return self.inputs[name]

    def _named(self, name: str) -> int:
        found = self.netlist.outputs.get(name) or self.netlist.names.get(name)
        if found is None:
            raise UsageError(
                f"no output is called {name}",
                place=self.netlist.name,
                remedy=f"there are {', '.join(self.outputs)}",
            )
        return found.width

    def _narrow(self, observe: str) -> str:
        if self._named(observe) > 64:
            raise UsageError(
                f"{observe} has more than 64 bits",
                place=self.netlist.name,
                remedy="step with settle and bits",
            )
        return observe


def _integers(bits: Bits) -> list[int]:
    packed = np.packbits(bits, axis=1, bitorder="little")
    return [int.from_bytes(row.tobytes(), "little") for row in packed]


def _numbers(bits: Bits) -> Numbers:
    """Bits on the last axis as numbers, in the narrowest type that holds them."""
    width = bits.shape[-1]
    size = next(size for size in (8, 16, 32, 64) if width <= size)
    found: Numbers = np.zeros(bits.shape[:-1], f"<u{size // 8}", order="F")
    for bit in range(width):
        found |= bits[..., bit].astype(found.dtype) << found.dtype.type(bit)
    return found
