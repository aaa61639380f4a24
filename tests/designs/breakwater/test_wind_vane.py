"""Wind vane against the published table of the reflected binary code, turned all the way around."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tests.designs.breakwater.conftest import Drive

#: Reflected binary code of four bits, as printed in US patent 2632058 (F. Gray, 1953) and textbooks (from memory).
TABLE = "0000 0001 0011 0010 0110 0111 0101 0100 1100 1101 1111 1110 1010 1011 1001 1000"


def test_every_direction(drive: Drive) -> None:
    design = drive("wind_vane")
    codes = TABLE.split(" ")
    assert len(set(codes)) == 16
    for direction, code in enumerate(codes):
        design.switch(int(code, 2))
        assert design.outputs == direction | (direction == 0) << 7


def test_one_track_changes_from_each_direction_to_the_next(drive: Drive) -> None:
    """The property that makes it a Gray code, over the whole turn and back to north."""
    design = drive("wind_vane")
    tracks_of: dict[int, int] = {}
    for tracks in range(16):
        design.switch(tracks)
        tracks_of[design.outputs & 15] = tracks
    assert sorted(tracks_of) == list(range(16))
    assert all((tracks_of[n] ^ tracks_of[(n + 1) % 16]).bit_count() == 1 for n in range(16))
