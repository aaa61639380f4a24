"""What a run of a datasheet says that a machine can check, read and checked as far as that goes without running it."""

from __future__ import annotations

from collections.abc import Mapping

from ..datasheet import OUTPUT_LINES, Expectations
from ..toml_file import Section, quoted

EXPECTATIONS = ("shows", "period", "duty", "sends")
#: Steps of a period, and of a run, at most.
_LONGEST = 10**7


def expectations(run: Section, stepped: bool) -> Expectations:
    """Those of one run; `stepped` says that the design has a step line."""
    said = [key for key in EXPECTATIONS if key in run.table]
    if "period" in said and not stepped:
        raise run.error("period", "is counted in steps, and there is no step line", "leave it out")
    return Expectations(
        shows=_shows(run),
        period=run.integer("period", 1, _LONGEST) if "period" in said else None,
        duty=_duty(run),
        sends=run.text("sends", "", 2000),
        places={key: f'{run.place(key)}: run "{run.table.get("name")}"' for key in said},
    )


def _shows(run: Section) -> Mapping[int, str]:
    """Step by step, or at named steps."""
    if not isinstance(run.table.get("shows"), dict):
        return dict(enumerate(run.texts("shows"))) if "shows" in run.table else {}
    named = run.section("shows")
    assert named is not None
    found: dict[int, str] = {}
    for key in named.table:
        number = int(key) if key.isascii() and key.isdecimal() and len(key) <= 8 else -1
        if not 0 <= number <= _LONGEST:
            raise named.error(key, "is no step", 'allowed: a whole number from 0 on, as in 9 = "9."')
        if number in found:
            raise named.error(key, f"step {number} is there already", "allowed: each step once")
        found[number] = named.text(key, longest=8)
    return found


def _duty(run: Section) -> Mapping[str, float]:
    named = run.section("duty")
    if named is None:
        return {}
    named.only(*OUTPUT_LINES)
    if not named.table:
        raise run.error("duty", f"{quoted(named.table)} has nothing in it", "write { o3 = 0.333 }")
    return {line: named.number(line, 0.0, 1.0) for line in named.table}
