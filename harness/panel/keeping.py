"""Where the panel keeps what was done, and how far a person is with the lessons, between one evening and the next."""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

from forelight.designs.procedures.procedure import Action, to_text
from forelight.sim.files import write_whole


def folder() -> Path:
    """`FORELIGHT_STATE` or the XDG state folder (XDG Base Directory Specification)."""
    stated = os.environ.get("FORELIGHT_STATE")
    if stated:
        return Path(stated)
    base = os.environ.get("XDG_STATE_HOME", "")
    return (Path(base) if Path(base).is_absolute() else Path.home() / ".local" / "state") / "forelight"


def kept_list(name: str) -> Path:
    """Where the list of actions of this name is kept, whatever becomes of the panel."""
    return folder() / f"{name}.toml"


def put_aside(path: Path) -> None:
    """Give a list that is kept already another name, beside the new one."""
    with suppress(OSError):
        path.replace(path.with_name(f"{path.stem}-before.toml"))


def write_list(path: Path, name: str, actions: Sequence[Action]) -> None:
    """The actions as a procedure file, which every command reads. Raises UsageError where it cannot be written."""
    lines = [f"name = {json.dumps(name)}", "do = ["]
    lines += [f"  {json.dumps(to_text(action))}," for action in actions]
    if not actions:
        lines[1:] = ["# nothing was done", "do = []"]
    else:
        lines.append("]")
    with suppress(OSError):  # writing says what is wrong
        path.parent.mkdir(parents=True, exist_ok=True)
    write_whole(path, "\n".join(lines) + "\n")
