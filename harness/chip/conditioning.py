"""Input conditioning on the board: switches that may not make contact, pulls, buttons, debounce."""

from amaranth.hdl import Module, Mux, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

from ..boards.profile import Board


class Conditioning(wiring.Component):
    """What the eight input pins see of the eight switches and of the buttons beside them.

    A switch whose bit in `contacts` is 0 does not make contact: the pull of its line decides. A button that is
    held turns its line to the opposite. Where the board debounces a button, its level is taken once it has
    held for that many ticks. A line whose bit in `driven` is 1 has the level of `outside` instead: something else
    drives it (its switch is open, or the two would fight).
    """

    switches: In(8)
    contacts: In(8, init=0xFF)
    buttons: In(8)
    driven: In(8)
    outside: In(8)
    pins: Out(8)

    def __init__(self, board: Board) -> None:
        self.board = board
        super().__init__()

    def elaborate(self, platform: object) -> Module:
        m = Module()
        for bit in range(8):
            line = f"i{bit}"
            level = Mux(self.contacts[bit], self.switches[bit], self.board.pulls.get(line, 0))
            here = level ^ self._button(m, bit, self.board.debounce.get(line, 0))
            m.d.comb += self.pins[bit].eq(Mux(self.driven[bit], self.outside[bit], here))
        return m

    def _button(self, m: Module, bit: int, ticks: int) -> Signal:
        """The level of a button as its line takes it, `ticks` ticks after it came to rest."""
        if ticks == 0:
            return self.buttons[bit]
        taken = Signal(name=f"taken_{bit}")
        count = Signal(range(ticks), name=f"count_{bit}")
        with m.If(self.buttons[bit] == taken):
            m.d.oscillator += count.eq(0)
        with m.Elif(count == ticks - 1):
            m.d.oscillator += count.eq(0)
            m.d.oscillator += taken.eq(self.buttons[bit])
        with m.Else():
            m.d.oscillator += count.eq(count + 1)
        return taken
