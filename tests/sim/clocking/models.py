"""Plain Python models of the modules in `verilog/styles.v`: each is told the lines before and after one has moved."""

from __future__ import annotations

from collections.abc import Callable, Mapping

Lines = Mapping[str, int]
#: The outputs by name.
Shown = dict[str, int]
Model = Callable[[Lines, Lines], Shown]


def edge(before: int, after: int) -> int:
    """1 for a rise, -1 for a fall, else 0."""
    return after - before


class TwoCounts:
    """Rises and falls of one clock, two bits each."""

    def __init__(self) -> None:
        self.up = self.down = 0

    def moved(self, before: int, after: int) -> int:
        self.up += edge(before, after) == 1
        self.down += edge(before, after) == -1
        return self.down % 4 << 2 | self.up % 4


def both_edges_of_two() -> Model:
    up_a, down_a, up_b, down_b = 1, 2, 3, 4

    def moved(before: Lines, after: Lines) -> Shown:
        nonlocal up_a, down_a, up_b, down_b
        a, b = edge(before["a"], after["a"]), edge(before["b"], after["b"])
        if a == 1:
            up_a = (up_a << 1 | after["d"]) & 15
        if a == -1:
            down_a = (down_a + up_b) & 15
        if b == 1:
            up_b ^= up_a
        if b == -1:
            down_b = down_a
        return {"up_a": up_a, "down_a": down_a, "up_b": up_b, "down_b": down_b}

    return moved


def gated() -> Model:
    counters = [TwoCounts() for _ in range(4)]
    low_open = high_open = 0

    def moved(before: Lines, after: Lines) -> Shown:
        nonlocal low_open, high_open
        found = 0
        old = (low_open, high_open)
        # A latch is open while the clock has its level, and what it holds moves before it shuts.
        low_open = after["en"] if not after["clk"] else low_open
        high_open = after["en"] if after["clk"] else high_open
        for place, counter in enumerate(counters):
            levels = [
                _gate(place, lines, held) for lines, held in ((before, old), (after, (low_open, high_open)))
            ]
            found |= counter.moved(*levels) << 4 * place
        return {"counts": found}

    return moved


def _gate(place: int, lines: Lines, held: tuple[int, int]) -> int:
    clk, en = lines["clk"], lines["en"]
    return (clk & en, clk | 1 - en, clk & held[0], clk | 1 - held[1])[place]


def multiplexed() -> Model:
    counter = TwoCounts()

    def chosen(lines: Lines) -> int:
        return lines["a"] if lines["select"] else lines["b"]

    def moved(before: Lines, after: Lines) -> Shown:
        return {"counts": counter.moved(chosen(before), chosen(after)), "chosen": chosen(after)}

    return moved


def clock_as_data() -> Model:
    state = {"rose": 0, "fell": 0, "seen": 0, "mixed": 0}

    def moved(before: Lines, after: Lines) -> Shown:
        clk = edge(before["clk"], after["clk"])
        if clk == 1:
            state["rose"] = 1  # a clock that is data is seen at its new level (DEVELOPERS.md, Time 4)
        if clk == -1:
            state["fell"] = 1
        if edge(before["other"], after["other"]) == 1:
            state["seen"], state["mixed"] = after["clk"], after["clk"] ^ after["d"]
        return state | {"y": after["clk"] ^ after["d"]}

    return moved


def from_logic() -> Model:
    counters = [TwoCounts() for _ in range(4)]

    def levels(lines: Lines) -> tuple[int, ...]:
        a, b, c = lines["a"], lines["b"], lines["c"]
        return a ^ b ^ c, int(a + b + c == 0), int(a + b + c > 1), b if a else 1 - c

    def moved(before: Lines, after: Lines) -> Shown:
        pairs = zip(counters, levels(before), levels(after), strict=True)
        return {"counts": sum(c.moved(old, new) << 4 * place for place, (c, old, new) in enumerate(pairs))}

    return moved


def set_and_reset() -> Model:
    high = low = 0

    def moved(before: Lines, after: Lines) -> Shown:
        nonlocal high, low
        clk = edge(before["clk"], after["clk"])
        high = after["d"] if clk == 1 else high
        low = 1 - after["d"] if clk == -1 else low
        if not after["rst_n"]:
            high = low = 0
        elif after["set"]:
            high = low = 1
        return {"high": high, "low": low}

    return moved


def clears_itself() -> Model:
    count = after_ = 0

    def moved(before: Lines, after: Lines) -> Shown:
        nonlocal count, after_
        clk = edge(before["clk"], after["clk"])
        if clk == 1:
            count = (count + 1) % 5
        if clk == -1:
            after_ = after_ << 1 & 3  # the pulse is over long before the clock falls
        return {"count": count, "pulse": 0, "after": after_}

    return moved


def ripple_down() -> Model:
    falls = rises = 0

    def moved(before: Lines, after: Lines) -> Shown:
        nonlocal falls, rises
        clk = edge(before["clk"], after["clk"])
        rises, falls = rises + (clk == 1), falls + (clk == -1)
        q = -rises % 32
        # Stage i counts the rises of an odd stage's clock, the falls of an even one's: each halves what comes in.
        mixed, incoming = 0, falls
        for stage in range(5):
            mixed |= incoming % 2 << stage
            incoming = (incoming + 1) // 2 if stage % 2 == 0 else incoming // 2
        return {"q": q, "mixed": mixed, "ring": _turned(1, (rises + 3) // 4)}

    return moved


def _turned(ring: int, by: int) -> int:
    for _ in range(by % 3):
        ring = (ring << 1 | ring >> 2) & 7
    return ring


def gates_alone() -> Model:
    q, hold = 0, 0

    def moved(before: Lines, after: Lines) -> Shown:
        nonlocal q, hold
        if not after["rst_n"]:
            q = 0
        elif edge(before["clk"], after["clk"]) == 1:
            q ^= 1
        hold = 0 if after["r"] else 1 if after["s"] else hold
        return {"q": q, "q_n": 1 - q, "hold": hold, "hold_n": 1 - hold}

    return moved


MODELS = {
    "both_edges_of_two": both_edges_of_two,
    "gated": gated,
    "multiplexed": multiplexed,
    "clock_as_data": clock_as_data,
    "from_logic": from_logic,
    "set_and_reset": set_and_reset,
    "clears_itself": clears_itself,
    "ripple_down": ripple_down,
    "gates_alone": gates_alone,
}
