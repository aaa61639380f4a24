"""Simulates any synchronous or small asynchronous netlist; knows nothing of chips or boards."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if __name__ != "forelight.sim":
    raise ImportError(
        "import this room as forelight.sim: a bare `import sim` would load its code a second time"
    )

if TYPE_CHECKING:
    from .errors import ForelightError
    from .netlist import Netlist
    from .simulation import Simulation
    from .traces.trace import Trace

__all__ = ["ForelightError", "Netlist", "Simulation", "Trace"]

_HOMES = {
    "ForelightError": "errors",
    "Netlist": "netlist",
    "Simulation": "simulation",
    "Trace": "traces.trace",
}


def __getattr__(name: str) -> Any:
    """Import on first use: a command that simulates nothing must not wait for NumPy."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
