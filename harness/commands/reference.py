"""`forelight draft --keys` and `forelight answers`: every key of datasheets, of boards and of answers in JSON."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping

from forelight.designs.sheets.attachments import KINDS, Kind
from forelight.designs.sheets.keys import KEYS as SHEET_KEYS
from rich.table import Table

from ..boards.keys import KEYS as BOARD_KEYS
from ..terminal.answers import ANSWERS, KEYS, OBJECTS, VERSION, always, kind, schema
from ..terminal.output import emit, emit_json, show

Tables = Mapping[str, Mapping[str, str]]


def run(as_json: bool) -> int:
    if as_json:
        wired = {name: {**_terminals(one), "options": _options(one)} for name, one in KINDS.items()}
        emit_json({"datasheet": SHEET_KEYS, "attachment_kinds": wired, "board_profile": BOARD_KEYS})
    else:
        show(*_parts())
    return 0


def answers(command: str | None, as_json: bool) -> int:
    """The keys of answers in JSON, or the schema of those that `command` gives."""
    if as_json:
        emit(json.dumps(schema(command), indent=2) + "\n")
        return 0
    show(f"Answers with --json, version {VERSION}, and the keys that each always has.", "")
    for name in [command] if command else ANSWERS:
        show(name, _columns((asked, ", ".join(keys)) for asked, keys in always(name)), "")
    show(
        "What the keys mean.",
        "",
        _columns((key, f"{means} ({kind(key)})") for key, (_, means) in KEYS.items()),
        "",
        "Objects within answers, and the keys that each always has.",
        "",
        _columns(
            (key, f"{which}: {', '.join(keys.split())}")
            for key, objects in OBJECTS.items()
            for which, keys in objects.items()
        ),
    )
    return 0


def _parts() -> Iterator[str | Table]:
    yield "A datasheet (datasheet.toml)"
    yield from _tables(SHEET_KEYS, repeated=("attach", "run"))
    yield ""
    yield "Kinds of attachment"
    yield _columns((f'"{name}"', _said(kind)) for name, kind in KINDS.items())
    yield ""
    yield "A board profile (--board FILE)"
    yield from _tables(BOARD_KEYS)


def _tables(tables: Tables, repeated: tuple[str, ...] = ()) -> Iterator[str | Table]:
    for name, keys in tables.items():
        if name:
            yield ""
            yield f"[[{name}]]" if name in repeated else f"[{name}]"
        yield _columns(keys.items())


def _columns(rows: object) -> Table:
    table = Table.grid(padding=(0, 2))
    table.add_column(no_wrap=True)
    table.add_column()
    for key, means in rows:  # type: ignore[attr-defined]
        table.add_row(f"  {key}", means)
    return table


def _terminals(kind: Kind) -> dict[str, object]:
    return {"terminals": list(kind.needs), "may": list(kind.may), "drives": list(kind.drives)}


def _options(kind: Kind) -> dict[str, str]:
    return {
        name: option.allowed + "; must be there" * (name in kind.must)
        for name, option in kind.options.items()
    }


def _said(kind: Kind) -> str:
    said = f"terminals {', '.join(kind.needs)}"
    said += f"; perhaps {', '.join(kind.may)}" if kind.may else ""
    said += f"; {', '.join(kind.drives)} drives an input, whose switch stays open" if kind.drives else ""
    options = "; ".join(f"{name}: {allowed}" for name, allowed in _options(kind).items())
    return f"{said}. Options: {options}" if options else f"{said}. No options"
