"""Killed at any instant, a notebook holds all that was said to be written, and is whole."""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import time
from contextlib import closing
from pathlib import Path

import pytest
from forelight.harness.survey.attempt import Details
from forelight.harness.survey.joining import join
from forelight.harness.survey.notebook import reading, writing

from tests.sizes import sized

from .books import QUAY, attempt

SEED = 16
KILLS = sized(15, 200)

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="processes that can be forked and killed")


def _write_on(path: Path, pipe: int) -> None:
    """Writes tries of all sizes and says so of each, until it is killed."""
    rng = random.Random(os.getpid())
    while True:
        one, data = attempt(rng.choice((25, 42, 101))), rng.randbytes(rng.choice((0, 300, 50_000)))
        with writing(path) as notebook:
            notebook.add(one, Details({"reasons": ["x" * rng.randrange(5000)]}), None, QUAY)
            if data:
                notebook.keep(one.id, data)
        os.write(pipe, f"{one.id}\n".encode())


def _said_before_it_was_killed(path: Path, tries: int, after_s: float) -> list[str]:
    """The ids that a process said were written: it is killed a while after it has said so many."""
    out, into = os.pipe()
    child = os.fork()
    if not child:
        try:
            os.close(out)
            _write_on(path, into)
        finally:
            os._exit(1)
    os.close(into)
    with os.fdopen(out, "rb") as pipe:
        said = [pipe.readline() for _ in range(tries)]
        time.sleep(after_s)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        said += pipe.readlines()
    return [line.decode().strip() for line in said if line.endswith(b"\n")]


def test_nothing_that_was_said_to_be_written_is_lost(tmp_path: Path) -> None:
    rng, path = random.Random(SEED), tmp_path / "quay.survey"
    print("seed", SEED)
    said: list[str] = []
    hot = 0
    for number in range(KILLS):
        said += _said_before_it_was_killed(path, rng.randrange(4), rng.uniform(0, 0.03))
        hot += path.with_name("quay.survey-journal").exists()
        if not path.exists():
            assert not said
            continue
        with reading(path) as notebook:
            found = {one.id for one in notebook.attempts()}
        assert set(said) <= found, f"kill {number}"
        assert len(found) <= len(said) + number + 1, "at most one of each that was killed was not yet said"
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    print(
        f"{KILLS} kills, {hot} in the middle of writing; {len(said)} tries said to be written, {len(found)} found"
    )
    assert len(said) > KILLS
    assert hot, "some were killed in the middle of writing"


def test_a_merge_that_is_killed_is_done_or_not(tmp_path: Path) -> None:
    rng = random.Random(SEED)
    mine, other = tmp_path / "mine.survey", tmp_path / "other.survey"
    for path, who, count in ((mine, "Ann", 5), (other, "Bo", 300)):
        with writing(path) as notebook:
            for number in range(count):
                notebook.add(
                    attempt(who=who, note=str(number)), Details({"reasons": ["x" * 2000]}), None, QUAY
                )
    ends = set()
    for _ in range(sized(6, 40)):
        child = os.fork()
        if not child:
            code = 1
            try:
                join(mine, [other])
                code = 0
            finally:
                os._exit(code)
        time.sleep(rng.uniform(0, 0.03))
        os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        assert os.waitstatus_to_exitcode(status) in (0, -signal.SIGKILL)
        with reading(mine) as notebook:
            ends.add(len(notebook.attempts()))
    assert ends <= {5, 305}
    join(mine, [other])
    with reading(mine) as notebook:
        assert len(notebook.attempts()) == 305
