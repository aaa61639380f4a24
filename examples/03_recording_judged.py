"""Writes down what an eye might have seen, right and with one slip, and has it judged against the prediction."""

from pathlib import Path

import forelight

tide = forelight.predict("tide_gauge", steps=60)
seen = Path("eye.csv")
digits = [tide.at(step).shown for step in range(30)]
seen.write_text("shown\n" + "\n".join(digits) + "\n")
print("as foretold:", forelight.check(tide, seen).kind)

digits[7] = "1."
seen.write_text("shown\n" + "\n".join(digits) + "\n")
verdict = forelight.check(tide, seen)
print("with a 1 in place of a 7:", verdict.kind)
