"""Strips of pictures as exact strings, and how repeats are found."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from forelight.harness.boards.segments import SEGMENTS
from forelight.harness.golden.golden import Golden, Race
from forelight.harness.view.brightness import seen
from forelight.harness.view.display import ASCII, UNICODE
from forelight.harness.view.filmstrip import scale, strip
from forelight.harness.view.pictures import Picture, level_text, pictures, repeat, since

MakeGolden = Callable[..., Golden]
WIRING = {f"o{line}": segment for line, segment in enumerate(SEGMENTS)}


def drawn(golden: Golden, wiring: dict[str, str] = WIRING, width: int = 80, limit: int = 24) -> list[str]:
    sequence = pictures(golden, seen(golden), sorted(int(line[1:]) for line in wiring) or range(8))
    return [
        line.plain.rstrip()
        for line in strip(sequence, wiring, golden.oscillator_hz, width=width, limit=limit, glyphs=UNICODE)
    ]


def test_a_strip(make_golden: MakeGolden) -> None:
    golden = make_golden([(0, 0x3F, 0x80), (500, 0x06), (1000, 0xDB)], 1500)
    assert drawn(golden) == [
        "0.000 s   0.500 s   1.000 s",
        " ███       ···       ███",
        "█   █     ·   █     ·   █",
        " ···       ···       ███",
        "█   █     ·   █     █   ·",
        " ███  ?    ···  ·    ███  █",
        "step 0    step 1    step 2",
        "?0111111  00000110  11011011",
        "",
        "The run ends at 1.500 s.",
    ]


def test_narrow_strips_wrap(make_golden: MakeGolden) -> None:
    golden = make_golden([(0, 0x06), (500, 0x5B), (1000, 0x06)], 1500)
    assert drawn(golden, width=19) == [
        "0.000 s   0.500 s",
        " ···       ███",
        "·   █     ·   █",
        " ···       ███",
        "·   █     █   ·",
        " ···  ·    ███  ·",
        "step 0    step 1",
        "00000110  01011011",
        "",
        "1.000 s",
        " ···",
        "·   █",
        " ···",
        "·   █",
        " ···  ·",
        "step 2",
        "00000110",
        "",
        "The run ends at 1.500 s.",
    ]
    assert max(map(len, drawn(golden, width=1)[:-1])) == 8


def test_what_repeats_is_drawn_once(make_golden: MakeGolden) -> None:
    golden = make_golden([(n * 250, 1 + n % 2) for n in range(40)], 10000)
    assert drawn(golden, wiring={}) == [
        "0.000 s   0.250 s",
        "step 0    step 1",
        "00000001  00000010",
        "",
        "Then again as from 0.000 s, every 0.500 s, to the end at 10.000 s.",
    ]


def test_a_long_strip_says_what_it_leaves_out(make_golden: MakeGolden) -> None:
    golden = make_golden([(30 * n, n) for n in range(60)], 4000)
    assert drawn(golden, wiring={}, limit=2)[-1] == "… and 58 more pictures to the end at 4.000 s."


def test_pictures_that_look_alike_are_one(make_golden: MakeGolden) -> None:
    golden = make_golden([(0, 0x01), (500, 0x81), (900, 0x80)], 1500)
    found = pictures(golden, seen(golden), lines=[0])
    assert [(picture.start, picture.lasts, picture.step) for picture in found] == [(0, 900, 0), (900, 600, 2)]


def test_levels_are_written_as_in_a_golden() -> None:
    assert level_text([1, 0, 0.5, None, 0, 0, 0, 1.0], ASCII) == "1000?~01"


@pytest.mark.parametrize(
    ("shortest", "text"), [(100_000, "2.000 s"), (99_999, "2.000000 s"), (99, "2.000000000 s")]
)
def test_digits_follow_the_shortest_picture(shortest: int, text: str) -> None:
    sequence = [Picture(0, shortest, 0, (0,) * 8), Picture(shortest, 10**9, 1, (1,) * 8)]
    assert scale(sequence, 10**8).text(2 * 10**8) == text


def looks(text: str, lasts: list[int] | None = None) -> list[Picture]:
    spans = lasts or [10] * len(text)
    return [
        Picture(0, span, 0, (float(ord(mark) & 1), float(ord(mark) >> 1 & 1), *[0.0] * 6))
        for mark, span in zip(text, spans, strict=True)
    ]


@pytest.mark.parametrize(
    ("text", "lasts", "expected"),
    [
        ("abab", None, (0, 2)),
        ("cabab", None, (1, 2)),
        ("cabab", [10, 10, 10, 10, 3], (1, 2)),  # cut short by the end
        ("cabab", [10, 10, 10, 10, 30], None),  # stays longer than it did before
        ("abab", [10, 10, 20, 10], None),
        ("abc", None, None),
        ("aba", None, None),
        ("abcabcab", None, (0, 3)),
        ("abcabcabca", None, (0, 3)),
        ("a", None, None),
    ],
)
def test_repeats(text: str, lasts: list[int] | None, expected: tuple[int, int] | None) -> None:
    assert repeat(looks(text, lasts)) == expected


@pytest.mark.parametrize(
    ("tick", "ticks", "steps", "outputs"),
    [
        (0, [0, 500, 900], [0, 1, 2], [1, 2, 3]),
        (499, [0, 1, 401], [0, 1, 2], [1, 2, 3]),
        (500, [0, 400], [0, 1], [2, 3]),
        (1400, [0], [0], [3]),
    ],
)
def test_a_golden_from_some_tick_on(
    make_golden: MakeGolden, tick: int, ticks: list[int], steps: list[int], outputs: list[int]
) -> None:
    golden = make_golden([(0, 1), (500, 2, 8), (900, 3)], 1500)
    later = since(golden, tick)
    assert (later.ticks.tolist(), later.steps.tolist(), later.outputs.tolist()) == (ticks, steps, outputs)
    assert later.end == 1500 - tick
    assert golden.ticks.tolist() == [0, 500, 900]


def test_races_before_it_stay_where_they_still_tell_on_an_output(make_golden: MakeGolden) -> None:
    # o0 is unsettled and o1 sampled.
    proved, sampled = np.full(3, 0xFC, np.uint8), np.full(3, 2, np.uint8)
    golden = replace(make_golden([(0, 0), (500, 4), (900, 8)], 1500), proved=proved, sampled=sampled)
    one, two, three = (Race(tick, 1, ("i0", "i7"), outputs, ()) for tick, outputs in (
        (400, ("o0", "o4")), (400, ("o1", "o4")), (600, ("o4",))
    ))  # fmt: skip
    later = since(replace(golden, races=(one, two, three), suspects=(one, two, three)), 500)
    assert [(race.tick, race.outputs) for race in later.races] == [(-100, one.outputs), (100, three.outputs)]
    assert [(race.tick, race.outputs) for race in later.suspects] == [
        (-100, two.outputs),
        (100, three.outputs),
    ]
