"""The likeliest slips of a list: the same as by trying every way, priced by the rules as they are written down."""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest
from forelight.harness.capture.readers import parse_capture
from forelight.harness.verdict.fit import fit
from forelight.harness.verdict.listing import MISSED, TWICE, WRONG_ENTRY, listed
from forelight.harness.verdict.null import entry_bits, line_bits
from forelight.harness.verdict.placement import Recording, written
from forelight.harness.verdict.rows import ReadRows
from forelight.harness.verdict.verdict import AGREES, DIFFERS, INCONCLUSIVE, Verdict, check

from tests.harness.verdict.noise import BOARD, Setup, golden_of, states

NAMES = ("o0", "o1", "o2")
SLIP = 8.0  # bits, one in 256


def rows_of(levels: list[int], known: int = 7) -> ReadRows:
    return ReadRows(np.array(levels, np.uint8), np.full(len(levels), known, np.uint8), 1)


def by_every_way(recording: Recording, told: ReadRows, stated: int) -> float:
    """The most bits of all ways to begin somewhere and to go on by none, one or two steps from entry to entry."""
    entries, steps = len(recording.rows.levels), len(told.levels)
    best = -math.inf
    for begin, *moves in product(range(steps), *[(0, 1, 2)] * (entries - 1)):
        path = np.cumsum([begin, *moves])
        if path[-1] >= steps:
            continue
        bits = -1.0 - (0 if begin == stated else math.log2(steps)) - SLIP * sum(move != 1 for move in moves)
        for row, step in enumerate(path):
            both = int(told.known[step] & recording.rows.known[row])
            if int(told.levels[step] ^ recording.rows.levels[row]) & both:
                bits -= SLIP
            else:
                bits += sum(float(recording.cost[bit, row]) for bit in range(3) if both >> bit & 1)
        best = max(best, bits)
    return best


@pytest.mark.parametrize("seed", range(12))
def test_the_likeliest_slips_are_those_of_all_ways(seed: int) -> None:
    rng = np.random.default_rng(seed)
    shown = rng.integers(0, 8, 7)
    begin = int(rng.integers(0, 2))
    seen = shown[begin : begin + 5].tolist()
    match seed % 4:
        case 1:
            seen[2] ^= 5
        case 2:
            del seen[1]
        case 3:
            seen.insert(2, seen[1])
    known = rng.choice([7, 7, 5], 7).astype(np.uint8)
    told = ReadRows(shown.astype(np.uint8), known, 1)
    recording = written(NAMES, rows_of(seen[:5]), 256)
    stated = int(rng.integers(-2, 9))
    found = listed(recording, told, stated)
    assert found is not None
    assert found.bits == pytest.approx(by_every_way(recording, told, stated))
    # The path and the slips cost what the bits say.
    moves = np.diff(found.path)
    wrong = [slip.first for slip in found.slips if slip.kind == WRONG_ENTRY]
    assert sum(slip.kind == MISSED for slip in found.slips) == int((moves == 2).sum())
    assert sum(slip.kind == TWICE for slip in found.slips) == int((moves == 0).sum())
    for row, step in enumerate(found.path):
        differs = bool((int(told.levels[step]) ^ seen[row]) & int(known[step]))
        assert (row in wrong) == differs


def test_a_slip_lies_anywhere_among_entries_that_show_the_same() -> None:
    """Entries 3 to 6 (from 0) show the same: one of them is too many, or one is missing from among them."""
    shown = [1, 2, 3, 4, 4, 4, 5, 6, 7, 0, 3, 5, 1]
    for kind, seen in ((TWICE, [1, 2, 3, 4, 4, 4, 4, 5, 6]), (MISSED, [1, 2, 3, 4, 4, 5, 6, 7, 0])):
        found = listed(written(NAMES, rows_of(seen), 256), rows_of(shown), 0)
        assert found is not None
        (slip,) = found.slips
        assert slip.kind == kind
        # A 4 is missing before the first 4, between the two, or before what comes behind them.
        assert (slip.first, slip.last) == ((3, 6) if kind == TWICE else (3, 5))
    first = listed(written(NAMES, rows_of([1, 1, 2, 3, 4, 4, 4, 5]), 256), rows_of(shown), 0)
    assert first is not None
    assert [(slip.kind, slip.first, slip.last) for slip in first.slips] == [(TWICE, 0, 1)]


