"""Lanes side by side: each bit of the netlist is a word with a bit for each lane."""

from __future__ import annotations

import random
from collections.abc import Collection, Iterator, Mapping, Sequence
from copy import copy
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..compile.compiled import Compiled
from ..compile.lanes import LaneCode, Observed
from ..compile.layout import Place
from ..netlist import Netlist, Word
from ..state import PowerUp, State
from .apart import halves_pay
from .faults import Fault
from .rewrite import widen

Bits = NDArray[np.uint8]

#: Cycles of one run from which on code is made for the levels of its inputs.
_LONG = 1 << 15


class Together:
    """The state of all lanes, laid out as for one simulation of the netlist of lanes."""

    def __init__(
        self,
        netlist: Netlist,
        drawn: Netlist,
        lanes: int,
        per_lane: Collection[str],
        faults: Sequence[Fault | None],
    ) -> None:
        self.netlist, self.lanes, self.per_lane = netlist, lanes, per_lane
        self.widened = widen(drawn, lanes, per_lane, faults)
        self.code = LaneCode(self.widened.netlist, lanes, halves=halves_pay(faults, lanes))
        self.state = State(self.widened.netlist, self.code.compiled)
        self.places = self.code.compiled.layout
        self._one = State(netlist, Compiled(netlist))  # what one lane would hold at power-up
        self._stale = False
        self.compare = Observed((self.widened.differs,), gather=True)
        self.compared = Observed((self.widened.differs,))

    def power_cycle(self, power_ups: Sequence[PowerUp]) -> None:
        """Each lane wakes as a simulation of its own would."""
        known: dict[int | str, list[int]] = {}  # a lane by chance is like no other
        lanes: list[list[int]] = []
        for held in power_ups:
            if isinstance(held, int | str):
                if held not in known:
                    known[held] = self._woken(held)
                lanes.append(known[held])
            else:
                lanes.append(self._woken(held))
        self._awake = _planes(lanes)
        self._wake(self._awake)

    def power_cycle_again(self) -> None:
        """Each lane wakes as it did before."""
        self._wake(self._awake)

    def wake_alike(self, power_up: PowerUp) -> None:
        """All lanes wake as one simulation would."""
        self._wake([bit * ((1 << self.lanes) - 1) for bit in self._woken(power_up)])

    def _wake(self, planes: Sequence[int]) -> None:
        self.state.power_up(0)
        cuts = len(self.places.cuts)
        # Behind the registers of the netlist of gates stand those of its clocks, which start at 0.
        for place, plane in zip(
            (*self.places.registers[: len(planes) - cuts], *self.places.cuts), planes, strict=True
        ):
            self.state.write(place, plane)
        self._stale = False

    def load(self, images: Sequence[bytes]) -> None:
        """Each lane takes up a snapshot of a simulation; the inputs, which are one for all, are those of the first."""
        lanes: list[list[int]] = []
        for image in images:
            self._one.load(image)
            lanes.append(self._held())
        self._one.load(images[0])
        inputs = {name: self._one.read(place) for name, place in self._one.places.inputs.items()}
        self.state.power_up(0)
        for place, plane in zip(self.places.registers, _planes(lanes), strict=False):
            self.state.write(place, plane)
        for name, level in inputs.items():
            self.set(name, [level] * self.lanes)
        self.settle()  # the first settling makes no edges

    def save(self) -> list[bytes]:
        """A snapshot of each lane, to give to a simulation or to `load`."""
        self._refresh()
        planes = [self._unpacked_plane(self.state.read(place)) for place in self.places.registers]
        inputs = {name: self.state.read(self.places.inputs[name]) for name in self._one.places.inputs}
        images: dict[bytes, bytes] = {}  # lanes often hold the same
        found = []
        for held in np.stack(planes, axis=1) if planes else np.zeros((self.lanes, 0), np.uint8):
            key = held.tobytes()
            if key not in images:
                images[key] = self._image(held.tolist(), inputs)
            found.append(images[key])
        return found

    def _image(self, bits: Sequence[int], inputs: Mapping[str, int]) -> bytes:
        """The snapshot of a simulation at rest that holds these bits of state."""
        one = self._one
        one.power_up(0)
        at = 0
        for place, width in self._held_places():
            one.write(place, sum(bit << n for n, bit in enumerate(bits[at : at + width])))
            at += width
        for name, level in inputs.items():
            one.write(one.places.inputs[name], level)
        one.compiled.settle().call(one.address)
        one.check()
        return one.save()

    def _held_places(self) -> Iterator[tuple[Place, int]]:
        """Where one lane keeps what the registers of the netlist of gates hold, in their order, and how many bits."""
        one = self._one
        for register, place in zip(self.netlist.registers, one.places.registers, strict=True):
            yield place, register.width
        for number, memory in enumerate(self.netlist.memories):
            for row in range(memory.size if memory.writes else 0):
                yield one.row(number, row), memory.width

    def _held(self) -> list[int]:
        """The bits of state of one lane."""
        one = self._one
        return [one.read(place) >> bit & 1 for place, width in self._held_places() for bit in range(width)]

    def _woken(self, held: PowerUp) -> list[int]:
        """The bits of state of one lane at power-up, then those of the loops of the netlist of gates."""
        self._one.power_up(held)
        found = self._held()
        chance = copy(held) if isinstance(held, random.Random) else None
        return found + [chance.getrandbits(1) if chance else int(held == 1) for _ in self.places.cuts]

    def set(self, name: str, values: Sequence[int]) -> None:
        self._refresh()
        if name not in self.per_lane:
            self.state.write(self.places.inputs[name], values[0])
            return
        for bit in range(self.netlist.widths[self.netlist.inputs[name]]):
            word = sum((value >> bit & 1) << lane for lane, value in enumerate(values))
            self.state.write(self.places.inputs[f"{name}[{bit}]"], word)

    def settle(self) -> None:
        """One update; the first one is told to the clocks that differ from lane to lane."""
        startup = self.widened.startup
        if startup:
            self.state.write(self.places.inputs[startup], int(self.state.fresh))
        self.code.settle().call(self.state.address)
        self.state.check()
        if startup:
            self.state.write(self.places.inputs[startup], 0)
        self._stale = False

    def bits(self, name: str) -> Bits:
        self._refresh()
        planes = [self._plane(word, self.state.word(word)) for word in self._words(name)]
        return np.array(planes, np.uint8).reshape(-1, self.lanes).T

    def _words(self, name: str) -> tuple[Word, ...]:
        return self.widened.outputs[name] if name in self.widened.outputs else self.widened.names[name]

    def _plane(self, word: Word, value: int) -> Bits:
        """The bits of a word, lane 0 first; a word of one bit is the same in all lanes."""
        if word.width == 1:
            return np.full(self.lanes, value, np.uint8)
        return self._unpacked_plane(value)

    def _unpacked_plane(self, value: int) -> Bits:
        raw = np.frombuffer(value.to_bytes(-(-self.lanes // 8), "little"), np.uint8)
        return np.unpackbits(raw, bitorder="little", count=self.lanes)

    # Runs

    def samples(self, columns: Mapping[str, NDArray[Any]], observe: str) -> Bits:
        observed = Observed(self._words(observe))
        return self._unpacked(observed, self._driven(columns, observed))

    def differs_in_samples(self, columns: Mapping[str, NDArray[Any]]) -> Bits:
        return self._unpacked(self.compare, self._driven(columns, self.compare, 1))[:, 0, 0]

    def difference(self, columns: Mapping[str, NDArray[Any]]) -> Bits:
        """For each update the lanes in which any output is another than in lane 0, eight lanes to a byte."""
        return self._driven(columns, self.compared)

    def resume(self, state: bytes) -> None:
        """Go on from what the state was."""
        self.state.load(state)
        self._stale = True

    def agreement(self, columns: Mapping[str, NDArray[Any]], observe: str) -> NDArray[Any]:
        observed = Observed((self.widened.agreement[observe],))
        return self._driven(columns, observed).view(f"<u{observed.offsets[-1]}")[:, 0]

    def _driven(
        self, columns: Mapping[str, NDArray[Any]], observed: Observed, rows: int | None = None
    ) -> Bits:
        """What is observed after each update, in as many rows as there are updates, or in so many."""
        count = len(next(iter(columns.values()))) if columns else 0
        out = np.zeros((count if rows is None else rows, observed.offsets[-1]), np.uint8)
        first = self._first_sample(columns, count)
        if first:
            out[0] = self._record(observed)
        self._rows(columns, observed, out, first, count)
        return out

    def clock(self, port: str, bit: int, cycles: int, observe: str) -> Bits:
        observed = Observed(self._words(observe))
        out = np.zeros((cycles, observed.offsets[-1]), np.uint8)
        if cycles:
            self._first_cycle(port, bit)
            out[0] = self._record(observed)
        self._cycles(port, bit, observed, out[1:], cycles - 1)
        return self._unpacked(observed, out)

    def differs_in_clock(self, port: str, bit: int, cycles: int) -> Bits:
        out = np.zeros((1, self.compare.offsets[-1]), np.uint8)
        if cycles:
            self._first_cycle(port, bit)
            out[0] = self._record(self.compare)
        self._cycles(port, bit, self.compare, out, cycles - 1)
        return self._unpacked(self.compare, out)[:, 0, 0]

    def _first_sample(self, columns: Mapping[str, NDArray[Any]], count: int) -> int:
        """The first settling after power-up makes no edges, so it is one by itself; how many rows that took."""
        self._refresh()
        if not count or not self.state.fresh:
            return 0
        for name, values in columns.items():
            row = values[0]
            self.set(name, [int(row)] * self.lanes if values.ndim == 1 else [int(each) for each in row])
        self.settle()
        return 1

    def _first_cycle(self, port: str, bit: int) -> None:
        """One cycle by single updates: it applies what has been set, and may start from a high clock."""
        self._refresh()
        if self.state.fresh:
            self.settle()
        place = self.places.inputs[port]
        level = self.state.read(place)
        for up in (1, 0):
            self.state.write(place, level & ~(1 << bit) | up << bit)
            self.settle()

    def _record(self, observed: Observed) -> Bits:
        """A record of the words as they are now."""
        found = np.zeros(observed.offsets[-1], np.uint8)
        for word, start, end in zip(observed.words, observed.offsets, observed.offsets[1:], strict=False):
            raw = self.state.word(word).to_bytes(end - start, "little")
            found[start:end] = np.frombuffer(raw, np.uint8)
        return found

    def _rows(
        self, columns: Mapping[str, NDArray[Any]], observed: Observed, out: Bits, first: int, count: int
    ) -> None:
        if first >= count:
            return
        arrays: dict[str, NDArray[Any]] = {}
        for name, values in columns.items():
            if name in self.per_lane:
                arrays |= self._planes(name, values[first:])
            else:
                arrays[name] = np.ascontiguousarray(values[first:], f"<u{self.places.inputs[name].size}")
        pointers = [array.ctypes.data for array in arrays.values()]
        rest = out if observed.gather else out[first:]
        code = self.code.rows(list(arrays), observed)
        code.call(self.state.address, *pointers, rest.ctypes.data, count - first)
        self._stale = True
        self.state.check()

    def _cycles(self, port: str, bit: int, observed: Observed, out: Bits, count: int) -> None:
        if count > 0:
            # A long run is worth code for the very levels of the inputs.
            steady = [name for name in self.netlist.inputs if name not in self.per_lane and count >= _LONG]
            levels = tuple((name, self.state.read(self.places.inputs[name])) for name in steady)
            self.code.clock(port, bit, observed, levels).call(self.state.address, out.ctypes.data, count)
            self._stale = True
            self.state.check()

    def _planes(self, name: str, values: NDArray[Any]) -> dict[str, NDArray[Any]]:
        """A column of a per-lane input as a column of words for each of its bits."""
        if values.ndim == 1:
            values = np.repeat(values[:, None], self.lanes, axis=1)
        found = {}
        for bit in range(self.netlist.widths[self.netlist.inputs[name]]):
            port = f"{name}[{bit}]"
            packed = np.packbits((values >> np.uint8(bit) & 1).astype(np.uint8), axis=1, bitorder="little")
            plane = np.zeros((len(values), self.places.inputs[port].size), np.uint8)
            plane[:, : packed.shape[1]] = packed
            found[port] = plane
        return found

    def _unpacked(self, observed: Observed, out: Bits) -> Bits:
        """Records as an array of lanes, records and words."""
        planes = []
        for word, start in zip(observed.words, observed.offsets, strict=False):
            bits = np.unpackbits(out[:, start:], axis=1, bitorder="little", count=word.width)
            planes.append(bits if word.width > 1 else np.repeat(bits, self.lanes, axis=1))
        return np.stack(planes).transpose(2, 1, 0)

    def _refresh(self) -> None:
        """Bring the outputs in the state up to date after a run."""
        if self._stale:
            self.settle()


def _planes(lanes: Sequence[Sequence[int]]) -> list[int]:
    """Bits by lane as words by bit, lane 0 in the lowest bit."""
    packed = np.packbits(np.array(lanes, np.uint8), axis=0, bitorder="little")
    return [int.from_bytes(packed[:, number].tobytes(), "little") for number in range(packed.shape[1])]
