"""Rewrites a netlist of gates so that one word carries one bit of many lanes."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from functools import cached_property

from ..frozen import frozen
from ..netlist import Cell, Const, Netlist, Override, Register, Slice, Word
from ..schedule import schedule
from .apart import inputs_of, masks, net_of, nets, nets_apart, nets_of
from .faults import Fault, Net, Site

#: Gates of two inputs, and of many, as a chain of those.
_PAIRS = {
    **{kind: kind for kind in ("$and", "$or", "$xor")},
    "$reduce_and": "$and",
    "$reduce_or": "$or",
    "$reduce_xor": "$xor",
}


@frozen
class Widened:
    """A netlist of lanes.

    An input that differs from lane to lane has become a port of `lanes` bits for each of its bits, `port[bit]`;
    the others stay as they were. `outputs` and `names` hold for each bit a word of `lanes` bits, or of one
    where no lane can differ. Bit k of the word `differs` is 1 where lane k shows other outputs than lane 0; the
    words of `agreement` hold what lane 0 shows on an output and, above it, a mask of the bits in which another lane
    differs.
    The registers start with those of the netlist of gates, in their order; the ones behind them belong to
    clocks that differ from lane to lane and hold 0 at first. `startup` names a port that must be 1 for the
    first settling and then 0, if there is one.
    """

    netlist: Netlist
    outputs: Mapping[str, tuple[Word, ...]]
    names: Mapping[str, tuple[Word, ...]]
    differs: Word
    agreement: Mapping[str, Word]
    startup: str


def widen(
    drawn: Netlist, lanes: int, per_lane: Collection[str] = (), faults: Sequence[Fault | None] = ()
) -> Widened:
    """The lanes of a netlist of gates without memories.

    `per_lane` names the inputs that differ from lane to lane; lane k has `faults[k]`, or none.
    """
    return _Widening(drawn, lanes, per_lane, faults).widened()


class _Widening:
    """One netlist on its way to lanes.

    A net that is alike in all lanes stays one bit; it is spread over the lanes where a gate asks for it beside
    others that are not. Each net that may differ has a word of `lanes` bits.
    """

    def __init__(
        self, drawn: Netlist, lanes: int, per_lane: Collection[str], faults: Sequence[Fault | None]
    ) -> None:
        self.old, self.lanes, self.per_lane = drawn, lanes, per_lane
        self.full = (1 << lanes) - 1
        self.stuck = masks(faults)
        self.plan = schedule(drawn)
        self.makers = {(cell.output, 0): number for number, cell in enumerate(drawn.cells)}
        self.apart = nets_apart(drawn, self.plan.order, self.plan.cuts, per_lane, self.stuck)
        self.widths: list[int] = []
        self.cells: list[Cell] = []
        self.one: dict[Net, Word] = {}  # nets alike in all lanes, and drivers that only a fault makes differ
        self.wide: dict[Net, Word] = {}
        self.spread: dict[Word, Word] = {}
        self.inputs = self._inputs()
        self.states = [self.value(lanes) for _ in drawn.registers]
        self.common = CommonClocks(self)
        self.clocks = LaneClocks(self)

    # Values and cells

    def value(self, width: int) -> int:
        self.widths.append(width)
        return len(self.widths) - 1

    def word(self, kind: str, *operands: Word, output: int | None = None) -> Word:
        """The output of a new cell, as wide as its first operand."""
        number = self.value(operands[0].width) if output is None else output
        self.cells.append(Cell(kind, number, operands, {}))
        return Word.value(number, self.widths[number])

    def over_lanes(self, bit: Word) -> Word:
        """One bit as a word of lanes."""
        constant = bit.as_const()
        if constant is not None:
            return Word.const(self.full if constant.bits else 0, self.lanes)
        found = self.spread.get(bit)
        if found is None:
            number = self.value(self.lanes)
            self.cells.append(Cell("$pos", number, (bit,), {"A_SIGNED": 1}))
            found = self.spread[bit] = Word.value(number, self.lanes)
        return found

    def held(self, site: Site) -> int:
        """The lanes in which a site is stuck."""
        zeros, ones = self.stuck.get(site, (0, 0))
        return zeros | ones

    def faulty(self, word: Word, site: Site) -> Word:
        """A word of lanes with the faults of a site."""
        zeros, ones = self.stuck.get(site, (0, 0))
        if zeros:
            word = self.word("$and", word, Word.const(self.full & ~zeros, self.lanes))
        if ones:
            word = self.word("$or", word, Word.const(ones, self.lanes))
        return word

    def read(self, bit: Word, site: Site) -> Word:
        """A bit of the netlist of gates as the word of lanes that a site sees."""
        return self.faulty(self.over_lanes(bit) if bit.as_const() is not None else self.lanes_of(bit), site)

    def lanes_of(self, bit: Word) -> Word:
        net = net_of(bit)
        return self.wide[net] if net in self.apart else self.over_lanes(self.one[net])

    # The parts

    def _inputs(self) -> dict[str, int]:
        found: dict[str, int] = {}
        for port, value in self.old.inputs.items():
            width = self.old.widths[value]
            if port not in self.per_lane:
                found[port] = self.value(width)
                self.one |= {(value, b): Word.of([Slice(found[port], b, 1)]) for b in range(width)}
                continue
            for bit in range(width):
                number = found[f"{port}[{bit}]"] = self.value(self.lanes)
                self.wide[value, bit] = Word.value(number, self.lanes)
        return found

    def widened(self) -> Widened:
        old = self.old
        self._drivers()
        for node in self.plan.order:
            if node < len(old.cells):
                self._cell(node)
        registers = [self._register(index) for index in range(len(old.registers))]
        outputs = {
            port: tuple(self._shown(bit, Site("output", n, place)) for place, bit in enumerate(word.bits()))
            for n, (port, word) in enumerate(old.outputs.items())
        }
        names = {name: tuple(map(self._shown, word.bits())) for name, word in old.names.items()}
        differs = self._differs([word for words in outputs.values() for word in words])
        agreement = {port: self._agreement(words) for port, words in outputs.items()}
        more, startup = self.clocks.finish()
        ports = {f"{port}[{n}]": word for port, words in outputs.items() for n, word in enumerate(words)}
        netlist = Netlist(
            old.name,
            tuple(self.widths),
            {**self.inputs, **startup},
            ports,
            tuple(self.cells),
            (*registers, *more),
            (),
        )
        return Widened(netlist, outputs, names, differs, agreement, next(iter(startup), ""))

    def _drivers(self) -> None:
        """The words of input ports, registers and loops, with their faults."""
        for value in self.old.inputs.values():
            for bit in range(self.old.widths[value]):
                if (value, bit) in self.apart:
                    raw = self.wide.get((value, bit)) or self.over_lanes(self.one[value, bit])
                    self.wide[value, bit] = self.faulty(raw, Site("driver", value, bit))
        for register, number in zip(self.old.registers, self.states, strict=True):
            state = Word.value(number, self.lanes)
            self.wide[register.output, 0] = self.faulty(
                self.clocks.state(register, state), Site("driver", register.output)
            )
        for value in self.plan.cuts:
            if (value, 0) in self.makers:
                self.wide[value, 0] = Word.value(self.value(self.lanes), self.lanes)

    def _cell(self, number: int) -> None:
        cell, net = self.old.cells[number], (self.old.cells[number].output, 0)
        alike = self.apart.isdisjoint(nets_of(cell)) and not any(
            self.held(Site("gate", number, place)) for place in range(inputs_of(cell))
        )
        if alike and (cell.output not in self.plan.cuts):
            operands = tuple(
                Word.of(p for bit in word.bits() for p in (self.one[net_of(bit)] if nets(bit) else bit).parts)
                for word in cell.operands
            )
            output = self.value(1)
            self.cells.append(Cell(cell.kind, output, operands, {}))
            self.one[net] = Word.value(output, 1)
            if net in self.apart:
                self.wide[net] = self.faulty(self.over_lanes(self.one[net]), Site("driver", cell.output))
            return
        bits = [bit for word in cell.operands for bit in word.bits()]
        inputs = [self.read(bit, Site("gate", number, place)) for place, bit in enumerate(bits)]
        found = self.faulty(self._gate(cell.kind, inputs), Site("driver", cell.output))
        if net in self.wide:
            (part,) = self.wide[net].parts
            assert isinstance(part, Slice)
            self.word("$buf", found, output=part.value)
        else:
            self.wide[net] = found

    def _gate(self, kind: str, inputs: Sequence[Word]) -> Word:
        if kind == "$buf":
            return inputs[0]
        if kind == "$not":
            return self.word("$not", inputs[0])
        if kind == "$mux":
            return self.word("$bwmux", *inputs)
        found = inputs[0]
        for word in inputs[1:]:
            found = self.word(_PAIRS[kind], found, word)
        return found

    def _register(self, index: int) -> Register:
        register, number = self.old.registers[index], self.states[index]
        overrides = tuple(
            Override(self.read(o.mask, Site("mask", index, k)), self.read(o.value, Site("value", index, k)))
            for k, o in enumerate(register.overrides)
        )
        clock, rising, data = None, True, Word()
        if register.clock is not None:
            data = self.read(register.data, Site("data", index))
            clock, rising, still = self.common.clock(index)
            if clock is None:
                return self.clocks.register(index, data, overrides)
            if still:
                data = self.word(
                    "$bwmux", data, Word.value(number, self.lanes), Word.const(still, self.lanes)
                )
        init = Const(0, self.lanes)
        return Register(number, self.lanes, clock, rising, data, overrides, init, register.name, register.src)

    def _shown(self, bit: Word, site: Site | None = None) -> Word:
        """A bit as a word of one bit where all lanes are alike."""
        alike = not nets(bit) or net_of(bit) not in self.apart
        if site is not None and self.held(site):
            return self.read(bit, site)
        return (self.one[net_of(bit)] if nets(bit) else bit) if alike else self.wide[net_of(bit)]

    def _differs(self, planes: Sequence[Word]) -> Word:
        found = Word.const(0, self.lanes)
        for plane in dict.fromkeys(planes):
            if plane.width > 1 and plane.as_const() is None:
                other = self.word("$xor", plane, self.over_lanes(plane.bit(0)))
                found = other if found.as_const() is not None else self.word("$or", found, other)
        return found

    def _agreement(self, planes: Sequence[Word]) -> Word:
        first, masks = Word(), Word()
        for plane in planes:
            mask = Word.const(0, 1)
            if plane.width > 1 and plane.as_const() is None:
                other = self.word("$xor", plane, self.over_lanes(plane.bit(0)))
                number = self.value(1)
                self.cells.append(Cell("$reduce_or", number, (other,), {}))
                mask = Word.value(number, 1)
            first, masks = first + plane.bit(0), masks + mask
        return first + masks


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


@frozen
class _Pair:
    """The values of the registers that move at the strobe's rise and at its fall, and what both stand for."""

    rise: int
    fall: int
    shown: Word


