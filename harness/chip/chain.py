"""The chain: the serial path through all positions, with capture, shift and update (words of IEEE 1149.1).

Position n holds bits 8n to 8n + 7 of the chain, line 0 lowest. In each frame all of them shift towards bit 0
by 8 bits a position: what enters at the high end as number k of the frame stands at bit k when the frame
ends, and what stood at bit k when it began leaves as number k. The last bit is taken in the tick that
updates, so a frame has no tick to spare.
"""

from amaranth.hdl import Cat, Module, Mux, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out


class Position(wiring.Component):
    """Eight bits of the chain and the eight input lines of the slot that sits there.

    `capture` loads `outputs` (and shifts them at once where a bit lasts one tick), `shift` moves one bit on, `update`
    passes what the position holds at the end of this tick to `inputs`, all eight lines at one instant.
    """

    serial_in: In(1)
    serial_out: Out(1)
    capture: In(1)
    shift: In(1)
    update: In(1)
    outputs: In(8)
    inputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        held = Signal(8)
        now = Signal(8)
        after = Signal(8)
        m.d.comb += now.eq(Mux(self.capture, self.outputs, held))
        m.d.comb += after.eq(Mux(self.shift, Cat(now[1:], self.serial_in), now))
        m.d.comb += self.serial_out.eq(now[0])
        m.d.oscillator += held.eq(after)
        with m.If(self.update):
            m.d.oscillator += self.inputs.eq(after)
        return m


class Chain(wiring.Component):
    """All positions in a row.

    Only the position whose bit in `chosen` is high captures and updates; the others pass on what comes, and
    the input lines of their slots do not move. `outputs[n]` and `inputs[n]` are the lines of position n.
    """

    def __init__(self, positions: int) -> None:
        self.positions = positions
        super().__init__(
            {
                "serial_in": In(1),
                "serial_out": Out(1),
                "capture": In(1),
                "shift": In(1),
                "update": In(1),
                "chosen": In(positions),
                "outputs": In(8).array(positions),
                "inputs": Out(8).array(positions),
            }
        )

    def elaborate(self, platform: object) -> Module:
        m = Module()
        serial = self.serial_in
        for n in reversed(range(self.positions)):
            m.submodules[f"position_{n}"] = position = Position()
            m.d.comb += [
                position.serial_in.eq(serial),
                position.shift.eq(self.shift),
                position.capture.eq(self.capture & self.chosen[n]),
                position.update.eq(self.update & self.chosen[n]),
                position.outputs.eq(self.outputs[n]),
                self.inputs[n].eq(position.inputs),
            ]
            serial = position.serial_out
        m.d.comb += self.serial_out.eq(serial)
        return m
