"""The cache on disk: bounded, keyed by content, whole or absent, and safe beside another process."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from forelight.sim.disk_cache import DiskCache, folder, key
from forelight.sim.machine.code import CACHE, compile_text


@pytest.fixture(autouse=True)
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("FORELIGHT_CACHE", str(tmp_path / "cache"))
    return tmp_path / "cache"


def test_an_entry_comes_back_and_a_damaged_one_does_not(place: Path) -> None:
    cache = DiskCache(".thing", 1000)
    assert cache.load("a") is None
    cache.store("a", b"one\ntwo")
    assert cache.load("a") == b"one\ntwo"
    file = place / "a.thing"
    for damaged in (b"", file.read_bytes()[:-1], b"x" + file.read_bytes(), file.read_bytes() + b"x"):
        file.write_bytes(damaged)
        assert cache.load("a") is None
    cache.store("a", b"again")
    assert cache.load("a") == b"again"
    assert [path.name for path in place.iterdir()] == ["a.thing"]


def test_what_was_unused_for_longest_goes_first(place: Path) -> None:
    import os

    cache = DiskCache(".thing", 3 * (65 + 100))  # each entry is 100 bytes and a checksum with its line end
    for number, name in enumerate("abc"):
        cache.store(name, bytes(100))
        os.utime(place / f"{name}.thing", (number, number))
    assert cache.load("a") is not None  # used: now the newest
    (place / "other.kind").write_bytes(bytes(5000))  # another kind does not count
    cache.store("d", bytes(100))
    assert [cache.load(name) is not None for name in "abcd"] == [True, False, True, True]


def test_many_small_entries_are_bounded_though_the_folder_is_looked_through_seldom(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    looks: list[str] = []
    whole = Path.glob

    def counted(self: Path, pattern: str) -> Iterator[Path]:
        looks.append(pattern)
        return iter(whole(self, pattern))

    monkeypatch.setattr(Path, "glob", counted)
    cache = DiskCache(".thing", 100 * (65 + 100))
    for number in range(400):
        cache.store(str(number), bytes(100))
        # That a hundred stores pass without a look happens once in 40 million times.
        assert len(list(place.iterdir())) <= 200
    assert 20 < len(looks) < 150  # 64 are to be expected
    assert cache.load("399") is not None


def test_the_borders_of_parts_count() -> None:
    assert key(("ab", "c")) != key(("a", "bc"))
    assert key((b"ab",)) == key(("ab",))


def test_the_folder_is_the_xdg_one_unless_stated(monkeypatch: pytest.MonkeyPatch) -> None:
    """XDG Base Directory Specification: a relative XDG_CACHE_HOME is ignored, the default is ~/.cache."""
    monkeypatch.delenv("FORELIGHT_CACHE")
    monkeypatch.setenv("XDG_CACHE_HOME", "/somewhere")
    assert folder() == Path("/somewhere/forelight")
    monkeypatch.setenv("XDG_CACHE_HOME", "relative")
    assert folder() == Path.home() / ".cache" / "forelight"


def test_a_cache_that_cannot_be_written_is_no_error(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv("FORELIGHT_CACHE", str(tmp_path / "file" / "cache"))
    DiskCache(".thing", 1000).store("a", b"")
    assert DiskCache(".thing", 1000).load("a") is None


TEXT = """
define void @twice(ptr %a) {
  %v = load i8, ptr %a
  %w = shl i8 %v, 1
  store i8 %w, ptr %a
  ret void
}
"""


def doubled(level: int = 1) -> int:
    import numpy as np

    cell = np.array([21], np.uint8)
    compile_text(TEXT, "twice", level).call(cell.ctypes.data)
    return int(cell[0])


def test_compiled_code_is_kept_used_and_ignored_where_damaged(place: Path) -> None:
    assert doubled() == 42
    (entry,) = place.glob(f"*{CACHE.suffix}")
    first = entry.read_bytes()
    assert doubled() == 42  # from the disk
    assert doubled(2) == 42  # another level is another entry
    assert len(list(place.glob(f"*{CACHE.suffix}"))) == 2
    entry.write_bytes(first[:-50] + bytes(50))
    assert doubled() == 42
    assert entry.read_bytes() == first


def test_two_processes_at_once_leave_whole_entries(place: Path) -> None:
    program = (
        "from forelight.sim.disk_cache import DiskCache\n"
        "for n in range(300):\n"
        "    DiskCache('.thing', 10**6).store('same', b'0123456789' * 1000)\n"
        "    assert DiskCache('.thing', 10**6).load('same') == b'0123456789' * 1000\n"
    )
    running = [subprocess.Popen([sys.executable, "-c", program]) for _ in range(2)]
    assert [process.wait() for process in running] == [0, 0]
    assert [path.name for path in place.iterdir()] == ["same.thing"]
