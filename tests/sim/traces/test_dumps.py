"""Dumps of many writers: of each variable independent readers find the same changes at the same instants."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from tests.sim.traces import dump_readers
from tests.sim.traces.dump_writers import FOLDER, WRITERS, carried, missing


def compare(path: Path) -> tuple[int, int]:
    """How many variables and changes were compared."""
    data = path.read_bytes()
    found = dump_readers.forelight(data)
    by_identifier = dump_readers.vcdvcd(data.decode())
    strict = dump_readers.pyvcd(data)
    stems: dict[str, list[dump_readers.Changes]] = {}
    for variable, changes in found.values():
        identifier = variable.identifier.decode()
        assert changes == by_identifier[identifier], variable.name
        if strict is not None:
            assert changes == strict[identifier], variable.name
        stems.setdefault(dump_readers.stem(variable.name), []).append(changes)
    others = dump_readers.wellen(path)
    assert stems.keys() == others.keys()
    for name, every in stems.items():  # several variables may share a stem, in any order and number
        if set(map(tuple, every)) != set(
            map(tuple, others[name])
        ):  # Wellen joins bits with indices to one vector
            assert dump_readers.bit_by_bit(every) == dump_readers.bit_by_bit(others[name]), name
    return len(found), sum(len(changes) for _, changes in found.values())


@pytest.mark.parametrize("writer", WRITERS)
def test_dumps_written_here(writer: str, tmp_path: Path) -> None:
    if missing(writer):
        pytest.skip(f"{WRITERS[writer][0]} (Debian) is not installed")
    WRITERS[writer][1](tmp_path)
    variables, changes = compare(tmp_path / "bench.vcd")
    assert variables >= 2 and changes > 40


@pytest.mark.slow
def test_dumps_that_packages_carry() -> None:
    if not FOLDER:
        pytest.skip("FORELIGHT_OUTSIDE names no folder with dumps")
    counts = [compare(path) for path in carried()]
    variables, changes = (sum(count[place] for count in counts) for place in (0, 1))
    print(f"{len(counts)} dumps, {variables} variables, {changes} changes: all agree")
    assert len(counts) >= 75 and variables >= 4000


HEAD = "$timescale 1 us $end\n$scope module {} $end\n$var wire 1 ! a $end\n$var wire 4 a$b q$n [3:0] $end\n" \
    "$var wire 1 $ c $end\n$upscope $end\n$enddefinitions $end\n"  # fmt: skip
ODD = {
    "values before the first time stamp": ("top", "0!\nb0101 a$b\n1$\n#7\n1!\n#9\nb1 a$b\n0$\n"),
    "values in a section before the first time stamp": ("top", "$dumpvars\n0!\nb01 a$b\n1$\n$end\n#7\n1!\n#9\n0$\n"),
    "an empty scope name": ("", "#0\n0!\nb01 a$b\nx$\n#7\n1!\n#9\n0$\n"),
    "a section without its end": ("top", "#0\n$dumpvars\n0!\nb01 a$b\nx$\n#7\n1!\n#9\n0$\n"),
    "several sections": (
        "top", "#0\n$dumpvars\n0!\n$end\n$dumpvars\nb01 a$b\nx$\n$end\n#7\n1!\n$dumpvars\n0$\n$end\n#9\n"
    ),
}  # fmt: skip


@pytest.mark.parametrize("form", ODD)
def test_odd_forms(form: str, tmp_path: Path) -> None:
    scope, body = ODD[form]
    path = tmp_path / "odd.vcd"
    path.write_text(HEAD.format(scope) + body)
    assert compare(path)[0] == 3
    found = {
        variable.leaf: changes for variable, changes in dump_readers.forelight(path.read_bytes()).values()
    }
    assert found["a"] == [(Fraction(0), "0"), (Fraction(7), "1")]
