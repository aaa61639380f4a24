"""Foretells a slot and works with what its outputs do, step by step, as arrays of NumPy."""

import forelight

tide = forelight.predict("tide_gauge", steps=36)
print("steps by lines:", tide.bits.shape, "unsettled bits:", int(tide.bits.mask.sum()))
print("it rises for", int(tide.bits[:36, 7].sum()), "of 36 steps")
print("step 4 shows", tide.at(4).shown, "from", round(float(tide.seconds[4]), 3), "s on")
shown = [tide.at(step).shown for step in range(10)]
print("the first ten:", *shown)
