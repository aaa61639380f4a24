"""Elaborates one Amaranth source in a process of its own: an order as JSON comes in, RTLIL or an error goes out.

Started as `python -I -m forelight.designs.sources.python_child`.
"""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

from forelight.sim.errors import ForelightError

from .confinement import limit, only_read
from .python_source import amaranth_rtlil, component


def main() -> None:
    order = json.load(sys.stdin)
    # What the design prints, whichever way, goes to standard error.
    answer = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    limit(*order["limits"])
    only_read([os.sep])
    path = Path(order["path"])
    try:
        found: dict[str, object] = {"rtlil": amaranth_rtlil(component(path, order["class_name"]))}
    except ForelightError as error:
        found = {"error": (error.what, error.place, error.remedy)}
    json.dump(found, answer)
    answer.close()


if __name__ == "__main__":
    main()
