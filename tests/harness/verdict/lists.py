"""Lists as eyes write them down, right and with one slip of the hand: `python -m tests.harness.verdict.lists`.

A list shows some steps of a run of a design of the catalogue, as eight bits or as characters. Its slip is an entry that
is wrong, missing or written twice, or several that are wrong, a line that is stuck, a display that stands still, or
another design. Whether any reader could tell is decided by trying every beginning, with the truth in hand.
"""

from __future__ import annotations

import argparse
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from forelight.harness.capture.eye import SHAPES
from forelight.harness.capture.readers import parse_capture
from forelight.harness.verdict.verdict import AGREES, DIFFERS, INCONCLUSIVE, Verdict, check

from tests.harness.verdict.catalogue import LIST, Shown, moving, shown

RIGHT = ("right", "unread", "anywhere", "zeros")
WRONG = ("wrong", "missed", "twice", "several", "stuck", "still", "other")
PLACED = WRONG[:5]
ENOUGH = 12  # entries from which a right list should agree, if so many of them change ...
CHANGES = 6
SOME = 3  # entries in which a line that is stuck is wrong, at least


@dataclass(frozen=True)
class List:
    """A list of a run: the text, the entries (levels and which were read), what is wrong and where (from 0)."""

    run: Shown
    kind: str
    text: str
    entries: tuple[tuple[int, int], ...]
    at: int
    line: str = ""

    @property
    def changes(self) -> int:
        return sum(one != other for one, other in zip(self.entries, self.entries[1:], strict=False))


def draw(kind: str, seed: int, names: Sequence[str] = ()) -> List:
    """The list that belongs to this seed, of one of the designs of these names, or of all."""
    rng = np.random.default_rng([seed, *kind.encode()])
    while True:
        found = _attempt(kind, rng, names or moving())
        if found is not None:
            return found


