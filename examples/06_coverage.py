"""Asks how much of a design a procedure tries: which stuck-at faults would show on its outputs."""

import forelight

for steps in (2, 10, 20):
    print(f"{steps} steps:", forelight.coverage("tide_gauge", steps=steps))
held = forelight.coverage("tide_gauge", run="held at half tide")
print("hold never tried:", "inputs[0] stuck at 0" in forelight.coverage("tide_gauge", steps=20).missed)
print("in the author's second run it is tried:", "inputs[0] stuck at 0" not in held.missed)
