"""The bench played live: frames a second, and the time from an action to its answer.

`python -m tests.benchmarks.panel` prints a table.
"""

from __future__ import annotations

import time
from statistics import median

from forelight.designs.catalogue import load_design
from forelight.designs.procedures.procedure import Action, parse
from forelight.harness.bench.live import LiveBench
from forelight.harness.boards.reader import load_board

#: Slots of quay with designs of several kinds, and how each is set up.
DESIGNS = {
    "tide_gauge": ("restart", "strap 0"),
    "dice": ("restart", "strap 0"),
    "free_counter": ("strap 0",),
    "ripple_clock": ("restart", "strap 0"),
    "weather_report": ("restart", "strap 0"),
    "berth_board": ("restart", "strap 0"),
    "lamp_dimmer": ("strap 0",),
    "chart_reader": ("restart", "strap 0"),
}
ACTIONS = ("set i0=1", "wait 10 ms", "set i0=0", "disable", "pulse 1", "enable")


def bench_on(name: str) -> LiveBench:
    board = load_board("quay")
    slot = next(slot for slot, entry in board.slots.items() if entry == name)
    bench = LiveBench(board, load_design(name), slot=slot)
    for action in parse(list(DESIGNS[name])):
        bench.do(action)
    bench.wait(3000)
    return bench


def frames_a_second(bench: LiveBench, seconds: float = 1.0, part: int = 3000) -> float:
    """As fast as it goes, a second of the board at a time."""
    begun, first = time.perf_counter(), bench.frame
    while time.perf_counter() - begun < seconds:
        bench.wait(part)
    return (bench.frame - first) / (time.perf_counter() - begun)


def answers(bench: LiveBench, rounds: int = 20) -> list[float]:
    """Seconds from an action to its answer at the pins, for each of several kinds and again and again."""
    found = []
    for action in parse(list(ACTIONS)) * rounds:
        found.append(answer(bench, action))
    return found


def answer(bench: LiveBench, action: Action) -> float:
    begun = time.perf_counter()
    bench.do(action)
    with bench.answered():
        bench.record()
    return time.perf_counter() - begun


if __name__ == "__main__":
    print("| design | frames a second | answer, median | answer, longest |")
    print("|---|---|---|---|")
    for name in DESIGNS:
        played = bench_on(name)
        rate, waits = frames_a_second(played), answers(bench_on(name))
        print(f"| `{name}` | {rate:,.0f} | {1000 * median(waits):.1f} ms | {1000 * max(waits):.1f} ms |")
