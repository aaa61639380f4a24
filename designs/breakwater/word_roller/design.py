"""Word roller: the harbour's messages letter by letter on one digit."""

from amaranth.hdl import Cat, Module, Signal
from amaranth.lib import wiring
from amaranth.lib.memory import Memory
from amaranth.lib.wiring import In, Out

#: Four messages of at most eight letters; the place in the list is the number on the pins.
WORDS = ["OPEN", "CLOSED", "FOG", "GALE"]

#: The lit segments of each letter; N and D are drawn small, as no segments make the big ones.
LETTERS = {
    " ": "",
    "A": "abcefg",
    "C": "adef",
    "D": "bcdeg",
    "E": "adefg",
    "F": "aefg",
    "G": "acdef",
    "L": "def",
    "N": "ceg",
    "O": "abcdef",
    "P": "abefg",
    "S": "acdfg",
}


def shape(letter: str) -> int:
    """The seven outputs for a letter, segment a in bit 0."""
    return sum(1 << "abcdefg".index(segment) for segment in LETTERS[letter])


class WordRoller(wiring.Component):
    """Pins i0 and i1 choose the word: a letter a step, dark up to the eighth step, the point on the first."""

    inputs: In(8)
    outputs: Out(8)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        word = self.inputs[0:2]
        place = Signal(3)
        m.d.sync += place.eq(place + 1)

        letters = "".join(word.ljust(8) for word in WORDS)
        m.submodules.letters = table = Memory(shape=7, depth=len(letters), init=map(shape, letters))
        letter = table.read_port(domain="comb")
        m.d.comb += letter.addr.eq(Cat(place, word))

        m.d.comb += self.outputs.eq(Cat(letter.data, place == 0))
        return m
