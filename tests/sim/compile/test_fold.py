"""What is known of a cell's output, against the cell's meaning at every level of what is not known."""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator, Sequence

import pytest
from forelight.sim.compile.fold import fold
from forelight.sim.evaluate import evaluate
from forelight.sim.netlist import Cell, Const, Param, Slice, Word

SEED = 5
A = Word.value(0, 3)
B = Word.value(1, 3)


def level(word: Word, levels: Sequence[int]) -> int:
    """What a word is where each value has a level."""
    found = at = 0
    for part in word.parts:
        bits = part.bits if isinstance(part, Const) else levels[part.value] >> part.low
        found |= (bits & (1 << part.width) - 1) << at
        at += part.width
    return found


def holds(cell: Cell, operands: Sequence[Word], width: int) -> bool:
    """Whether the cell folds; what it folds to is compared with its meaning for all levels of two 3-bit values."""
    found = fold(cell, operands, width)
    if found is None:
        return False
    assert found.width == width
    for levels in itertools.product(range(8), repeat=2):
        numbers, widths = [level(word, levels) for word in operands], [word.width for word in operands]
        expected = evaluate(cell.kind, cell.params, numbers, widths, width)
        assert level(found, levels) == expected, f"{cell.kind} {cell.params} {[*map(str, operands)]} {levels}"
    return True


def words(rng: random.Random, width: int) -> Word:
    """A word of constant bits and bits of the two values, mixed."""
    parts = []
    for _ in range(width):
        value = rng.choice((None, None, 0, 1))
        parts.append(Const(rng.getrandbits(1), 1) if value is None else Slice(value, rng.randrange(3), 1))
    return Word.of(parts)


def cells(rng: random.Random, kind: str) -> Iterator[tuple[Cell, list[Word], int]]:
    """Cells of one kind with drawn widths, signs and operands."""
    for _ in range(400):
        params: dict[str, Param] = {"A_SIGNED": rng.getrandbits(1), "B_SIGNED": rng.getrandbits(1)}
        left, right, width = (rng.choice((1, 2, 3, 4, 5)) for _ in range(3))
        if kind == "$mux":
            operands = [words(rng, width), words(rng, width), words(rng, 1)]
        elif kind == "$pmux":
            # Several selects at once are an undefined choice: at most one is up.
            select = Word.const(rng.choice((0, 1, 2, 4)), 3) if rng.getrandbits(1) else Word.value(0, 3)
            operands = [words(rng, width), words(rng, 3 * width), select]
        elif kind == "case":
            drawn = ["".join(rng.choice("01-") for _ in range(left)) for _ in range(3)]
            params = {"patterns": ((drawn[0], drawn[1]), (drawn[2],))}
            operands = [words(rng, left), *(words(rng, width) for _ in range(3))]
        elif kind.startswith("$reduce") or kind == "$logic_not":
            operands = [words(rng, left)]
        else:
            operands = [words(rng, left), words(rng, rng.choice((left, right)))]
        cell = Cell(kind, 9, tuple(operands), params)
        yield cell, operands, 1 if kind.startswith(("$logic", "$reduce", "$eq", "$ne")) else width


KINDS = [
    *("$mux", "$pmux", "case", "$and", "$or", "$logic_and", "$logic_or", "$logic_not"),
    *("$reduce_and", "$reduce_or", "$reduce_bool", "$eq", "$ne", "$eqx", "$nex", "$add", "$xor"),
]


@pytest.mark.parametrize("kind", KINDS)
def test_what_folds_is_what_the_cell_means(kind: str) -> None:
    print(f"seed {SEED}")
    found = [holds(*drawn) for drawn in cells(random.Random(f"{SEED}/{kind}"), kind)]
    assert any(found) and not all(found)


def one(kind: str, *operands: Word, width: int = 3, **params: Param) -> tuple[Cell, Sequence[Word], int]:
    return Cell(kind, 9, operands, params), operands, width


ONES = Word.const(7, 3)
ZERO = Word.const(0, 3)
MIXED = Word.of((Const(1, 1), Slice(0, 1, 1), Const(0, 1)))


