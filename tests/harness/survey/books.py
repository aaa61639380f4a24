"""Notebooks for tests: small ones try by try, and one of a chip of a thousand slots."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

from forelight.harness.survey.attempt import UNTOLD, Attempt, ChipRoster, Details
from forelight.harness.survey.notebook import writing
from forelight.harness.verdict.kinds import AGREES, DIFFERS, INCONCLUSIVE

QUAY = ChipRoster("quay", "quay", 192, {101: "tide_gauge", 42: "lamp_dimmer", 25: "tide_clock"})
#: Made-up people of the harbour.
PEOPLE = ("Ann", "Bo", "Cleo", "")


def attempt(slot: int = 101, verdict: str | None = AGREES, **others: object) -> Attempt:
    """A try of a slot of quay."""
    made = Attempt(
        "quay", slot, QUAY.slots.get(slot, "elsewhere"), "check", verdict=verdict, procedure="default"
    )
    return replace(made, **others)  # type: ignore[arg-type]


def write(path: Path, *attempts: Attempt, details: Details = Details(), chip: ChipRoster = QUAY) -> None:  # noqa: B008
    """Put tries into a notebook."""
    with writing(path) as notebook:
        for one in attempts:
            notebook.add(one, details, None, chip)


def profile(folder: Path, slots: int) -> Path:
    """A board whose slots hold a design of their own each, with a datasheet each."""
    rates = (0.5, 1, 2, 3.75, 7.5, 15, 30, 750)
    for slot in range(slots):
        place = folder / f"design_{slot}"
        place.mkdir()
        (place / "design.v").write_text("module top(input [7:0] inputs, output [7:0] outputs); endmodule\n")
        (place / "datasheet.toml").write_text(
            f'title = "Lamp {slot}"\nsource = ["design.v"]\nmodule = "top"\n'
            f'step = {{ line = "i7", wanted_hz = {rates[slot % len(rates)]} }}\n'
            f'restart = {{ line = "i6" }}\nlines = {{ i{slot % 6} = {{ means = "hold", idle = {slot // 8 % 2} }} }}\n'
            '[[run]]\nname = "twenty"\ndo = ["restart", "steps 20"]\nexpect = "the lamp is lit"\n'
        )
    board = folder / "pier.toml"
    roster = "".join(f'{slot} = "design_{slot}"\n' for slot in range(slots))
    board.write_text(
        f'title = "Pier"\nlink = "chain"\noscillator_hz = 18_432_000\nslot_count = {slots}\n'
        f"[chain]\npositions = {max(slots, 192)}\nticks_per_bit = 4\n"
        '[step]\nline = "i7"\nlaw = "two-stage"\n[restart]\nline = "i6"\n'
        f"[slots]\n{roster}"
    )
    return board


def large(path: Path, board: Path, slots: int, tries: int, seed: int) -> int:
    """A notebook with so many tries on such a board; returns how many slots were tried."""
    rng = random.Random(seed)
    chip = ChipRoster("pier", board.name, slots, {slot: f"design_{slot}" for slot in range(slots)})
    answer = {"reasons": ["At step 6 line o4 is 0 where 1 was predicted."], "remedies": ["Record more."] * 40}
    tried = [slot for slot in range(slots) if slot % 10]  # the others stay untried
    with writing(path) as notebook:
        for number in range(tries):
            slot = rng.choice(tried)
            who = rng.choice(PEOPLE)
            verdict = rng.choices((AGREES, DIFFERS, INCONCLUSIVE, UNTOLD), (80, 5, 10, 5))[0]
            one = Attempt(
                "pier",
                slot,
                f"design_{slot}",
                "check",
                title=f"Lamp {slot}",
                who=who,
                note="as seen from the quay",
                procedure=rng.choice(("default", "twenty")),
                code=rng.randrange(256),
                verdict=verdict,
                evidence=rng.uniform(-20, 90),
                recording=f"{number:064x}",
                at=f"2026-03-{1 + number // 1000:02}T18:{number // 60 % 60:02}:{number % 60:02}.{number:06}Z",
            )
            notebook.add(one, Details(answer, {"slot": str(slot)}), None, chip if not number else None)
    return len(tried)
