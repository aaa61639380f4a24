"""Compares two versions of a design: equal for good, or different, with a procedure that shows it."""

from pathlib import Path

import forelight

HEAD = "module counter(input [7:0] inputs, output [7:0] outputs);\n  reg [3:0] n;\n"
STEP = "  always @(posedge inputs[7]) if (inputs[6]) n <= 0; else n <= {};\n"
TAIL = "  assign outputs = {4'b0, n};\nendmodule\n"
for name, after in (
    ("old", "n == 9 ? 0 : n + 1"),
    ("new", "n < 9 ? n + 1 : 0"),
    ("wrong", "n == 8 ? 0 : n + 1"),
):
    Path(f"{name}.v").write_text(HEAD + STEP.format(after) + TAIL)

print("old and new:", forelight.equivalent("old.v", "new.v"))
found = forelight.equivalent("old.v", "wrong.v")
print("old and wrong equal?", found.equal)
for name in ("old.v", "wrong.v"):
    ends = forelight.predict(name, do=found.counterexample).at(-1)
    print(f"after the counterexample {name} shows", ends.outputs)
