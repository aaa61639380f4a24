"""Tables of what was measured: rates, and how many times the others' rate Forelight's is."""

from __future__ import annotations

import statistics
from collections.abc import Callable, Iterable, Sequence

from rich.table import Table

from .measure import Result

#: The circuits to judge by; the counter and the dimmer become vector code and flatter whoever finds that out.
JUDGES = ("lfsr", "serial", "processor", "multiplier")


def rate_table(results: Sequence[Result]) -> Table:
    """Rates in millions a second, a row for each engine."""
    table = _table(results)
    for name in results[0].rates:
        table.add_row(name, *(_figure(result.rates[name] / 1e6) for result in results))
    return table


def ratio_table(results: Sequence[Result]) -> Table:
    """Forelight's rate over each other engine's; geometric means over the circuits to judge by, and over all."""
    table = _table(results, "mean of four", "mean of all")
    for name in results[0].rates:
        if name == "Forelight":
            continue
        ratios = {result.circuit: result.rates["Forelight"] / result.rates[name] for result in results}
        judges = [ratios[circuit] for circuit in JUDGES if circuit in ratios]
        means = [judges if len(judges) == len(JUDGES) else [], list(ratios.values())]
        table.add_row(name, *map(_figure, ratios.values()), *(_mean(values) for values in means))
    return table


def comparison(results: Iterable[Result]) -> list[str]:
    """What the comparison of the outputs found, in words."""
    lines = []
    for result in results:
        lengths = sorted(set(result.compared.values()))
        spans = " and ".join(f"{length:,}" for length in lengths)
        found = f"DIFFER: {', '.join(result.differing)}" if result.differing else "all equal"
        lines.append(f"{result.circuit}: outputs compared over {spans} bytes, {found}")
    return lines


def latency_table(rows: Sequence[tuple[str, Sequence[float] | str]]) -> Table:
    """Times in milliseconds: median, least and most, or why there is no figure."""
    table = Table()
    table.add_column("what")
    for name in ("median", "least", "most"):
        table.add_column(name, justify="right")
    for name, times in rows:
        if isinstance(times, str):
            table.add_row(name, times)
        else:
            three: list[Callable[[Sequence[float]], float]] = [statistics.median, min, max]
            table.add_row(name, *(f"{1e3 * pick(times):.0f}" for pick in three))
    return table


def _table(results: Sequence[Result], *more: str) -> Table:
    table = Table()
    table.add_column("engine", no_wrap=True)
    for name in [*(result.circuit for result in results), *more]:
        table.add_column(name, justify="right")
    return table


def _mean(values: Sequence[float]) -> str:
    return _figure(statistics.geometric_mean(values)) if values else "-"


def _figure(value: float) -> str:
    """Three digits or a little more: what a median of few rounds is worth."""
    return f"{value:,.0f}" if value >= 100 else f"{value:.3g}"
