"""Causes of recordings of 100,000 steps, all stuck-at faults among them: `python -m tests.benchmarks.causes`."""

from __future__ import annotations

import argparse
import random
import time

from forelight.designs.catalogue import load_design
from forelight.designs.procedures.procedure import Restart, Select, Set, Steps, Strap
from forelight.harness.boards.reader import load_board
from forelight.harness.capture.readers import parse_capture
from forelight.harness.verdict.causes import rank
from forelight.harness.verdict.causes.exercise import written
from forelight.harness.verdict.causes.foretell import Foreteller, clipped
from forelight.harness.verdict.causes.mishap import Handling

SEED = 5
STEPS = 100_000
CODE = 0
OUTPUTS = tuple(f"o{n}" for n in range(8))
#: A recording of all outputs.
ALL = parse_capture(f"time_s,{','.join(OUTPUTS)}\n0.0{',0' * 8}\n1.0{',1' * 8}\n".encode(), "none")
#: Designs and what goes wrong with them: a slip of the hand, a wiring fault, a clock, and something that is no cause.
CASES = (
    ("travelling_wave", "i1 the other way"),
    ("travelling_wave", "o1 and o2 swapped"),
    ("travelling_wave", "strap code 1"),
    ("lamp_dimmer", "no contact at i6"),
    ("dice", "o0 stuck at 1"),
)


def meant(name: str, steps: int) -> Handling:
    """The design on the demo board, with its inputs at rest, for so many steps."""
    board, sheet = load_board("quay"), load_design(name)
    slot = next(slot for slot, found in board.slots.items() if found == name)
    idle = {f"i{n}": sheet.idle >> n & 1 for n in range(8)}
    before = (Select(slot), Set(idle), Strap(CODE), Restart())
    return Handling(board, sheet, slot, slot, before, (Steps(20), Set({"i0": 1 - idle["i0"]}), Steps(steps)))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--steps", type=int, default=STEPS)
    parser.add_argument("--only", choices=[wrong for _, wrong in CASES], help="one of the cases")
    given = parser.parse_args()
    print(f"seed {SEED}; processor time of all causes of a recording of {given.steps:,} steps")
    for name, wrong in CASES:
        if given.only not in (None, wrong):
            continue
        it, teller = meant(name, given.steps + 2000), Foreteller("i7")
        causes = (cause for family in rank.FAMILIES for cause in family(it, ALL))
        truth = next(cause for cause in causes if cause.name == wrong)
        done = truth.change(it)
        told = teller.prospect(done)
        assert told is not None
        foretold = told.foretold
        lines = {line: clipped(foretold, done.clips).lines[line] for line in OUTPUTS}
        end, scale = foretold.onward + given.steps, foretold.unit / foretold.oscillator_hz
        text = written(lines, foretold.onward, end, scale, random.Random(SEED))
        capture = parse_capture(text.encode(), "bench")
        changes = sum(len(line.times) - 1 for line in capture.lines.values())
        began = time.process_time()
        found = rank.rank(it, capture, it.board, "i7")
        spent = time.process_time() - began
        first = found.convincing[0].best.cause.name if found.convincing else "none of these"
        print(
            f"{name:16}{wrong:20}{changes:>8,} changes: {found.tried:>5} causes in {spent:5.2f} s, "
            f"500 in {spent / found.tried * 500:5.2f} s; {first}"
        )


if __name__ == "__main__":
    main()
