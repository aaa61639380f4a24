"""The lists of causes: each has a name of its own, a prior, a sentence and a remedy, and every family is asked.

`python -m tests.harness.verdict.causes.test_families` writes `kinds.txt` anew. Read the difference before you keep it.
"""

from __future__ import annotations

import importlib
import pkgutil
import random
from collections import Counter
from dataclasses import fields, replace
from pathlib import Path

from forelight.designs.procedures.procedure import Press, Pulse, Release, Repeat, Set, Steps, Strap
from forelight.harness.bench.course import seated
from forelight.harness.verdict import causes
from forelight.harness.verdict.causes import clock, hand
from forelight.harness.verdict.causes.exercise import drawn
from forelight.harness.verdict.causes.mishap import SHARES, Handling, Mishap
from forelight.harness.verdict.causes.rank import FAMILIES

from tests.harness.verdict.causes.benches import handling, recorded
from tests.harness.verdict.causes.injected import board_of, meant_by

#: What a person reads of the first, the middle and the last cause of each kind, and what each changes.
KINDS = Path(__file__).parent / "kinds.txt"
#: Draws of a kind that a handling may not allow.
DRAWS = 40
#: Kinds that no family lists beforehand: made of the recording itself, of the netlist, or of two others.
FOUND_LATER = {
    "two slips", "stuck inside the chip", "another slot", "another power-up", "other inputs recorded", "input open",
    "clock stopped on the way", "entry missed", "entry written twice", "entry written wrong", "several entries amiss"
}  # fmt: skip


def meant() -> Handling:
    then = (Steps(5), Set({"i1": 1}), Pulse(3), Press("i3"), Steps(2), Release("i3"), Steps(5))
    return handling("travelling_wave", then, i0=1)


def everything() -> list[Mishap]:
    it = meant()
    return [found for family in FAMILIES for found in family(it, recorded(handling("travelling_wave")))]


def test_every_family_in_the_folder_is_asked() -> None:
    modules = [
        importlib.import_module(f"{causes.__name__}.{found.name}")
        for found in pkgutil.iter_modules(causes.__path__)
    ]
    assert {module.causes for module in modules if hasattr(module, "causes")} == set(FAMILIES)


def test_every_kind_has_a_share_and_is_found_somewhere() -> None:
    found = {cause.kind for cause in everything()}
    assert found | FOUND_LATER == set(SHARES)


def test_every_kind_is_drawn_for_the_chip() -> None:
    """A cause that is added is injected, or this complains."""
    print("seed kinds")
    rng = random.Random("kinds")
    board = board_of(0)
    for kind in SHARES:
        for _ in range(DRAWS):
            it = meant_by(kind, board, rng.choice(sorted(board.slots)), rng)
            if drawn(kind, it, seated(board, it.sheet), rng):
                break
        else:
            raise AssertionError(f"{kind} is never injected")


def test_what_is_repeated_may_go_wrong_in_any_round_or_in_all() -> None:
    """The third of four presses is not seen: the others stay, and one release goes with it."""
    inner = (Press("i0"), Steps(2), Release("i0"), Steps(5))
    it = handling("travelling_wave", (Steps(5), Repeat(4, inner)))
    names = {cause.name: cause for cause in hand.causes(it, recorded(it)) if cause.kind == "press not seen"}
    assert set(names) == {
        "press 2.1 not seen",
        *(f"press 2.1 (round {n} of 4) not seen" for n in range(1, 5)),
    }
    assert names["press 2.1 not seen"].change(it).then == (Steps(5), Repeat(4, (Steps(2), Steps(5))))
    third = (Steps(5), Repeat(2, inner), Steps(2), Steps(5), Repeat(1, inner))
    assert names["press 2.1 (round 3 of 4) not seen"].change(it).then == third
    first = names["press 2.1 (round 1 of 4) not seen"].change(it).then
    assert first == (Steps(5), Steps(2), Steps(5), Repeat(3, inner))


def test_names_are_of_one_cause_each_and_sentences_end() -> None:
    found = everything()
    assert {name: count for name, count in Counter(c.name for c in found).items() if count > 1} == {}
    for cause in found:
        assert cause.said[0].isupper() and cause.said.endswith("."), cause
        assert cause.remedy[0].isupper() and cause.remedy.endswith("."), cause


def done(cause: Mishap) -> str:
    """What is otherwise if this went wrong, field by field of the handling."""
    it = meant()
    other = cause.change(it)
    pairs = ((field.name, getattr(it, field.name), getattr(other, field.name)) for field in fields(it))
    return "; ".join(f"{name} {now}" for name, before, now in pairs if now != before and name != "sheet")


def test_ways_to_misread_a_strap_code() -> None:
    """20 is 00010100: from the wrong end 40, with each switch the other way 235; a contact that is missing makes 4 or
    16 of it. By both laws of dividers half a step lasts 21 frames."""
    it = meant()
    strapped = replace(it, before=tuple(Strap(20) if isinstance(a, Strap) else a for a in it.before))
    found = {
        cause.name: cause.said for cause in clock.causes(strapped, recorded(handling("travelling_wave")))
    }
    whys = {
        21: "the code is one too high",
        19: "the code is one too low",
        40: "the switches were read from the wrong end",
        235: "each switch stood the other way",
        4: "switch i4 made no contact when the step clock was switched on",
        16: "switch i2 made no contact when the step clock was switched on",
    }
    for code, why in whys.items():
        assert found[f"strap code {code}"] == f"The step clock runs by strap code {code} and not 20: {why}."
    assert sum(name.startswith("strap code ") and ":" in said for name, said in found.items()) == len(whys)


def written() -> str:
    kinds: dict[str, list[Mishap]] = {}
    for cause in everything():
        kinds.setdefault(cause.kind, []).append(cause)
    shares = [f"share of {kind} {share:g}" for kind, share in SHARES.items()]
    return (
        "\n".join(shares)
        + "\n"
        + "\n".join(
            "\n".join(
                (
                    f"{kind}, {cause.name}, weight {cause.weight:g}, of {len(causes)}",
                    f"  {cause.said}",
                    f"  {cause.remedy}",
                    f"  {done(cause)}",
                )
            )
            for kind, causes in kinds.items()
            for cause in dict.fromkeys((causes[0], causes[len(causes) // 2], causes[-1]))
        )
        + "\n"
    )


def test_what_a_person_reads_is_as_it_was_kept() -> None:
    assert written() == KINDS.read_text("utf-8"), "write it anew, and read the difference"


if __name__ == "__main__":
    KINDS.write_text(written(), "utf-8")