def _attempt(kind: str, rng: np.random.Generator, names: Sequence[str]) -> List | None:
    run = shown(str(rng.choice(names)))
    assert run is not None
    source = run
    if kind == "other":
        source = shown(str(rng.choice([name for name in names if name != run.name]))) or run
    count = int(rng.integers(6, LIST + 1))
    known = source.settled == 0xFF
    anywhere = kind == "anywhere" or rng.random() < 0.3
    first = (
        int(rng.integers(0, max(len(source.outputs) - count - 2, 1))) if anywhere else int(np.argmax(known))
    )
    rows = np.arange(first, first + count + 1)
    if rows[-1] >= len(source.outputs) or not known[rows].all() or source.moves(first, count) < 3:
        return None
    values = source.outputs[rows].tolist()
    at, line = int(rng.integers(1, count - 1)), ""
    if kind == "stuck":
        found = _stuck(values, rng)
        if found is None:
            return None
        at, line = found
    elif kind == "several" and count < 2 * ENOUGH:
        return None
    else:
        at = _spoilt(values, kind, at, count, rng)
    entries: list[tuple[int, int]] = [(value, 0xFF) for value in values[:count]]
    if kind == "unread":
        for row in rng.choice(count, max(count // 10, 1), replace=False).tolist():
            entries[row] = (0, 0)
    made = _written(kind, entries, first, rng)
    if made is None:
        return None
    drawn = List(run, kind, *made, at, line)
    return drawn if kind in RIGHT or not _explained(drawn) else None


def _spoilt(values: list[int], kind: str, at: int, count: int, rng: np.random.Generator) -> int:
    """Makes the slip at an entry of so many, or at some that are drawn; the first that is amiss."""
    match kind:
        case "wrong" | "several":
            rows_wrong = [at] if kind == "wrong" else sorted(rng.choice(count, 3, replace=False).tolist())
            for row in rows_wrong:
                others = sorted(set(values) - {values[row]}) or [values[row] ^ 1]
                flipped = values[row] ^ (1 << int(rng.integers(7)))
                values[row] = int(rng.choice(others)) if rng.random() < 0.5 else flipped
            return rows_wrong[0]
        case "missed":
            del values[at]
        case "twice":
            values.insert(at, values[at])
        case "still":
            values[:] = values[:1] * len(values)
    return at


def _stuck(values: list[int], rng: np.random.Generator) -> tuple[int, str] | None:
    """Makes a line stick in these entries; the first that is wrong for it, and the line. None where the other lines say
    too little, or the line would not be missed."""
    bit, level = int(rng.integers(7)), int(rng.integers(2))
    stuck = [value & ~(1 << bit) | level << bit for value in values]
    wrong = [row for row, (one, other) in enumerate(zip(stuck, values, strict=True)) if one != other]
    rest = sum((one ^ other) & ~(1 << bit) != 0 for one, other in pairwise(values))
    if len(values) <= ENOUGH or len(wrong) < SOME or wrong[0] >= len(values) - 1 or rest < CHANGES:
        return None
    values[:] = stuck
    return wrong[0], f"o{bit}"


def _written(
    kind: str, entries: list[tuple[int, int]], first: int, rng: np.random.Generator
) -> tuple[str, tuple[tuple[int, int], ...]] | None:
    """The list as text: bits or characters, with a count of steps or without."""
    glyphs = _glyphs()
    characters = all(value & 0x7F in glyphs for value, mask in entries if mask) and rng.random() < 0.5
    if characters and kind != "zeros":
        pointed = any(value & 0x80 for value, _ in entries)
        read = entries if pointed else [(value & 0x7F, mask & 0x7F) for value, mask in entries]
        cells = [
            (glyphs[value & 0x7F] + ("." if value & 0x80 else "") if mask else "?") for value, mask in entries
        ]
        entries = [(value, mask & ~_open(value)) for value, mask in read]
    else:
        cells = [f"{value:08b}" if mask else "?" * 8 for value, mask in entries]
        if kind == "zeros":
            cells = [f"{value:b}" for value, _ in entries]
    numbered = rng.random() < 0.5
    head = ("step," if numbered else "") + ("shown" if characters and kind != "zeros" else "outputs")
    rows = [(f"{first + n}," if numbered else "") + cell for n, cell in enumerate(cells)]
    return "\n".join([head, *rows]) + "\n", tuple(entries)


def _glyphs() -> dict[int, str]:
    """Segments a to g, bit 0 first, to the character that they show, bars that may be lit or not left dark."""
    found: dict[int, str] = {}
    for character, shape in SHAPES.items():
        lit = shape.partition("?")[0]
        found.setdefault(sum(1 << "abcdefg".index(segment) for segment in lit), character)
    return found


def _open(value: int) -> int:
    """The segments of a character that may be lit or not."""
    shape = SHAPES[_glyphs()[value & 0x7F]] if value & 0x7F in _glyphs() else ""
    return sum(1 << "abcdefg".index(segment) for segment in shape.partition("?")[2])


def _explained(made: List) -> bool:
    """Whether some beginning explains all entries: then no reader could tell the slip."""
    count = len(made.entries)
    value, mask = (np.array(column, np.uint8) for column in zip(*made.entries, strict=True))
    for first in range(len(made.run.outputs) - count + 1):
        rows = slice(first, first + count)
        if not ((made.run.outputs[rows] ^ value) & made.run.settled[rows] & mask).any():
            return True
    return False


def judged(made: List) -> Verdict:
    capture = parse_capture(made.text.encode(), "list", display=made.run.board.display)
    return check(made.run.golden, capture, made.run.board, start=made.run.start)


def placed(made: List, verdict: Verdict) -> bool:
    """Whether the entries that are named hold the slip, and no more than the run of equal entries in which it lies; and
    the sentence names the same."""
    if verdict.entries is None:
        return False
    if made.kind == "stuck":
        return verdict.first is not None and verdict.first.line == made.line
    said = re.search(r"ntr(?:y|ies) (\d+)(?: to (\d+))?", verdict.reasons[0])
    if said is None or (int(said[1]), int(said[2] or said[1])) != verdict.entries:
        return False
    first, last = (number - 1 for number in verdict.entries)
    low, high = (made.at - 1 if made.kind == "missed" else made.at), made.at
    while low and _alike(made.entries[low - 1], made.entries[low]):
        low -= 1
    while high + 1 < len(made.entries) and _alike(made.entries[high], made.entries[high + 1]):
        high += 1
    return low <= first <= last <= high + (made.kind not in ("wrong", "several"))


def _alike(one: tuple[int, int], other: tuple[int, int]) -> bool:
    return not (one[0] ^ other[0]) & one[1] & other[1]


@dataclass
class Tally:
    """How many lists had each verdict, by kind; how many slips were placed; right ones that should agree, and do."""

    verdicts: Counter[tuple[str, str]] = field(default_factory=Counter)
    named: Counter[str] = field(default_factory=Counter)
    enough: Counter[bool] = field(default_factory=Counter)
    odd: list[str] = field(default_factory=list)

    def table(self) -> str:
        kinds = (AGREES, INCONCLUSIVE, DIFFERS)
        lines = ["| list | agrees | inconclusive | differs | place named |", "|---|---|---|---|---|"]
        for kind in (*RIGHT, *WRONG):
            counts = " | ".join(str(self.verdicts[kind, verdict]) for verdict in kinds)
            lines.append(f"| {kind} | {counts} | {self.named[kind] if kind in PLACED else '-'} |")
        share = self.enough[True] / max(self.enough.total(), 1)
        lines += [
            "",
            f"{100 * share:.1f} % of {self.enough.total()} right lists of {ENOUGH} entries or more agree.",
        ]
        return "\n".join(lines)


def measure(each: int, first_seed: int = 0, names: Sequence[str] = ()) -> Tally:
    """So many lists of each kind."""
    found = Tally()
    for kind in (*RIGHT, *WRONG):
        for seed in range(first_seed, first_seed + each):
            made = draw(kind, seed, names)
            verdict = judged(made)
            found.verdicts[kind, verdict.kind] += 1
            good = verdict.kind != DIFFERS if kind in RIGHT else verdict.kind != AGREES
            if kind in RIGHT and len(made.entries) >= ENOUGH and made.changes >= CHANGES:
                found.enough[verdict.kind == AGREES] += 1
            if kind in PLACED and verdict.kind == DIFFERS:
                found.named[kind] += placed(made, verdict)
                good = good and placed(made, verdict)
            if not good:
                found.odd.append(
                    f"{kind} {seed} of {made.run.name}: {verdict.kind}, {verdict.entries}, not {made.at}"
                )
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split(":")[0] + ".")
    parser.add_argument("each", type=int, nargs="?", default=200, help="how many of each kind (%(default)s)")
    parser.add_argument("first", type=int, nargs="?", default=0, help="the first seed (%(default)s)")
    asked = parser.parse_args()
    found = measure(asked.each, asked.first)
    print(len(moving()), "designs:", *moving())
    print(*found.odd, sep="\n")
    print(found.table())


if __name__ == "__main__":
    main()
