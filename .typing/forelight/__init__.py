"""Forelight foretells what the designs on a shared chip should show at the bench."""

from __future__ import annotations

from importlib import import_module

#: As in `typing`, whose import takes a command as long as Python's own start: until it is over, Python answers Ctrl-C.
TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import Any

    from forelight.designs.sources.source import read
    from forelight.harness.boards.profile import Board
    from forelight.harness.boards.reader import load_board
    from forelight.harness.boards.writer import write_board
    from forelight.harness.capture.readers import read_capture
    from forelight.harness.golden.read import read_golden
    from forelight.harness.scripting.asking import check, predict
    from forelight.harness.scripting.equivalence import equivalent
    from forelight.harness.scripting.fault_coverage import coverage
    from forelight.harness.scripting.prediction import Prediction
    from forelight.sim.errors import ForelightError
    from forelight.sim.simulation import Simulation

    __version__: str

#: Where each name of the face comes from; it is imported on its first use, so that `import forelight` costs nothing.
_HOMES = {
    "Board": "harness.boards.profile",
    "ForelightError": "sim.errors",
    "Prediction": "harness.scripting.prediction",
    "Simulation": "sim.simulation",
    "check": "harness.scripting.asking",
    "coverage": "harness.scripting.fault_coverage",
    "equivalent": "harness.scripting.equivalence",
    "load_board": "harness.boards.reader",
    "predict": "harness.scripting.asking",
    "read": "designs.sources.source",
    "read_capture": "harness.capture.readers",
    "read_golden": "harness.golden.read",
    "write_board": "harness.boards.writer",
}

__all__ = [
    "Board",
    "ForelightError",
    "Prediction",
    "Simulation",
    "__version__",
    "check",
    "coverage",
    "equivalent",
    "load_board",
    "predict",
    "read",
    "read_capture",
    "read_golden",
    "write_board",
]


def __getattr__(name: str) -> Any:
    """A name of the face, from its home."""
    if name == "__version__":
        from importlib.metadata import version

        found: Any = version("forelight")
    elif name in _HOMES:
        found = getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
    else:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return list(__all__)
