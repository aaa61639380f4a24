"""`draft --keys`: the reference of keys is that of the tables which check them."""

from __future__ import annotations

import json

from click.testing import CliRunner
from forelight.designs.sheets.attachments import KINDS
from forelight.designs.sheets.keys import KEYS as SHEET
from forelight.harness.boards.keys import KEYS as BOARD
from forelight.harness.cli import cli


def ask(*words: str) -> str:
    found = CliRunner(env={"COLUMNS": "100"}).invoke(cli, ["draft", *words])
    assert found.exit_code == 0, found.output
    return found.output


def test_all_keys_and_kinds_are_printed() -> None:
    said = ask("--keys")
    for tables in (SHEET, BOARD):
        for table, keys in tables.items():
            assert not table or f"[{table}]" in said
            assert all(f"\n  {key} " in said for key in keys)
    assert all(f'"{kind}"' in said for kind in KINDS)
    assert "volume: 0 to 0.5" in said and "; must be there; address_bytes: 2 to 3" in " ".join(said.split())


def test_as_json() -> None:
    found = json.loads(ask("--keys", "--json"))
    assert (found["datasheet"], found["board_profile"]) == (SHEET, BOARD)
    assert found["attachment_kinds"]["serial memory"]["drives"] == ["so"]


def test_neither_a_name_nor_keys() -> None:
    found = CliRunner().invoke(cli, ["draft"])
    assert found.exit_code == 2 and "Give the folder that is to be made a name" in found.output
