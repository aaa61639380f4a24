"""The table of circuits from outside at the end of the run."""

from __future__ import annotations

from collections import Counter

from _pytest.terminal import TerminalReporter


def pytest_terminal_summary(terminalreporter: TerminalReporter) -> None:
    found = [
        value
        for outcome in ("passed", "failed")
        for report in terminalreporter.getreports(outcome)
        if report.when == "call"
        for name, value in report.user_properties
        if name == "outside" and isinstance(value, list)
    ]
    if not found:
        return
    terminalreporter.section("circuits from outside")
    for outcome, label, reason, *_ in sorted(found):
        if reason:
            terminalreporter.write_line(f"{outcome}: {label}: {reason}")
    counts = Counter(outcome for outcome, *_ in found)
    shown = ", ".join(f"{count} {outcome}" for outcome, count in counts.most_common())
    compared, bits = (sum(value[place] for value in found) for place in (-2, -1))
    terminalreporter.write_line(
        f"{len(found)} circuits: {shown}; {compared:,} of {bits:,} output bits compared"
    )
