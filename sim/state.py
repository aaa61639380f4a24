"""The block of state of one simulation: power-up, reading and writing places, and any word of the netlist."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from numbers import Integral
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from .compile.compiled import Compiled
from .compile.layout import FRESH, RESTLESS, Place, aligned
from .errors import UsageError
from .evaluate import evaluate
from .loops import LoopError, oscillations
from .netlist import Const, Netlist, Register, Word

PowerUp = Literal[0, 1, "init"] | random.Random


class State:
    """A block of bytes laid out as `compile/layout.py` says, aligned to 64 bytes."""

    def __init__(self, netlist: Netlist, compiled: Compiled) -> None:
        self.netlist, self.compiled, self.places = netlist, compiled, compiled.layout
        self._array = aligned(self.places.size)
        self._view = memoryview(self._array.data)
        self._registers: _Registers | None = None

    @property
    def address(self) -> int:
        return self._array.ctypes.data

    @property
    def fresh(self) -> bool:
        """Whether nothing has been settled since power-up."""
        return bool(self._array[FRESH])

    def power_up(self, held: PowerUp) -> None:
        """Everything anew, inputs 0; a random.Random is asked in the order of registers, memory rows, loops."""
        held = _allowed(held)
        self._array[:] = 0
        self._array[FRESH] = 1
        self._registers = self._registers or _Registers(self.netlist.registers, self.places.registers)
        self._array[self._registers.offsets] = self._registers.woken(held)
        for memory, rows in zip(self.netlist.memories, self.places.memories, strict=True):
            size = rows.first.size
            words = (_woken(row, held, wiring=not memory.writes) for row in memory.init)
            image = b"".join(word.to_bytes(size, "little") for word in words)
            self._view[rows.first.offset : rows.first.offset + len(image)] = image
        for value, place in zip(self.compiled.plan.kept, self.places.cuts, strict=True):
            self.write(place, _woken(Const(0, self.netlist.widths[value]), held, wiring=False))

    def save(self) -> bytes:
        return self._array.tobytes()

    def load(self, image: bytes) -> None:
        if len(image) != len(self._array):
            raise UsageError(
                f"a snapshot of {len(image)} bytes for a netlist with {len(self._array)} bytes of state",
                place=self.netlist.name,
                remedy="restore a snapshot of the same netlist",
            )
        self._view[:] = image

    def read(self, place: Place) -> int:
        return int.from_bytes(self._view[place.offset : place.offset + place.size], "little")

    def write(self, place: Place, value: int) -> None:
        self._view[place.offset : place.offset + place.size] = value.to_bytes(place.size, "little")

    def row(self, memory: int, index: int) -> Place:
        """Where row `index` of a memory lies."""
        first = self.places.memories[memory].first
        return Place(first.offset + index * first.size, first.width, first.bits)

    def restless(self) -> bool:
        """Whether the code that has just run gave up; says so once."""
        found = bool(self._array[RESTLESS])
        self._array[RESTLESS] = 0
        return found

    def check(self) -> None:
        """Raise LoopError if the code that has just run met something that never comes to rest."""
        if self.restless():
            loops = oscillations(self.netlist, self.compiled.plan, self.known(), self._update)
            nets = "; ".join(map(str, loops)) or "a train of clock edges without end"
            error = LoopError(
                f"an update never comes to rest: {nets}",
                place=self.netlist.name,
                remedy="break the loop with a register, or hold the input that lets it run",
            )
            error.loops = loops
            raise error

    def known(self) -> dict[int, int]:
        """The values that lie in the state: inputs, registers and what else closes a loop."""
        known = {value: self.read(self.places.inputs[name]) for name, value in self.netlist.inputs.items()}
        for register, place in zip(self.netlist.registers, self.places.registers, strict=True):
            known[register.output] = self.read(place)
        for value, place in zip(self.compiled.plan.kept, self.places.cuts, strict=True):
            known[value] = self.read(place)
        return known

    def _update(self, node: int, known: Mapping[int, int]) -> int:
        """What a node drives, by the plain meaning of its cell or by the overrides of its register."""
        if node >= len(self.netlist.cells):
            register = self.netlist.registers[node - len(self.netlist.cells)]
            value = known[register.output]
            for override in register.overrides:
                mask = assemble(override.mask, known)
                value = value & ~mask | assemble(override.value, known) & mask
            return value
        cell = self.netlist.cells[node]
        operands = [assemble(operand, known) for operand in cell.operands]
        widths = [operand.width for operand in cell.operands]
        params = dict(cell.params)
        if cell.kind == "read":
            number = cell.int_param("memory")
            params["offset"] = self.netlist.memories[number].offset
            count = self.netlist.memories[number].size
            operands += [self.read(self.row(number, index)) for index in range(count)]
        return evaluate(cell.kind, params, operands, widths, self.netlist.widths[cell.output])

    def word(self, word: Word) -> int:
        """A word from the state as it lies, by the plain meaning of each cell."""
        program, known = self.compiled.program, self.known()
        for node in sorted(program.needs([word]), key=program.position.__getitem__):
            if node < len(
                self.netlist.cells
            ):  # else a register: it holds already what its overrides made of it
                known[self.netlist.cells[node].output] = self._update(node, known)
        return assemble(word, known)


class _Registers:
    """What registers wake up with, all at once: a simulation is powered up hundreds of times.

    `offsets` are those of their bytes in the state, one register after another.
    """

    def __init__(self, registers: Sequence[Register], places: Sequence[Place]) -> None:
        self._woken = [
            (register.init, is_wiring(register), place.size)
            for register, place in zip(registers, places, strict=True)
        ]
        ranges = [np.arange(place.offset, place.offset + place.size) for place in places]
        self.offsets = np.concatenate([np.zeros(0, np.int64), *ranges])

    def woken(self, held: PowerUp) -> NDArray[np.uint8]:
        """Their bytes."""
        values = (
            _woken(init, held, wiring=wiring).to_bytes(size, "little") for init, wiring, size in self._woken
        )
        return np.frombuffer(b"".join(values), np.uint8)


def assemble(word: Word, known: Mapping[int, int]) -> int:
    """The word as an integer, from the integers of the values that it reads."""
    result = at = 0
    for part in word.parts:
        bits = part.bits if isinstance(part, Const) else known[part.value] >> part.low & (1 << part.width) - 1
        result |= bits << at
        at += part.width
    return result


def is_wiring(register: Register) -> bool:
    """Whether nothing ever assigns the register: it only takes itself."""
    itself = Word.value(register.output, register.width)
    return not register.overrides and (register.clock is None or register.data == itself)


def _allowed(held: object) -> PowerUp:
    """What was given for a power-up, if it is one of those that there are."""
    if isinstance(held, random.Random):
        return held
    if isinstance(held, str) and held == "init":
        return "init"
    if isinstance(held, Integral) and held in (0, 1):
        return 1 if held else 0
    raise UsageError(
        f"{held!r} is nothing that flip-flops hold at power-up",
        remedy='give 0, 1, "init" for the initial values that the source states, or a random.Random',
    )


def _woken(init: Const, held: PowerUp, *, wiring: bool) -> int:
    if wiring or held == "init":
        return init.bits
    if isinstance(held, random.Random):
        return held.getrandbits(init.width) if init.width else 0
    return (1 << init.width) - 1 if held else 0
