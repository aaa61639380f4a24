"""The face of the engine: load, drive, settle, get, run, snapshot, restore."""

from __future__ import annotations

import operator
from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any, SupportsIndex

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .compile.compiled import Compiled
from .compile.layout import Place, element_bits
from .errors import UsageError
from .netlist import Netlist, Word
from .state import PowerUp, State
from .traces.trace import Trace

if TYPE_CHECKING:
    from .compile.clock import Toggle

#: Values in one block of `stream_clock`.
BLOCK = 1 << 18
#: Values that `run_clock` fills before it asks again for the fastest code.
_CHUNK = 1 << 21
#: Cycles of one run after which faster code is looked for in the background.
_LONG = 1 << 23

Recorded = NDArray[np.unsignedinteger[Any]]
_DTYPES: Mapping[int, Any] = {8: np.uint8, 16: np.uint16, 32: np.uint32, 64: np.uint64}


def fits(values: NDArray[Any], width: int) -> bool:
    """Whether an array holds whole numbers of so many bits, of whatever type."""
    if values.dtype.kind not in "uib":
        return False
    return not values.size or (int(values.min()) >= 0 and int(values.max()) < 1 << width)


class Simulation:
    """One netlist with a state of its own.

    `power_up` is what the flip-flops and memories hold at first: 0, 1, `init` (what the source states, 0
    where it states nothing) or a `random.Random`. Registers that nothing assigns and memories that nothing
    writes are wiring: they always hold what the source states. `inputs` and `outputs` map each port to its
    width.
    """

    def __init__(self, netlist: Netlist, power_up: PowerUp = 0, *, compiled: Compiled | None = None) -> None:
        self.netlist = netlist
        self.compiled = compiled or Compiled(netlist)
        self.inputs = {name: netlist.widths[value] for name, value in netlist.inputs.items()}
        self.outputs = {name: word.width for name, word in netlist.outputs.items()}
        self._state = State(netlist, self.compiled)
        self.power_cycle(power_up)

    # State

    def power_cycle(self, power_up: PowerUp = 0) -> None:
        """Power off and on: all state anew, inputs 0; the next settling makes no edges."""
        self._state.power_up(power_up)
        #: The outputs in the state are older than the rest; something was changed from outside since the last run.
        self._stale, self._touched = False, True

    def snapshot(self) -> bytes:
        """The whole state, to give back to `restore` of a simulation of the same netlist."""
        self._refresh()
        return self._state.save()

    def restore(self, state: bytes) -> None:
        """Take up a state that `snapshot` gave."""
        self._state.load(state)
        self._stale, self._touched = False, True

    # One update at a time

    def set(self, name: str, value: SupportsIndex) -> None:
        """Put an input port to a value, of Python or NumPy; it takes effect at the next `settle` or run."""
        self._refresh()
        place = self._input(name)
        value = self._whole(name, value)
        if not 0 <= value < 1 << place.width:
            raise UsageError(
                f"input {name} has {place.width} bits and cannot take {value}",
                place=self.netlist.name,
                remedy=f"give 0 to {(1 << place.width) - 1}",
            )
        self._state.write(place, value)
        self._touched = True

    def set_many(self, values: Mapping[str, SupportsIndex]) -> None:
        """Put several input ports to their values at one instant."""
        for name, value in values.items():
            self.set(name, value)

    def _whole(self, name: str, value: SupportsIndex) -> int:
        """The value as an integer of Python."""
        try:
            return operator.index(value)
        except TypeError:
            raise UsageError(
                f"{name} cannot take {value!r}",
                place=self.netlist.name,
                remedy="give a whole number",
            ) from None

    def settle(self) -> None:
        """One update: inputs are applied and everything comes to rest."""
        self._stale = False
        self.compiled.settle().call(self._state.address)
        self._state.check()

    def get(self, name: str) -> int:
        """The value of a port, or of any name of the source, as of the last update."""
        self._refresh()
        places = self.compiled.layout
        if name in places.outputs:
            return self._state.read(places.outputs[name])
        if name in places.inputs:
            return self._state.read(places.inputs[name])
        return self._state.word(self._named(name))

    def peek_memory(self, name: str) -> list[int]:
        """The rows of a memory, lowest address first."""
        number = self._memory(name)
        count = self.netlist.memories[number].size
        return [self._state.read(self._state.row(number, index)) for index in range(count)]

    def poke_memory(self, name: str, index: SupportsIndex, value: SupportsIndex) -> None:
        """Put row `index` (0 for the lowest address) of a memory to a value."""
        index, value = self._whole("a row", index), self._whole(name, value)
        number = self._memory(name)
        memory = self.netlist.memories[number]
        if not 0 <= index < memory.size or not 0 <= value < 1 << memory.width:
            raise UsageError(
                f"memory {name} has {memory.size} rows of {memory.width} bits: row {index} cannot take {value}",
                place=self.netlist.name,
                remedy="give a row and a value inside it",
            )
        self._refresh()
        self._state.write(self._state.row(number, index), value)
        self._touched = True

    def held(self) -> dict[int, int]:
        """The values that the state holds, by their numbers: inputs, registers, and nets that close a loop."""
        self._refresh()
        return self._state.known()

    # Runs in machine code

    def run_clock(
        self, port: str, *, bit: SupportsIndex = 0, cycles: SupportsIndex, observe: str
    ) -> Recorded:
        """Toggle one input bit: `cycles` times up and down, the value of `observe` recorded after each fall.

        The array has one element a cycle, of 8, 16, 32 or 64 bits as `observe` needs. The other bits of the
        port and the other inputs keep the values last set; at the rising edge the clock bit itself is seen as
        1.
        """
        bit, cycles = self._whole("bit", bit), self._whole("cycles", cycles)
        out = np.empty(cycles, self._dtype(observe))
        for _ in self._clock(port, bit, observe, (out[at : at + _CHUNK] for at in range(0, cycles, _CHUNK))):
            pass
        return out

    def stream_clock(
        self, port: str, *, bit: SupportsIndex = 0, cycles: SupportsIndex, observe: str
    ) -> Iterator[Recorded]:
        """As `run_clock`, in blocks of at most 2**18 values in one reused buffer: each is valid until the next."""
        bit, cycles = self._whole("bit", bit), self._whole("cycles", cycles)
        buffer = np.empty(min(cycles, BLOCK), self._dtype(observe))
        sizes = (min(cycles - at, BLOCK) for at in range(0, cycles, BLOCK))
        return self._clock(port, bit, observe, (buffer[:size] for size in sizes))

    def run_samples(self, port: str, values: ArrayLike, observe: str) -> Recorded:
        """One update for each element of `values` on `port`; the value of `observe` after each."""
        return self.run_columns({port: values}, observe)

    def run(self, stimulus: Trace) -> Trace:
        """Play a change-only trace of input ports; a change-only trace of all outputs, in the same time unit."""
        for name in stimulus.values:
            self._input(name)
        if max([0, *stimulus.widths.values(), *self.outputs.values()]) > 64:
            columns = self._run_wide(stimulus)
        else:
            before = self.snapshot()
            columns = {}
            for name in self.outputs:
                self.restore(before)
                columns[name] = self.run_columns(stimulus.values, name).astype(np.uint64)
        return Trace(stimulus.times, columns, self.outputs, stimulus.end).compact()

    def _clock(self, port: str, bit: int, observe: str, blocks: Iterable[Recorded]) -> Iterator[Recorded]:
        """Fill the blocks one after another, on the fastest code that there is when each begins."""
        place = self._input(port)
        if not 0 <= bit < place.width:
            raise UsageError(
                f"input {port} has no bit {bit}",
                place=self.netlist.name,
                remedy=f"its bits are 0 to {place.width - 1}",
            )
        toggle = None
        done = 0
        for block in blocks:
            rest = block
            if toggle is None or self._touched:
                toggle = self._first_cycle(port, bit, observe, block)
                rest = block[1:]
            if len(rest):
                code = self.compiled.tuned(toggle) or self.compiled.clock(toggle)
                code.call(self._state.address, rest.ctypes.data, len(rest))
                self._stale = True
                if self._state.restless():
                    level = self._state.read(place)
                    self._replay({port: level & ~(1 << bit) | up << bit} for _ in rest for up in (1, 0))
            done += len(block)
            if done >= _LONG:
                self.compiled.tune(toggle, self._state.save())
                done = 0
            yield block

    def _first_cycle(self, port: str, bit: int, observe: str, out: Recorded) -> Toggle:
        """One cycle by single updates: it may start from a high clock."""
        from .compile.clock import Toggle

        place = self._input(port)
        self.settle()  # what has been set comes before the first edge, and so does power
        level = self.get(port)
        for up in (1, 0):
            self._state.write(place, level & ~(1 << bit) | up << bit)
            self.settle()
        out[0] = self.get(observe)
        self._touched = False
        levels = tuple((name, self.get(name)) for name in self.inputs)
        return Toggle(port, bit, self._named(observe), levels)

    def run_columns(self, columns: Mapping[str, ArrayLike], observe: str) -> Recorded:
        """One update for each row of the columns, a column a port; the value of `observe` after each."""
        names = list(columns)
        count = len(np.asarray(columns[names[0]])) if names else 0
        arrays = [self._column(name, columns[name]) for name in names]
        out = np.empty(count, self._dtype(observe))
        if not count:
            return out
        self._refresh()
        first = 0
        if self._state.fresh:
            self.set_many({name: int(array[0]) for name, array in zip(names, arrays, strict=True)})
            self.settle()
            out[0] = self.get(observe)
            first = 1
        if first < count:
            code = self.compiled.rows(names, self._named(observe), count - first)
            pointers = [array[first:].ctypes.data for array in arrays]
            code.call(self._state.address, *pointers, out[first:].ctypes.data, count - first)
            self._stale = self._touched = True
            if self._state.restless():
                rows = zip(*(array[first:].tolist() for array in arrays), strict=True)
                self._replay(dict(zip(names, row, strict=True)) for row in rows)
        return out

    def run_each(
        self, states: Iterable[bytes], port: str, values: ArrayLike, observe: str
    ) -> Iterator[tuple[Recorded, bytes]]:
        """`run_samples` from each of several snapshots: what was observed, and a snapshot of the end."""
        column, place = self._column(port, values), self._named(observe)
        count, kind, address = len(column), self._dtype(observe), self._state.address
        settle = self.compiled.settle()
        for state in states:
            self.restore(state)
            if self._state.fresh or not count:
                yield self.run_samples(port, column, observe), self.snapshot()
                continue
            out = np.empty(count, kind)
            code = self.compiled.rows([port], place, count)
            code.call(address, column.ctypes.data, out.ctypes.data, count)
            if self._state.restless():
                self._replay({port: value} for value in column.tolist())
            settle.call(address)
            self._state.check()
            yield out, self._state.save()

    def _column(self, name: str, values: ArrayLike) -> Recorded:
        """What an input port is to take, an element an update, as the machine code reads it."""
        place, given = self._input(name), np.asarray(values)
        if not fits(given, place.width) or given.ndim != 1:
            raise UsageError(
                f"input {name} has {place.width} bits and cannot take all of an array of {given.dtype}",
                place=self.netlist.name,
                remedy="give whole numbers that fit, one for each update",
            )
        return np.ascontiguousarray(given, _DTYPES[element_bits(place.width)])

    def _replay(self, rows: Iterable[Mapping[str, int]]) -> None:
        """Repeat a run that gave up, which left the state as it was, to the update that does not come to rest."""
        for row in rows:
            for port, value in row.items():
                self._state.write(self._input(port), value)
            self.settle()

    def _run_wide(self, stimulus: Trace) -> dict[str, NDArray[Any]]:
        """Row by row, where a port is too wide for an array of integers."""
        rows: dict[str, list[int]] = {name: [] for name in self.outputs}
        for index in range(len(stimulus.times)):
            self.set_many({name: int(values[index]) for name, values in stimulus.values.items()})
            self.settle()
            for name, column in rows.items():
                column.append(self.get(name))
        kinds = {name: np.uint64 if width <= 64 else object for name, width in self.outputs.items()}
        return {name: np.array(column, kinds[name]) for name, column in rows.items()}

    def _refresh(self) -> None:
        """Bring the outputs in the state up to date after a run."""
        if self._stale:
            self.settle()

    # Names and places

    def _dtype(self, observe: str) -> Any:
        width = self._named(observe).width
        if width > 64:
            raise UsageError(
                f"{observe} has {width} bits, and a recorded value has at most 64",
                place=self.netlist.name,
                remedy="observe a narrower name, or step with settle and get",
            )
        return _DTYPES[element_bits(width)]

    def _named(self, name: str) -> Word:
        found = self.netlist.outputs.get(name)
        if found is None and name in self.netlist.inputs:
            found = Word.value(self.netlist.inputs[name], self.inputs[name])
        if found is None:
            found = self.netlist.names.get(name)
        if found is None:
            raise self._unknown("name", name, [*self.outputs, *self.inputs, *self.netlist.names])
        return found

    def _input(self, name: str) -> Place:
        place = self.compiled.layout.inputs.get(name)
        if place is None:
            raise self._unknown("input", name, list(self.inputs))
        return place

    def _memory(self, name: str) -> int:
        names = [memory.name for memory in self.netlist.memories]
        if name not in names:
            raise self._unknown("memory", name, names)
        return names.index(name)

    def _unknown(self, kind: str, name: str, known: list[str]) -> UsageError:
        from difflib import get_close_matches

        near = get_close_matches(name, known, 1)
        remedy = f"did you mean {near[0]}?" if near else f"there are {', '.join(known[:8]) or 'none'}"
        return UsageError(f"no {kind} is called {name}", place=self.netlist.name, remedy=remedy)
