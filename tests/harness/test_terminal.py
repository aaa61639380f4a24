"""`forelight show` on a terminal: a process of its own under a pseudo-terminal."""

from __future__ import annotations

import os
import pty
import re
import select
import signal
import subprocess
import sys
import termios
import time
from dataclasses import dataclass
from fcntl import ioctl
from pathlib import Path
from struct import pack

import pytest

HIDE, SHOW = b"\x1b[?25l", b"\x1b[?25h"
COLOUR = re.compile(rb"\x1b\[[0-9;]*38;")
LONGEST_S = 60
#: What the command takes over from the environment of the tests.
SAME = ("PATH", "HOME", "VIRTUAL_ENV", "PYTHONPATH")


@dataclass(frozen=True)
class Ended:
    code: int
    screen: bytes

    @property
    def text(self) -> str:
        """The words on the screen, without codes and line breaks."""
        plain = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", self.screen.decode(errors="replace"))
        return " ".join(plain.split())


def _at_a_terminal() -> None:
    """In the child: it belongs to the terminal, and Ctrl-C reaches it though the tests may run in the background."""
    ioctl(0, termios.TIOCSCTTY, 0)
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def on_terminal(
    *arguments: str,
    columns: int = 80,
    rows: int = 24,
    stop_at: bytes | None = None,
    press: bytes = b"\x03",
    **env: str,
) -> Ended:
    """Run `forelight` on a terminal of this size; once `stop_at` is on the screen, press keys: Ctrl-C if not said."""
    keeper, terminal = pty.openpty()
    ioctl(terminal, termios.TIOCSWINSZ, pack("HHHH", rows, columns, 0, 0))
    environment = {"TERM": "xterm-256color", "LANG": "C.UTF-8", "PYTHONIOENCODING": "utf-8", **env}
    inherited = {key: value for key, value in os.environ.items() if key in SAME}
    process = subprocess.Popen(
        [sys.executable, "-c", "from forelight.harness.cli import main; main()", *arguments],
        stdin=terminal,
        stdout=terminal,
        stderr=terminal,
        env=inherited | environment,
        start_new_session=True,
        preexec_fn=_at_a_terminal,  # noqa: PLW1509 - two system calls, no lock taken
    )
    os.close(terminal)
    screen = b""
    deadline = time.monotonic() + LONGEST_S
    try:
        while time.monotonic() < deadline:
            ready, _, _ = select.select([keeper], [], [], 0.1)
            if ready:
                try:
                    part = os.read(keeper, 65536)
                except OSError:  # Linux tells the end of a pseudo-terminal so
                    break
                screen += part
                if not part:
                    break
            if stop_at is not None and stop_at in screen:
                os.write(keeper, press)
                stop_at = None
        return Ended(process.wait(timeout=LONGEST_S), screen)
    finally:
        if process.poll() is None:
            process.kill()
        os.close(keeper)


def test_the_display_moves_and_the_cursor_comes_back() -> None:
    ended = on_terminal("show", "tide_gauge", "--seconds", "2", "--speed", "4")
    assert ended.code == 0
    assert COLOUR.search(ended.screen)
    assert "██" in ended.text
    assert all(f"step {step} " in ended.text for step in range(4))
    # Once for the display; and for a bar before it, where that takes a while.
    assert ended.screen.count(HIDE) == ended.screen.count(SHOW)
    assert ended.screen.rindex(SHOW) > ended.screen.rindex(HIDE)
    assert "proved from any state, at any rate." in " ".join(ended.text.rpartition("q: leave")[2].split())


def test_steps_go_on_while_the_picture_stays() -> None:
    # At 1500 steps a second the dimmer's picture never changes.
    ended = on_terminal("show", "lamp_dimmer", "--seconds", "2", "--speed", "4")
    assert len(set(re.findall(r" s step (\d+) ", ended.text))) >= 5
    assert "step 2998 " in ended.text or "step 2999 " in ended.text


def test_ctrl_c_leaves_a_clean_terminal() -> None:
    ended = on_terminal("show", "tide_gauge", "--seconds", "100", stop_at=b"step 1 ")
    assert ended.code == 130
    assert ended.screen.rindex(SHOW) > ended.screen.rindex(HIDE)
    assert "Traceback" not in ended.text
    assert ended.screen.endswith(b"\r\x1b[K" + SHOW), (
        "the line of keys is wiped, and the prompt comes in its place"
    )


