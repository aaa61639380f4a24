"""Makes a board in code, with half as many positions on its chain, and keeps it as a TOML file."""

from dataclasses import replace
from pathlib import Path

import forelight

quay = forelight.load_board("quay")
short = replace(quay, name="short", title="Short quay", positions=96, slot_count=96, slots={7: "tide_gauge"})
print("frames a second:", float(quay.frame_hz), "and", float(short.frame_hz))
print("the tide at 4 Hz:", forelight.predict(7, board=short, hz=4, steps=5).at(5).shown)
forelight.write_board(short, Path("short.toml"))
again = forelight.load_board(Path("short.toml"))
print("read again it is the same:", replace(again, path=short.path) == forelight.load_board(short))

try:
    forelight.load_board(replace(short, slot_count=200))
except forelight.ForelightError as error:
    print("refused:", error.remedy)
