"""Seven-segment geometry: the one table of strokes that every drawing of a display reads."""

from __future__ import annotations

from collections.abc import Mapping

from forelight.sim.frozen import frozen

Point = tuple[float, float]

#: Segment -> the stroke's two ends on a figure one unit wide and two high, (0, 0) being the top left corner.
#: The letters are those of the trade: `a` is the top bar, `b` to `f` follow clockwise, `g` is the middle bar
#: (TI SN74LS47 data sheet). The point is a stroke without length, to the lower right of the figure.
STROKES: Mapping[str, tuple[Point, Point]] = {
    "a": ((0, 0), (1, 0)),
    "b": ((1, 0), (1, 1)),
    "c": ((1, 1), (1, 2)),
    "d": ((0, 2), (1, 2)),
    "e": ((0, 1), (0, 2)),
    "f": ((0, 0), (0, 1)),
    "g": ((0, 1), (1, 1)),
    "point": ((1.5, 2), (1.5, 2)),
}

SEGMENTS = tuple(STROKES)


@frozen
class Size:
    """How big a figure is drawn, in character cells.

    `bar` is the length of a lying stroke, `post` and `thick` are height and width of a standing one.
    The joints where strokes meet stay empty, so neighbouring segments can be told apart.
    """

    bar: int
    post: int
    thick: int

    @property
    def width(self) -> int:
        """Columns of a figure with its point."""
        return 2 * self.thick + self.bar + 1 + self.thick

    @property
    def height(self) -> int:
        """Rows of a figure."""
        return 2 * self.post + 3


SMALL = Size(bar=3, post=1, thick=1)
LARGE = Size(bar=6, post=2, thick=2)


def cells(size: Size) -> dict[str, list[tuple[int, int]]]:
    """The character cells of each segment at this size, as (row, column), in reading order.

    >>> cells(SMALL)["a"]
    [(0, 1), (0, 2), (0, 3)]
    """
    return {name: _stroke_cells(start, end, size) for name, (start, end) in STROKES.items()}


def _stroke_cells(start: Point, end: Point, size: Size) -> list[tuple[int, int]]:
    top = round(start[1]) * (size.post + 1)
    if start == end:  # the point: one blank column after the right post
        rows, left, wide = range(top, top + 1), 2 * size.thick + size.bar + 1, size.thick
    elif start[1] == end[1]:
        rows, left, wide = range(top, top + 1), size.thick, size.bar
    else:
        rows = range(top + 1, top + 1 + size.post)
        left, wide = round(start[0]) * (size.thick + size.bar), size.thick
    return [(row, column) for row in rows for column in range(left, left + wide)]
