"""A file is written whole or not at all."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest
from forelight.sim.errors import UsageError
from forelight.sim.files import UNFINISHED, write_together, write_whole


def test_text_and_bytes_go_out_as_given(tmp_path: Path) -> None:
    write_whole(tmp_path / "a.csv", "a\r\nb\n")
    write_whole(str(tmp_path / "b.bin"), b"\x00\xff")
    assert (tmp_path / "a.csv").read_bytes() == b"a\r\nb\n"
    assert (tmp_path / "b.bin").read_bytes() == b"\x00\xff"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.csv", "b.bin"]


def test_pieces_make_one_file_or_none(tmp_path: Path) -> None:
    target = tmp_path / "long.csv"
    write_whole(target, (bytes([letter]) * 3 for letter in b"abc"))
    assert target.read_bytes() == b"aaabbbccc"

    def breaks() -> Iterator[bytes]:
        yield b"half"
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_whole(target, breaks())
    assert target.read_bytes() == b"aaabbbccc"
    assert [p.name for p in tmp_path.iterdir()] == ["long.csv"]


def test_a_failed_move_leaves_the_old_file_and_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "kept.csv"
    write_whole(target, "old")

    def full(self: Path, where: Path) -> Path:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(UsageError) as caught:
        write_whole(target, "new")
    assert str(caught.value) == (f"{target}: cannot write the file: no space left on device; make room")
    assert target.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["kept.csv"]


@pytest.mark.parametrize("name", ["absent/x.csv", ""])
def test_a_place_that_cannot_hold_a_file_is_named(tmp_path: Path, name: str) -> None:
    with pytest.raises(UsageError, match="cannot write the file"):
        write_whole(tmp_path / name, "x")
    assert list(tmp_path.iterdir()) == []


def test_rights_follow_the_umask_and_then_the_file(tmp_path: Path) -> None:
    target = tmp_path / "x.csv"
    old = os.umask(0o027)
    try:
        write_whole(target, "1")
        assert stat.S_IMODE(target.stat().st_mode) == 0o640
        target.chmod(0o604)
        write_whole(target, "2")
        assert stat.S_IMODE(target.stat().st_mode) == 0o604
    finally:
        os.umask(old)


def test_a_link_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "real.csv").write_text("old")
    link = tmp_path / "link.csv"
    link.symlink_to("real.csv")
    write_whole(link, "new")
    assert link.is_symlink()
    assert (tmp_path / "real.csv").read_text() == "new"


def test_what_is_no_ordinary_file_is_written_straight() -> None:
    write_whole(os.devnull, "gone")
    assert not Path(os.devnull).is_file()


def test_files_that_belong_together_are_replaced_together(tmp_path: Path) -> None:
    one, other = tmp_path / "a.toml", tmp_path / "a.csv"
    one.write_text("old")
    other.mkdir()  # cannot be replaced by a file
    with pytest.raises(UsageError, match="cannot write the file"):
        write_together([(one, "new"), (other, "new")])
    assert one.read_text() == "old" and sorted(p.name for p in tmp_path.iterdir()) == ["a.csv", "a.toml"]
    one.unlink()
    with pytest.raises(UsageError):
        write_together([(one, "new"), (other, "new")])
    assert [p.name for p in tmp_path.iterdir()] == ["a.csv"]
    other.rmdir()
    one.write_text("old")
    write_together([(one, "new"), (other, "new")])
    assert (one.read_text(), other.read_text()) == ("new", "new")
    assert len(list(tmp_path.iterdir())) == 2


def test_what_is_unfinished_can_be_removed_by_whoever_ends_the_program(tmp_path: Path) -> None:
    def interrupted() -> Iterator[bytes]:
        yield b"half"
        assert len(list(tmp_path.iterdir())) == 1
        UNFINISHED.remove()
        assert not list(tmp_path.iterdir())

    with pytest.raises(UsageError):
        write_whole(tmp_path / "a", interrupted())
