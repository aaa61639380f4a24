"""Long runs of the fuzzers: `python -m tests.fuzz --minutes N --seed S`, one reader with `--only=NAME`, or several.

Prints how many inputs each reader had, and how they ended; keeps the first input of each bad end in `--keep FOLDER`.
"""

from __future__ import annotations

import argparse
import hashlib
import sys
import tempfile
from pathlib import Path

from tests.fuzz.readers import READERS
from tests.fuzz.run import GOOD, limit_memory, run


def main() -> int:
    parser = argparse.ArgumentParser(description="Feeds damaged files to every reader.")
    parser.add_argument("--minutes", type=float, default=5.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", action="append", choices=[reader.name for reader in READERS])
    parser.add_argument("--keep", type=Path)
    asked = parser.parse_args()
    readers = [reader for reader in READERS if not asked.only or reader.name in asked.only]
    for reader in readers:
        reader.seeds()
    limit_memory()
    print(f"seed {asked.seed}\nreader: inputs, accepted, refused, badly ended")
    total = worst = 0
    for reader in readers:
        with tempfile.TemporaryDirectory() as folder:
            found, bad = run(reader, sys.maxsize, asked.seed, Path(folder), asked.minutes / len(readers))
        wrong = sum(count for end, count in found.items() if end not in GOOD)
        total, worst = total + found.total(), worst + wrong
        print(f"{reader.name}: {found.total()}, {found['accepted']}, {found['refused']}, {wrong}", flush=True)
        for end, data in bad.items():
            print(f"  {found[end]} times {end}")
            if asked.keep:
                asked.keep.mkdir(parents=True, exist_ok=True)
                name = hashlib.sha256(end.encode()).hexdigest()[:8]
                (asked.keep / f"{reader.name.replace(' ', '_')}-{name}").write_bytes(data)
    print(f"{total} inputs, {worst} ended badly")
    return 1 if worst else 0


if __name__ == "__main__":
    sys.exit(main())
