"""A serial memory in plain Python, written from the protocol alone, and a host that reads one."""

from __future__ import annotations

from collections.abc import Iterator


class ModelMemory:
    """Mode 0, instruction 03h; `levels` tells it the three pins, and it says what it puts on `so`: 0, 1 or None."""

    def __init__(self, data: bytes, address_bytes: int) -> None:
        size = 2
        while size < len(data):
            size *= 2
        self.data = data + b"\xff" * (size - len(data))
        self.address_bytes = address_bytes
        self.sck = 0
        self.bits = ""
        self.given: Iterator[int] | None = None
        self.so: int | None = None

    def levels(self, cs: int, sck: int, si: int) -> int | None:
        rose, fell = sck > self.sck, sck < self.sck
        self.sck = sck
        if cs:
            self.bits, self.given, self.so = "", None, None
            return None
        if rose:
            self.bits += str(si)
        if fell and len(self.bits) >= 8 + 8 * self.address_bytes and self.bits[:8] == "00000011":
            if self.given is None:
                self.given = self._from(int(self.bits[8 : 8 + 8 * self.address_bytes], 2))
            self.so = next(self.given)
        return self.so

    def _from(self, address: int) -> Iterator[int]:
        while True:
            yield from map(int, f"{self.data[address % len(self.data)]:08b}")
            address += 1


def host(address: int, address_bytes: int, count: int, instruction: int = 3) -> list[tuple[int, int, int]]:
    """The pins (cs, sck, si), row by row, of one reading of `count` bytes; `cs` is high before and after."""
    bits = f"{instruction:08b}" + f"{address:0{8 * address_bytes}b}" + "0" * (8 * count)
    rows = [(1, 0, 0), (0, 0, 0)]
    for bit in bits:
        rows += [(0, 0, int(bit)), (0, 1, int(bit))]
    return [*rows, (0, 0, 0), (1, 0, 0)]
