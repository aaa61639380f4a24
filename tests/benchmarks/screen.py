"""The panel on a screen: pictures a second on quay, and the time from a key to its answer on the screen.

`python -m tests.benchmarks.screen` prints a table.
"""

from __future__ import annotations

import asyncio
import time
from statistics import median

from forelight.harness.boards.reader import load_board
from forelight.harness.boards.roster import find
from forelight.harness.hand.routine import bring_up
from forelight.harness.panel.app import Panel
from forelight.harness.panel.session import Session
from textual.events import Key

SIZES = ((80, 24), (120, 40))
DESIGNS = ("tide_gauge", "weather_report", "lamp_dimmer", "berth_board")
KEYS = ("enter", "u", "full_stop", "down", "up", "b", "b", "left", "end")


def session_on(name: str) -> Session:
    board = load_board("quay")
    found = find(board, name)
    slot = found.slot or 0
    session = Session(board, found.datasheet, slot, bring_up(board, found.datasheet, slot=slot), keep=False)
    session.say("restart")
    return session


async def measured(name: str, size: tuple[int, int]) -> tuple[float, float, list[float]]:
    """Pictures a second at true speed, seconds of processor a picture, and seconds from a key to what it changed."""
    panel = Panel(session_on(name))
    async with panel.run_test(size=size) as pilot:
        await pilot.pause()
        panel.motion = True
        panel.action_go()
        drawn, begun, used = panel.drawn, time.perf_counter(), time.process_time()
        await asyncio.sleep(3)
        lasted, worked = time.perf_counter() - begun, time.process_time() - used
        pictures = panel.drawn - drawn
        panel.action_go()
        panel.action_clock()
        waits = []
        for key in KEYS * 3:
            waits.append(await answer(panel, key))
    return pictures / lasted, worked / max(pictures, 1), waits


async def answer(panel: Panel, key: str) -> float:
    """Seconds from a key until the screen has been painted with what it changed."""
    painted, drawn, then = asyncio.Event(), panel.drawn, time.perf_counter()
    panel.post_message(Key(key, None))
    while panel.drawn == drawn:
        await asyncio.sleep(0)
    panel.call_after_refresh(painted.set)
    await painted.wait()
    return time.perf_counter() - then


if __name__ == "__main__":
    print("| design | size | pictures a second | of a core, a picture | answer to a key, median | longest |")
    print("|---|---|---|---|---|---|")
    for design in DESIGNS:
        for width, height in SIZES:
            rate, work, waits = asyncio.run(measured(design, (width, height)))
            print(
                f"| `{design}` | {width} x {height} | {rate:.1f} | {1000 * work:.1f} ms "
                f"| {1000 * median(waits):.0f} ms | {1000 * max(waits):.0f} ms |"
            )