def test_keys_stop_it_go_a_step_on_and_back_and_leave_it() -> None:
    begun = time.monotonic()
    # The arrows as terminals send them (ECMA-48: CUF and CUB).
    keys = b"  " + 3 * b"\x1b[C" + b"\x1b[D" + b"q"
    ended = on_terminal("show", "tide_gauge", "--seconds", "100", rows=45, stop_at=b"step 1 ", press=keys)
    assert time.monotonic() - begun < LONGEST_S
    assert ended.code == 0
    assert "stopped step 4 " in ended.text
    moments = re.findall(r"stopped step (\d) ", ended.text)
    assert moments[-1] == "3"
    strips = re.findall(r"stopped step (\d) (?:(?! step \d ).)*Levels from step 0 to step (\d)", ended.text)
    assert strips and all(step == last for step, last in strips), strips
    assert "The restart settles the whole design" in ended.text.rpartition("q: leave")[2]
    assert ended.screen.rindex(SHOW) > ended.screen.rindex(HIDE)


def test_a_narrow_terminal_shows_all_of_it() -> None:
    ended = on_terminal("show", "lighthouse", columns=40, rows=24, stop_at=b"step 3", press=b"q")
    assert ended.code == 0
    assert "space: stop arrows: a step q: leave" in ended.text


def test_still_pictures_on_request() -> None:
    ended = on_terminal("show", "tide_gauge", "--seconds", "2", "--still")
    assert ended.code == 0
    assert HIDE not in ended.screen
    assert "0.000 s 0.491 s 0.981 s" in ended.text


FLASHING = ("show", "lighthouse", "--set", "i3=1", "--set", "i2=1", "--hz", "30", "--seconds", "1")


def test_what_flashes_too_much_is_held_still_and_says_why() -> None:
    ended = on_terminal(*FLASHING)
    assert ended.code == 0
    assert HIDE not in ended.screen
    assert re.search(r"Held still: o0 flashes [78](\.5)? times in a second", ended.text)
    assert "ask for --motion" in ended.text
    assert "Then again as from" in ended.text


def test_motion_on_request_although_it_flashes() -> None:
    ended = on_terminal(*FLASHING, "--motion")
    assert ended.screen.count(HIDE) == 1
    assert re.search(r"Caution: o0 flashes [78](\.5)? times in a second", ended.text)


def test_slower_is_shown_moving() -> None:
    ended = on_terminal(*FLASHING, "--speed", "0.25")
    assert ended.screen.count(HIDE) == 1
    assert "times in a second" not in ended.text


def test_no_colour_on_request() -> None:
    ended = on_terminal("show", "tide_gauge", "--seconds", "1", "--speed", "4", NO_COLOR="1")
    assert ended.code == 0
    assert not COLOUR.search(ended.screen)
    assert "██" in ended.text


def test_a_terminal_without_cursor_movement_gets_still_pictures() -> None:
    ended = on_terminal("show", "tide_gauge", "--seconds", "1", TERM="dumb")
    assert ended.code == 0
    assert b"\x1b" not in ended.screen
    assert "0.000 s 0.491 s" in ended.text


@pytest.mark.parametrize("size", [(40, 24), (40, 10), (200, 60)])
def test_sizes_of_terminals(size: tuple[int, int]) -> None:
    columns, rows = size
    ended = on_terminal("show", "tide_gauge", "--seconds", "1", "--speed", "4", columns=columns, rows=rows)
    assert ended.code == 0
    lines = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", ended.screen.decode()).replace("\r", "\n").split("\n")
    assert max(map(len, lines)) <= columns


def test_ascii_terminals() -> None:
    ended = on_terminal("show", "tide_gauge", "--seconds", "1", "--speed", "4", PYTHONIOENCODING="ascii")
    assert ended.code == 0
    assert ended.screen.isascii()
    assert "######" in ended.text


def test_long_work_shows_a_bar_and_leaves_nothing_when_stopped(tmp_path: Path) -> None:
    golden = tmp_path / "long.csv"
    ended = on_terminal(
        "golden", "ferry_whistle", "--seconds", "20000", "-o", str(golden), stop_at=b"Running"
    )
    assert ended.code == 130
    assert "Running ferry_whistle" in ended.text
    assert ended.screen.rindex(SHOW) > ended.screen.rindex(HIDE)
    assert not list(tmp_path.iterdir())


def test_an_error_is_broken_between_words(tmp_path: Path) -> None:
    wrong = tmp_path / "p.toml"
    wrong.write_text('do = ["press i3"]\n')
    ended = on_terminal("show", "dice", "--procedure", str(wrong), columns=40)
    assert ended.code == 2
    said = '"press i3": no button sits on i3; lines with buttons: i0, i6, i7; or use set'
    assert ended.text == f"forelight: {wrong}:1, action 1: {said}"
    lines = ended.screen.decode().split("\r\n")
    assert len(lines) > 3 and all(len(line) <= 40 for line in lines if " " in line)
