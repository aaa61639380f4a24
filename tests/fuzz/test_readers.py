"""No reader ends in anything but a result or the project's own errors, whatever it is given."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.fuzz.mutation import WORDS
from tests.fuzz.readers import READERS, Reader
from tests.fuzz.run import GOOD, ended, run

QUICK = [reader for reader in READERS if not reader.slow]


@pytest.mark.parametrize("reader", QUICK, ids=lambda reader: reader.name)
def test_damaged_files(reader: Reader, tmp_path: Path) -> None:
    seed = 3
    print(f"seed {seed}")
    found, bad = run(reader, 120, seed, tmp_path)
    assert not bad
    assert found["refused"] or reader.name == "cache entry"
    assert all(ended(reader, data, tmp_path) == "accepted" for data in reader.seeds()[:1]) or reader.name in (
        "golden VCD", "golden CSV", "RTLIL", "--play",
    )  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("reader", READERS, ids=lambda reader: reader.name)
def test_many_damaged_files(reader: Reader, tmp_path: Path) -> None:
    print("seed 4")
    assert not run(reader, 40 if reader.slow else 4000, 4, tmp_path)[1]


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    reader=st.sampled_from(QUICK), parts=st.lists(st.sampled_from(WORDS) | st.binary(max_size=6), max_size=25)
)
def test_words_in_any_order(reader: Reader, parts: list[bytes], tmp_path: Path) -> None:
    assert ended(reader, b" ".join(parts), tmp_path) in GOOD
    assert ended(reader, b"\n".join(parts), tmp_path) in GOOD