def test_nothing_to_compare_with() -> None:
    assert listed(written(NAMES, rows_of([1, 2]), 256), rows_of([]), 0) is None
    assert listed(written(NAMES, rows_of([]), 256), rows_of([1, 2]), 0) is None


# The verdict


STEPS = 300


def judged(setup: Setup, entries: list[int], first: int | None = None) -> Verdict:
    head = "outputs" if first is None else "step,outputs"
    rows = [
        f"{entry:08b}" if first is None else f"{first + n},{entry:08b}" for n, entry in enumerate(entries)
    ]
    return check(golden_of(setup), parse_capture("\n".join([head, *rows, ""]).encode(), "list"), BOARD)


def run(kind: str, seed: int) -> tuple[Setup, np.random.Generator]:
    print("seed", seed)
    rng = np.random.default_rng(seed)
    return Setup(states(kind, STEPS, rng), half=2, lead=5, restart=0, unsettled=0), rng


def test_a_list_that_fits_nowhere_differs_from_some_length_on() -> None:
    """It must hold 20 bits more than it takes to say where it begins: fewer entries fit by chance."""
    setup, rng = run("counter", 6)
    missing = sorted(set(range(256)) - set(setup.states.tolist()))
    strange = missing if len(missing) > 8 else []
    entries = [int(value) for value in rng.permutation(strange or np.arange(256))][:10]
    if not strange:
        setup = Setup(setup.states & np.uint8(0x3F), half=2, lead=5, restart=0, unsettled=0)
        entries = [entry | 0x80 for entry in entries]
    kinds = []
    for count in range(1, 9):
        verdict = judged(setup, entries[:count])
        holds = float(entry_bits([(entry, 0xFF) for entry in entries[:count]], 256).sum())
        places = STEPS + 1 - count
        enough = holds >= math.log2(places) + 20 if count > 1 else False
        assert verdict.kind == (DIFFERS if enough else INCONCLUSIVE), count
        kinds.append(verdict.kind)
    assert set(kinds) == {DIFFERS, INCONCLUSIVE}


def test_a_line_that_is_stuck_is_named_once_the_list_is_long_enough() -> None:
    """What all other lines save must exceed what it takes to say that this one does as it likes, by ten bits: 10 for
    anything amiss, 3 for a line and as much as it takes to say which, and the place."""
    setup, _ = run("lfsr", 8)
    named = []
    for first, count in product(range(40, 100, 6), (3, 4, 5, 6, 14)):
        seen = [int(value) | 1 for value in setup.states[first : first + count]]
        wrong = [n for n in range(count) if not int(setup.states[first + n]) & 1]
        if not wrong:
            continue
        verdict = judged(setup, seen)
        alone = float(line_bits(np.array(seen, np.uint8), np.full(count, 0xFF, np.uint8), 0).sum())
        holds = float(entry_bits([(value, 0xFF) for value in seen], 256).sum())
        saved = holds - alone - (10 + 3 + 3) - math.log2(len(setup.states) + 1 - count)
        assert (verdict.reasons[0].startswith("Line o0")) == (saved >= 10), (first, count, saved)
        named.append(saved)
        if saved >= 10:
            assert verdict.kind == DIFFERS
            assert f"{len(wrong)} of {count} entries" in verdict.reasons[0]
            assert f"({', '.join(str(n + 1) for n in wrong[:6])}" in verdict.reasons[0]
            assert ("and so on" in verdict.reasons[0]) == (len(wrong) > 6)
            assert verdict.reasons[0].endswith("and is 1 throughout.")
            assert (verdict.entries, verdict.more) == ((wrong[0] + 1, wrong[0] + 1), len(wrong) - 1)
            assert verdict.first is not None
            assert (verdict.first.line, verdict.first.expected, verdict.first.seen) == ("o0", 0, 1)
            assert verdict.bits == 8 * count
    print(sorted(named))
    assert min(named) < 10 < max(named)


