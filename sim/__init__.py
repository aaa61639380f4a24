"""Simulates any synchronous or small asynchronous netlist; knows nothing of chips or boards."""

if __name__ != "forelight.sim":
    raise ImportError(
        "import this room as forelight.sim: a bare `import sim` would load its code a second time"
    )

from .errors import ForelightError
from .netlist import Netlist
from .simulation import Simulation
from .trace import Trace

__all__ = ["ForelightError", "Netlist", "Simulation", "Trace"]
