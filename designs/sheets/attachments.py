"""What may be wired to a design: the terminals and the options of each kind of attachment.

kind                terminals, named as on the parts' data sheets       options
serial terminal     receive                                             baud (found from the signal if not said)
character display   rs, e, db4 to db7; perhaps rw, db0 to db3           columns = 16, rows = 2, volts = 5
serial memory       cs, sck, si, so                                     image, address_bytes = 3
speaker             signal                                              volume (at most 0.5) = 0.2
pulse-width meter   signal                                              none
lamp                signal                                              active = "high"

A terminal is wired to a line, or held "low" or "high". What only listens may be wired to inputs too; `so` drives an
input, whose switch stays open.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field

from forelight.sim.frozen import frozen

from ..datasheet import INPUT_LINES, OUTPUT_LINES, Attachment, Datasheet, RestartLine, StepLine
from ..toml_file import Section
from .keys import KEYS as SHEET_KEYS

#: What a terminal may be held at in place of a line.
HELD = ("low", "high")
#: Files that hold bytes as they are, or as hexadecimal digits (`.hex`, as `$readmemh` of IEEE 1364 reads them).
IMAGES = (".bin", ".txt", ".hex")
Option = str | int | float | bool


@frozen
class Number:
    """An option that is a number between two bounds; whole if they are whole."""

    low: float
    high: float

    def read(self, section: Section, key: str) -> Option:
        if isinstance(self.low, int) and isinstance(self.high, int):
            return section.integer(key, self.low, self.high)
        return section.number(key, self.low, self.high)

    @property
    def allowed(self) -> str:
        return f"{self.low:g} to {self.high:g}"


@frozen
class Choice:
    """An option that is one of some words."""

    words: tuple[str, ...]

    def read(self, section: Section, key: str) -> Option:
        return section.choice(key, self.words)

    @property
    def allowed(self) -> str:
        return " or ".join(self.words)


@frozen
class Image:
    """An option that names a file in the folder of the datasheet."""

    def read(self, section: Section, key: str) -> Option:
        name = section.text(key)
        section.file_inside(key, name, IMAGES)
        return name

    @property
    def allowed(self) -> str:
        return f"a file in this folder, {', '.join(IMAGES)}"


@frozen
class Kind:
    """`drives` are the terminals that answer: an input of the design each; `must` are options without a default."""

    needs: tuple[str, ...]
    may: tuple[str, ...] = ()
    drives: tuple[str, ...] = ()
    options: Mapping[str, Number | Choice | Image] = field(default_factory=dict)
    must: tuple[str, ...] = ()


KINDS: Mapping[str, Kind] = {
    "speaker": Kind(("signal",), options={"volume": Number(0.0, 0.5)}),
    "serial terminal": Kind(("receive",), options={"baud": Number(0.01, 1e7)}),
    "character display": Kind(
        ("rs", "e", "db4", "db5", "db6", "db7"),
        ("rw", "db0", "db1", "db2", "db3"),
        options={"columns": Number(8, 40), "rows": Number(1, 2), "volts": Number(2.7, 5.5)},
    ),
    "serial memory": Kind(
        ("cs", "sck", "si", "so"),
        drives=("so",),
        options={"image": Image(), "address_bytes": Number(2, 3)},
        must=("image",),
    ),
    "pulse-width meter": Kind(("signal",)),
    "lamp": Kind(("signal",), options={"active": Choice(("high", "low"))}),
}


def driven_lines(sheet: Datasheet) -> tuple[str, ...]:
    """The inputs that attachments drive."""
    return tuple(one.lines[terminal] for one in sheet.attach for terminal in KINDS[one.kind].drives)


def heard_lines(sheet: Datasheet) -> tuple[str, ...]:
    """The inputs to which attachments listen, on which something outside may send."""
    wired = {line for one in sheet.attach for line in one.lines.values()}
    return tuple(sorted(wired & set(INPUT_LINES) - set(driven_lines(sheet))))


def read_attachments(
    sheet: Section, step: StepLine | None, restart: RestartLine | None
) -> tuple[Attachment, ...]:
    """All attachments of a datasheet; no input has two drivers."""
    taken = {role.line: name for name, role in (("step line", step), ("restart line", restart)) if role}
    found = []
    for section in sheet.sections("attach"):
        attachment = _attachment(section)
        for terminal in KINDS[attachment.kind].drives:
            line = attachment.lines[terminal]
            if line in taken:
                raise section.error(
                    ("lines", terminal), f"{line} is the {taken[line]}", "wire it to another input"
                )
            taken[line] = f"{terminal} of another {attachment.kind}"
        found.append(attachment)
    return tuple(found)


def _attachment(section: Section) -> Attachment:
    section.only(*SHEET_KEYS["attach"])
    name = section.choice("kind", tuple(KINDS))
    kind = KINDS[name]
    lines = section.section("lines")
    if lines is None:
        raise section.absent("lines", f"a table of its terminals: {', '.join(kind.needs)}")
    lines.only(*kind.needs, *kind.may)
    for terminal in kind.needs:
        if terminal not in lines.table:
            raise lines.absent(terminal, "the line that it is wired to")
    wired = {terminal: _line(lines, terminal, kind) for terminal in lines.table}
    return Attachment(name, wired, _options(section, kind))


def _line(lines: Section, terminal: str, kind: Kind) -> str:
    if terminal in kind.drives:
        return lines.choice(terminal, INPUT_LINES)
    held = HELD if len(kind.needs) > 1 else ()
    inputs = () if kind.drives else INPUT_LINES
    return lines.choice(terminal, (*inputs, *OUTPUT_LINES, *held))


def _options(section: Section, kind: Kind) -> Mapping[str, Option]:
    options = section.section("options") or Section(
        section.file, (*section.path, "options"), {}, section.lines
    )
    options.only(*kind.options)
    for key in kind.must:
        if key not in options.table:
            raise options.absent(key, "the name of a file in this folder")
    return {key: kind.options[key].read(options, key) for key in options.table}
