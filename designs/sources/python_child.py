"""Elaborates one Amaranth source in a process of its own: an order as JSON comes in, RTLIL or an error goes out.

Started with what `python_apart` puts before it: where Forelight lies.
"""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

import forelight.sim.errors

from . import system_calls
from .confinement import die_with, leave_the_network, limit, only_read
from .python_source import amaranth_rtlil, component

#: Where systems keep libraries and data of packages; what else is needed lies where Python says that it is.
_SYSTEM = (
    "/usr",
    "/lib",
    "/lib64",
    "/opt",
    "/nix/store",
    "/etc/ld.so.cache",
    "/etc/localtime",
    "/dev/urandom",
)


def main() -> None:
    order = json.load(sys.stdin)
    # What the design prints, whichever way, goes to standard error.
    answer = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    path = Path(order["path"])
    _confine(path, order["limits"], order["parent"])
    try:
        found: dict[str, object] = {"rtlil": amaranth_rtlil(component(path, order["class_name"]))}
    except forelight.sim.errors.ForelightError as error:
        found = {"error": (error.what, error.place, error.remedy)}
    json.dump(found, answer)
    answer.close()


def _confine(path: Path, limits: list[int], parent: int) -> None:
    die_with(parent)
    limit(*limits, processes=0)
    rooms = Path(forelight.sim.errors.__file__).resolve().parents[1]
    places: list[str | Path] = [*_SYSTEM, *sys.path, sys.prefix, sys.base_prefix, rooms, path.parent]
    only_read([str(place) for place in dict.fromkeys(map(Path, places)) if place.exists()])
    if system_calls.can_be_kept():
        system_calls.keep_to_reading()
    else:
        leave_the_network()


if __name__ == "__main__":
    main()
