"""Asks how much of a design a procedure tries: which stuck-at faults would show on its outputs."""

import forelight

for steps in (2, 10, 20):
    print(f"{steps} steps:", forelight.coverage("tide_gauge", steps=steps))
held = forelight.coverage("tide_gauge", run="held at half tide")
missed = [str(fault) for fault in forelight.coverage("tide_gauge", steps=20).missed]
print("hold never tried:", "i0 stuck at 0" in missed)
print("in the author's second run it is tried:", "i0 stuck at 0" not in map(str, held.missed))