class LaneClocks:
    """The clocks of one netlist of lanes that are not alike in all of them."""

    def __init__(self, to: _Widening) -> None:
        self.to = to
        self.pairs: dict[int, _Pair] = {}  # by the value of the state
        self.levels: dict[Word, _Pair] = {}  # of each clock: its level when the strobe toggled last
        self.registers: list[Register] = []

    @cached_property
    def strobe(self) -> int:
        """The value of the strobe."""
        return self.to.value(1)

    def state(self, register: Register, state: Word) -> Word:
        """What a register shows: itself, or both halves if its clock is not one for all lanes."""
        if self.to.common.is_common(register):
            return state
        (part,) = state.parts
        assert isinstance(part, Slice)
        return self._pair(part.value).shown

    def register(self, index: int, data: Word, overrides: Sequence[Override]) -> Register:
        """The half of a register that moves at the rise; the other one is made aside."""
        to, old = self.to, self.to.old.registers[index]
        assert old.clock is not None
        clock = to.read(old.clock, Site("clock", index))
        before = self._level(clock).shown
        if old.rising:
            edge = to.word("$and", clock, to.word("$not", before))
        else:
            edge = to.word("$and", to.word("$not", clock), before)
        pair = self.pairs[to.states[index]]
        following = to.word("$bwmux", pair.shown, data, edge)
        for override in overrides:  # they are stronger than an edge, and may be gone after it
            following = to.word("$bwmux", following, override.value, override.mask)
        return self._halves(pair, following, overrides, old.name, old.src)

    def finish(self) -> tuple[list[Register], dict[str, int]]:
        """All other registers, and the port that is 1 for the first settling."""
        to = self.to
        if not self.levels:
            return [], {}
        name = "startup"
        while name in to.inputs:
            name += "_"
        startup = to.value(1)
        moved = Word.const(0, to.lanes)
        for clock, pair in self.levels.items():
            moved = to.word("$or", moved, to.word("$xor", clock, pair.shown))
            first = Override(to.over_lanes(Word.value(startup, 1)), clock)
            self.registers.append(self._halves(pair, clock, [first], "", ""))
        self._toggle(moved)
        return self.registers, {name: startup}

    def _toggle(self, moved: Word) -> None:
        """The strobe is its phase, or the opposite while something has moved; the phase follows it."""
        to = self.to
        rise, fall = to.value(1), to.value(1)
        phase = to.word("$xor", Word.value(rise, 1), Word.value(fall, 1))
        event = to.value(1)
        to.cells.append(Cell("$reduce_or", event, (moved,), {}))
        to.cells.append(Cell("$xor", self.strobe, (phase, Word.value(event, 1)), {}))
        strobe, zero = Word.value(self.strobe, 1), Const(0, 1)
        up = to.word("$not", Word.value(fall, 1))
        self.registers.append(Register(rise, 1, strobe, True, up, (), zero))
        self.registers.append(Register(fall, 1, strobe, False, Word.value(rise, 1), (), zero))

    def _level(self, clock: Word) -> _Pair:
        if clock not in self.levels:
            self.levels[clock] = self._pair(self.to.value(self.to.lanes))
        return self.levels[clock]

    def _pair(self, rise: int) -> _Pair:
        to = self.to
        fall = to.value(to.lanes)
        shown = to.word("$xor", Word.value(rise, to.lanes), Word.value(fall, to.lanes))
        pair = self.pairs[rise] = _Pair(rise, fall, shown)
        return pair

    def _halves(
        self, pair: _Pair, following: Word, overrides: Sequence[Override], name: str, src: str
    ) -> Register:
        """Both registers of a pair: together they become `following` at a toggle; the falling one is put aside."""
        to = self.to
        strobe, zero = Word.value(self.strobe, 1), Const(0, to.lanes)
        rise, fall = Word.value(pair.rise, to.lanes), Word.value(pair.fall, to.lanes)
        forced = tuple(Override(o.mask, to.word("$xor", o.value, fall)) for o in overrides)
        after = to.word("$xor", following, rise)
        self.registers.append(Register(pair.fall, to.lanes, strobe, False, after, (), zero))
        after = to.word("$xor", following, fall)
        return Register(pair.rise, to.lanes, strobe, True, after, forced, zero, name, src)
