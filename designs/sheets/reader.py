"""A datasheet: TOML to a frozen, validated record; each key, line, type and range is checked where it is read."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path

from ..datasheet import (
    DATASHEET_FILE,
    FORMATS,
    INPUT_LINES,
    OUTPUT_LINES,
    Attachment,
    Datasheet,
    Meaning,
    RestartLine,
    Run,
    StepLine,
)
from ..procedures.check import check
from ..procedures.procedure import parse
from ..toml_file import Section, quoted, read_toml
from .attachments import read_attachments
from .expectations import expectations
from .keys import KEYS

_LINES = (*INPUT_LINES, *OUTPUT_LINES)
_PORT = re.compile(r"[^\s\[\]]+(\[(0|[1-9][0-9]{0,3})\])?")
_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_$]*")


def load(folder_or_file: Path) -> Datasheet:
    """Read and validate a datasheet, given its file or the folder that holds it as `datasheet.toml`."""

    return read_datasheet(folder_or_file / DATASHEET_FILE if folder_or_file.is_dir() else folder_or_file)


def read_datasheet(file: Path) -> Datasheet:
    """Read one datasheet file; everything wrong with it is a `DatasheetError`."""
    sheet = read_toml(file)
    sheet.only(*KEYS[""])
    title = sheet.text("title", longest=80)
    sources, top, form = _source(sheet)
    step, restart = _step(sheet), _restart(sheet)
    if step and restart and step.line == restart.line != "own":
        raise sheet.error(
            ("restart", "line"), f"{step.line} is the step line too", "give each a line of its own"
        )
    runs = _runs(sheet, step)
    attach = read_attachments(sheet, step, restart)
    datasheet = Datasheet(
        name=file.resolve().parent.name,
        folder=file.parent,
        title=title,
        sources=sources,
        top=top,
        format=form,
        creator=sheet.text("creator", ""),
        license=sheet.text("license", ""),
        description=sheet.text("description", "", 2000),
        step=step,
        restart=restart,
        lines=_lines(sheet, step, restart, attach),
        ports=_ports(sheet, form, step, restart),
        attach=attach,
        runs=runs,
    )
    for run in runs:
        check(parse(run.do, run.places), datasheet, run.places)
    return datasheet


def _source(sheet: Section) -> tuple[tuple[str, ...], str | None, str]:
    """Files, top and format."""
    listed = isinstance(sheet.table.get("source"), list)
    given = sheet.texts("source") if listed else (sheet.text("source"),)
    top = sheet.text("module") if "module" in sheet.table else None
    if not listed and ":" in given[0]:
        name, _, named = given[0].rpartition(":")
        if not _NAME.fullmatch(named):
            raise sheet.wrong("source", "FILE or FILE:NAME, with the name of a class or module")
        if top and top != named:
            raise sheet.error(
                "module", f"{quoted(top)} is not {quoted(named)} of source", "name the top once"
            )
        given, top = (name,), named
    formats = {_format_of(sheet, name) for name in given}
    if len(formats) > 1:
        raise sheet.error(
            "source", f"{' and '.join(sorted(formats))} stand side by side", "allowed: one format"
        )
    form = formats.pop()
    if form != "verilog" and len(given) > 1:
        raise sheet.error("source", f"{len(given)} files are too many", f"allowed for {form}: one file")
    if sheet.choice("format", sorted(set(FORMATS.values())), form) != form:
        raise sheet.wrong("format", f"{form}, as the ending of {given[0]} says")
    for name in given:
        sheet.file_inside("source", name, FORMATS)
    return given, top, form


def _format_of(sheet: Section, name: str) -> str:
    ending = Path(name).suffix
    if ending not in FORMATS:
        raise sheet.error("source", f"{quoted(name)} does not fit", f"allowed endings: {', '.join(FORMATS)}")
    return FORMATS[ending]


def _step(sheet: Section) -> StepLine | None:
    section = sheet.section("step")
    if section is None:
        return None
    section.only(*KEYS["step"])
    return StepLine(section.choice("line", (*INPUT_LINES, "own")), section.rate("wanted_hz"))


def _restart(sheet: Section) -> RestartLine | None:
    section = sheet.section("restart")
    if section is None:
        return None
    section.only(*KEYS["restart"])
    return RestartLine(
        section.choice("line", (*INPUT_LINES, "own")), section.choice("active", ("high", "low"), "high")
    )


def _lines(
    sheet: Section, step: StepLine | None, restart: RestartLine | None, attach: Sequence[Attachment]
) -> Mapping[str, Meaning]:
    section = sheet.section("lines")
    if section is None:
        return {}
    section.only(*_LINES)
    driven = {role.line: name for role, name in ((step, "step"), (restart, "restart")) if role}
    driven |= {line: f"{one.kind}'s" for one in attach for line in one.lines.values()}
    lines: dict[str, Meaning] = {}
    for line in section.table:
        entry = section.section(line)
        assert entry is not None
        entry.only(*(("means", "idle") if line in INPUT_LINES else ("means",)))
        if "idle" in entry.table and line in driven:
            raise entry.error("idle", f"{line} is the {driven[line]} line", "leave it out: its rest is known")
        idle = entry.integer("idle", 0, 1) if "idle" in entry.table else None
        lines[line] = Meaning(entry.text("means"), idle)
    return lines


def _ports(
    sheet: Section, form: str, step: StepLine | None, restart: RestartLine | None
) -> Mapping[str, str]:
    """Ports of the source -> lines; no line and no port twice.

    In Verilog and netlists the step and restart lines need ports. A design in Amaranth has them in its domain.
    """
    section = sheet.section("ports")
    if section is None:
        return {}
    roles = (("step", step), ("restart", restart))
    allowed = (*_LINES, *(name for name, role in roles if role and role.line == "own"))
    ports: dict[str, str] = {}
    for port in section.table:
        if not (_PORT.fullmatch(port) and port.isprintable()):
            raise section.error(port, "is no name of a port", 'allowed: port = "i0" or "port[3]" = "i0"')
        line = section.choice(port, allowed)
        _check_apart(section, port, line, ports)
        ports[port] = line
    for name, role in roles:
        if role is None or form == "amaranth":
            continue
        target = name if role.line == "own" else role.line
        if target not in ports.values():
            raise sheet.error("ports", f"no port has the {name} line", f'add one: PORT = "{target}"')
    return ports


def _check_apart(section: Section, port: str, line: str, ports: Mapping[str, str]) -> None:
    """Refuse a port or line that is there already, and a port of which some bits go in and some out."""
    name = port.partition("[")[0]
    for other, taken in ports.items():
        if taken == line:
            raise section.error(port, f"{line} is the line of {other} already", "allowed: each line once")
        if name != other.partition("[")[0]:
            continue
        if name in (port, other):
            raise section.error(port, f"overlaps {other}", "map the port whole or bit by bit")
        if (line in OUTPUT_LINES) != (taken in OUTPUT_LINES):
            found = f"{line} goes the other way than {taken} of {other}"
            raise section.error(port, found, "allowed: the bits of a port all in or all out")


def _runs(sheet: Section, step: StepLine | None) -> tuple[Run, ...]:
    runs: list[Run] = []
    for section in sheet.sections("run"):
        section.only(*KEYS["run"])
        name = section.text("name", longest=80)
        if name in {run.name for run in runs}:
            found = f"{quoted(name)} is the name of an earlier run"
            raise section.error("name", found, "give each run its own name")
        places = tuple(f"{place}: run {quoted(name)}" for place in section.text_places("do"))
        expect = section.text("expect", "", 2000)
        runs.append(Run(name, section.texts("do"), expect, places, expectations(section, step is not None)))
    return tuple(runs)