@pytest.mark.parametrize(
    ("cell", "becomes"),
    [
        (one("$and", A, ONES), A),
        (one("$and", A, ZERO), ZERO),
        (one("$or", ZERO, B), B),
        (one("$or", B, ONES), ONES),
        (one("$and", A, Word.const(5, 3)), Word.of((Slice(0, 0, 1), Const(0, 1), Slice(0, 2, 1)))),
        (one("$or", Word.const(2, 3), A), Word.of((Slice(0, 0, 1), Const(1, 1), Slice(0, 2, 1)))),
        # Signed only together: then the constant's top bit goes on upwards.
        (one("$and", A, Word.const(3, 2), A_SIGNED=1, B_SIGNED=1), A),
        (one("$and", A, Word.const(3, 2), A_SIGNED=1, B_SIGNED=0), A.cut(0, 2) + Word.const(0, 1)),
        (one("$mux", A, B, Word.const(1, 1)), B),
        (one("$mux", A, B, Word.const(0, 1)), A),
        (one("$mux", A, A, Word.value(1, 1)), A),
        (one("$pmux", A, B + A, Word.const(0, 2)), A),
        (one("$pmux", B, B + A, Word.const(2, 2)), A),
        (one("case", B, A, A, A, patterns=(("1--",), ("000",))), A),
        (one("case", Word.const(4, 3), A, B, B, patterns=(("1--",), ("000",))), A),
        (one("case", Word.const(2, 3), A, A, B, patterns=(("1--",), ("000",))), B),
        (one("$logic_and", A, ZERO, width=1), Word.const(0, 1)),
        (one("$logic_or", Word.const(4, 3), A, width=1), Word.const(1, 1)),
        (one("$reduce_and", MIXED, width=1), Word.const(0, 1)),
        (one("$reduce_and", Word.const(1, 2) + A, width=1), Word.const(0, 1)),
        (one("$reduce_and", Word.const(3, 2) + A, width=1), None),
        (one("$reduce_or", Word.const(0, 2) + A, width=1), None),
        (one("$reduce_or", MIXED, width=1), Word.const(1, 1)),
        (one("$logic_not", MIXED, width=1), Word.const(0, 1)),
        (one("$eq", A, A, width=1), None),
        (one("$eq", MIXED, Word.const(0, 1) + A.cut(0, 2), width=1), Word.const(0, 1)),
        (one("$ne", Word.const(0, 1) + A, Word.const(1, 1) + A, width=1), Word.const(1, 1)),
        (one("$nex", MIXED, Word.const(0, 1) + A.cut(0, 2), width=1), Word.const(1, 1)),
        (one("$add", Word.const(6, 3), Word.const(3, 3)), Word.const(1, 3)),
        (one("$add", A, ZERO), None),
        (one("read", Word.const(0, 3)), None),
        (one("$tribuf", ONES, Word.const(1, 1)), None),
    ],
    ids=str,
)
def test_what_a_cell_becomes(cell: tuple[Cell, Sequence[Word], int], becomes: Word | None) -> None:
    assert fold(*cell) == becomes


def test_a_wide_word_is_not_taken_apart() -> None:
    wide = Word.value(0, 65)
    assert fold(*one("$and", wide, Word.const(1, 65), width=65)) is None
    assert fold(*one("$and", wide, Word.const(-1, 65), width=65)) == wide
    narrow = Word.value(0, 64)
    assert fold(*one("$and", narrow, Word.const(1, 64), width=64)) == narrow.bit(0) + Word.const(0, 63)


@pytest.mark.parametrize(("kind", "decides"), [("and", 0), ("or", 1), ("bool", 1)])
def test_a_reduction_folds_where_any_constant_bit_decides_it_and_nowhere_else(
    kind: str, decides: int
) -> None:
    for width in range(1, 5):
        for bits in range(1 << width):
            found = fold(*one(f"$reduce_{kind}", A + Word.const(bits, width) + B, width=1))
            told = any(bits >> place & 1 == decides for place in range(width))
            assert found == (Word.const(decides, 1) if told else None), (width, bits)
