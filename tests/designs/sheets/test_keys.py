"""Every key that a datasheet may have is explained, and is in use, in the sheet of these tests or in the catalogue."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest
from forelight.designs.catalogue import load_design, names
from forelight.designs.sheets.keys import KEYS

OWN = Path(__file__).with_name("ferry_datasheet.toml")


def used(table: Mapping[str, object], name: str = "") -> Iterator[tuple[str, str]]:
    """(table, key) of every key, tables of arrays under the name of the array."""
    for key, value in table.items():
        yield name, key
        for inner in value if isinstance(value, list) else [value]:
            if isinstance(inner, dict) and not name:
                yield from used(inner, key)


def test_every_key_is_in_use() -> None:
    stated = (
        'title = "Plain"\nsource = "a.v"\nformat = "verilog"'  # which the ending of the source says already
    )
    files = [OWN, *(load_design(name).folder / "datasheet.toml" for name in names())]
    texts = [stated, *(file.read_text("utf-8") for file in files)]
    found = {key for text in texts for key in used(tomllib.loads(text))}
    wanted = {(table, key) for table, keys in KEYS.items() for key in keys if not key.startswith("<")}
    assert wanted <= found, "write an example of each new key"


@pytest.mark.parametrize("table", KEYS)
def test_every_key_is_explained(table: str) -> None:
    assert all(len(means) > 3 for means in KEYS[table].values())
    if table:
        assert table in KEYS[""]