def test_a_line_that_moves_and_not_as_foretold_is_named_too() -> None:
    """One that is upside down, so that each entry is wrong for it, and one that is wrong in every other entry."""
    setup, _ = run("lfsr", 8)
    shown = [int(value) for value in setup.states[60:84]]
    said = judged(setup, [value ^ 8 for value in shown]).reasons
    numbers = ", ".join(str(n) for n in range(1, 7))
    assert said[0] == f"Line o3 is not as foretold in 24 of 24 entries ({numbers} and so on)."
    assert said[1] == "All other lines are as foretold."
    every = [value ^ (32 * (n % 2)) for n, value in enumerate(shown)]
    assert (
        judged(setup, every)
        .reasons[0]
        .startswith("Line o5 is not as foretold in 12 of 24 entries (2, 4, 6, 8, ")
    )


def test_a_list_of_few_entries_is_too_short_however_much_they_say() -> None:
    setup, _ = run("lfsr", 9)
    shown = [int(value) for value in setup.states[50:80]]
    assert [judged(setup, shown[:count], 50).kind for count in (5, 6)] == [INCONCLUSIVE, AGREES]
    agreed = judged(setup, shown[:12])
    assert (agreed.steps, agreed.bits) == (12, 96)
    recording = written(tuple(f"o{bit}" for bit in range(8)), rows_of(shown[:12], 0xFF), 256)
    told = ReadRows(setup.states, np.full(len(setup.states), 0xFF, np.uint8), 1)
    assert agreed.evidence == pytest.approx(fit(recording, told, before=False).bits, abs=1.1)


def test_what_is_said_of_the_slips_of_a_list() -> None:
    setup, _ = run("lfsr", 10)
    shown = [int(value) for value in setup.states[60:90]]
    wrong = shown.copy()
    wrong[4] ^= 2
    wrong[9] ^= 0x10
    wrong[20] ^= 0x81
    verdict = judged(setup, wrong, 60)
    assert verdict.first is not None
    level = shown[4] >> 1 & 1
    assert (verdict.first.step, verdict.first.line, verdict.first.expected) == (64, "o1", level)
    assert verdict.entries == (5, 5)
    assert verdict.reasons == (
        f"At step 64 line o1 is {1 - level} where {level} was predicted: entry 5.",
        "Entries amiss beside that: 10, 21.",
    )
    assert verdict.more == 3  # bits, of two entries
    missed = judged(setup, shown[:7] + shown[8:], 60)
    assert missed.reasons[0].startswith("A step is missing before entry 8")
    assert (missed.first is None or missed.first.step == 67) and missed.entries == (8, 8)
    twice = judged(setup, shown[:8] + shown[7:], 60)
    assert twice.reasons == (
        "One of entries 8 to 9 shows the step before it once more, where the next one was foretold.",
    )


def test_a_list_in_which_one_line_moves_proves_what_it_holds() -> None:
    """What an entry costs is shared among all lines; that seven of them rest takes nothing from it."""
    setup, _ = run("lone", 4)
    verdict = judged(setup, [int(value) for value in setup.states[40:70]])
    assert verdict.kind == AGREES and verdict.evidence > 15


@pytest.mark.parametrize(
    ("apart", "said"), [(0b100, "entry 11."), (0b10110, "A step is missing before entry 11")]
)
def test_of_two_slips_and_an_entry_that_is_wrong_in_one_line_the_entry_is_named(
    apart: int, said: str
) -> None:
    """An entry that shows the step behind it too may be a step left out and one too many; but if that differs in one
    line alone, the entry is sooner wrong."""
    setup, _ = run("counter", 1)
    setup.states[:] = np.resize(np.array([3, 88, 17, 140], np.uint8), len(setup.states))
    setup.states[60:62] = 201, 201 ^ apart
    seen = [int(value) for value in setup.states[50:74]]
    seen[10] ^= apart
    verdict = judged(setup, seen)
    assert verdict.kind == DIFFERS and verdict.entries == (11, 11)
    assert said in verdict.reasons[0]
