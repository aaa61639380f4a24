"""The controller of a character display: what each instruction of the HD44780 class does to what is shown.

Hitachi HD44780U data sheet (ADE-207-272, from memory): table 6 for the instructions and their times at 270 kHz, figures
2 to 9 for addresses and shifts, table 4 for the characters (ROM code A00).
"""

from __future__ import annotations

#: Seconds that an instruction takes: most of them; clear and home; and what a write to memory needs beside (tADD).
USUAL_S, CLEAR_S, ADDRESS_S = 37e-6, 1.52e-3, 4e-6
#: The second line begins at this address.
SECOND_LINE = 0x40
#: What stands for a character that no terminal has: the display's own patterns, and its upper half.
OTHER = "#"
#: What stands for a character that cannot be foretold.
UNTOLD = "?"
_ODD = {0x5C: "\u00a5", 0x7E: "\u2192", 0x7F: "\u2190"}  # yen and arrows, where ASCII has others


class Controller:
    """As the internal reset leaves it: eight bits, one line, display off, address 0, to the right."""

    def __init__(self) -> None:
        self.eight_bits, self.two_lines, self.on = True, False, False
        self.forward, self.shifting = True, False
        self.address, self.offset = 0, 0
        self.in_patterns = False  # the address is one of the memory for patterns
        self.places = [" "] * 0x80

    def instruct(self, byte: int) -> float:
        """Carry out an instruction; the seconds that it takes."""
        match byte.bit_length():
            case 8:
                self.address, self.in_patterns = byte & 0x7F, False
            case 7:
                self.in_patterns = True
            case 6:
                self.eight_bits, self.two_lines = bool(byte & 0x10), bool(byte & 0x08)
            case 5:
                self._move(bool(byte & 0x04), display=bool(byte & 0x08))
            case 4:
                self.on = bool(byte & 0x04)
            case 3:
                self.forward, self.shifting = bool(byte & 0x02), bool(byte & 0x01)
            case 2 | 1:
                self._home(clear=byte == 1)
                return CLEAR_S
            case _:
                pass
        return USUAL_S

    def write(self, byte: int | None) -> float:
        """Put a character at the address, None for one that is not known; the seconds that it takes."""
        if not self.in_patterns:
            self.places[self.address] = UNTOLD if byte is None else character(byte)
            self._move(self.forward, display=False)
            if self.shifting:
                self._move(not self.forward, display=True)
        return USUAL_S + ADDRESS_S

    def lines(self, columns: int, rows: int) -> tuple[str, ...]:
        """What is shown; blank while the display is off, and in a second row without its line."""
        shown = []
        for row in range(rows):
            size = 40 if self.two_lines else 80
            line = "".join(self.places[SECOND_LINE * row + (self.offset + n) % size] for n in range(columns))
            shown.append(line if self.on and (row == 0 or self.two_lines) else " " * columns)
        return tuple(shown)

    def _home(self, *, clear: bool) -> None:
        self.address, self.offset, self.in_patterns = 0, 0, False
        if clear:
            self.places = [" "] * 0x80
            self.forward = True

    def _move(self, right: bool, *, display: bool) -> None:
        """The cursor to the right or left, or all characters, which is the window the other way."""
        step = 1 if right else -1
        size = 40 if self.two_lines else 80
        if display:
            self.offset = (self.offset - step) % size
        elif self.two_lines:
            place = (self.address & 0x3F) + (40 if self.address & SECOND_LINE else 0)
            place = (place + step) % 80
            self.address = place if place < 40 else SECOND_LINE + place - 40
        else:
            self.address = (self.address + step) % size


def character(byte: int) -> str:
    """What a code of the display looks like in a terminal."""
    return _ODD.get(byte, chr(byte) if 0x20 <= byte < 0x7F else OTHER)
