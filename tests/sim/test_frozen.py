"""A record does what a dataclass of its kind does; `dataclasses` itself is the judge."""

from __future__ import annotations

import copy
import pickle
from collections.abc import Callable
from dataclasses import FrozenInstanceError, asdict, dataclass, field, fields, replace
from functools import cached_property, partial
from typing import Any

import pytest
from forelight.sim.frozen import frozen, mutable, slotted


def kinds(decorator: Callable[[type], type]) -> dict[str, Any]:
    """Classes of every sort that are in use, made by one decorator."""

    class Plain:
        number: int
        words: tuple[str, ...] = ("a", "b")
        table: dict[str, int] = field(default_factory=dict, compare=False)
        quiet: int = field(default=0, repr=False)

        @cached_property
        def twice(self) -> int:
            return 2 * self.number

    class Empty:
        pass

    class Checked:
        one: int
        two: int = 7

        def __post_init__(self) -> None:
            if self.one > self.two:
                raise ValueError("one above two")

        def __eq__(self, other: object) -> bool:
            return True

        def __hash__(self) -> int:
            return 5

        def __repr__(self) -> str:
            return "checked"

    plain = decorator(Plain)
    Longer = type("Longer", (plain,), {"__annotations__": {"more": int}, "more": 3, "__module__": __name__})
    return {
        "Plain": plain,
        "Empty": decorator(Empty),
        "Checked": decorator(Checked),
        "Longer": decorator(Longer),
    }


#: Our decorators, and those of the judge.
DECORATORS: dict[str, tuple[Callable[[type], type], Callable[[type], type]]] = {
    "frozen": (frozen, dataclass(frozen=True)),
    "mutable": (mutable, dataclass),
    "slotted": (slotted, dataclass(frozen=True, slots=True)),
}
BOTH = {name: tuple(map(kinds, both)) for name, both in DECORATORS.items()}
OURS, THEIRS = BOTH["frozen"]
#: Calls, right and wrong: class, arguments in order, arguments by name.
CALLS: list[tuple[str, tuple[Any, ...], dict[str, Any]]] = [
    ("Plain", (1,), {}),
    ("Plain", (1, ("c",), {"x": 1}, 5), {}),
    ("Plain", (1,), {"quiet": 4, "words": ()}),
    ("Plain", (), {"words": (), "number": 3}),
    ("Plain", (), {}),
    ("Plain", (1, (), {}, 5, 6), {}),
    ("Plain", (1,), {"number": 2}),
    ("Plain", (1,), {"nothing": 2}),
    ("Plain", (1, (), {}, 5), {"nothing": 2}),
    ("Empty", (), {}),
    ("Empty", (1,), {}),
    ("Checked", (1,), {}),
    ("Checked", (8,), {}),
    ("Checked", (1, 0), {}),
    ("Longer", (1,), {"more": 5}),
    ("Longer", (1, (), {}, 5, 6), {}),
]


def told(make: Callable[[], Any]) -> Any:
    """All that can be seen of an object from outside, or how the attempt ends."""
    try:
        made = make()
    except (TypeError, ValueError) as error:
        return type(error)
    try:
        hashed: Any = hash(made)
    except TypeError as error:
        hashed = type(error)
    seen = repr(made), hasattr(made, "__dict__"), asdict(made), [one.name for one in fields(made)], hashed
    return *seen, made == make(), copy.copy(made) == made, made != object()


@pytest.mark.parametrize("decorated", BOTH)
@pytest.mark.parametrize(("name", "given", "named"), CALLS)
def test_as_a_dataclass(name: str, given: tuple[Any, ...], named: dict[str, Any], decorated: str) -> None:
    ours, theirs = (told(partial(kind[name], *given, **named)) for kind in BOTH[decorated])
    assert ours == theirs


def test_equal_and_other() -> None:
    for kind in (OURS, THEIRS):
        plain, longer = kind["Plain"], kind["Longer"]
        assert plain(1, table={"x": 1}) == plain(1) and hash(plain(1)) == hash(plain(1, table={"x": 1}))
        assert plain(1) != plain(2) and plain(1) != plain(1, quiet=1)
        assert plain(1) != longer(1) and longer(1) != plain(1)
        assert replace(plain(1), number=2) == plain(2)
        with pytest.raises(TypeError):
            replace(plain(1), nothing=2)
        with pytest.raises(TypeError):
            hash(plain(1, words=[]))


def test_nothing_is_changed() -> None:
    for kind in (OURS, THEIRS):
        made = kind["Longer"](1)
        assert made.twice == 2 and vars(made)["twice"] == 2
        for name in ("number", "new"):
            with pytest.raises(FrozenInstanceError):
                setattr(made, name, 2)
        with pytest.raises(FrozenInstanceError):
            del made.number
        assert made.number == 1


def test_what_is_mutable_can_be_changed() -> None:
    for kind in BOTH["mutable"]:
        made = kind["Plain"](1)
        made.number = 2
        assert made == kind["Plain"](2)


def test_slots_are_closed() -> None:
    for kind in BOTH["slotted"]:
        made = kind["Checked"](1)
        for name in ("one", "new"):
            with pytest.raises(
                (FrozenInstanceError, TypeError)
            ):  # of Python 3.11: what it calls itself is another class
                setattr(made, name, 2)
        with pytest.raises((FrozenInstanceError, TypeError)):
            del made.one
        assert made.one == 1


@frozen
class Kept:
    """A record that a pickle can find."""

    number: int
    others: tuple[Kept, ...] = ()


@slotted
class Slotted:
    """The same with slots, and a field that is not compared."""

    number: int
    others: tuple[Slotted, ...] = ()
    place: str = field(default="", compare=False)


@pytest.mark.parametrize("kind", [Kept, Slotted])
def test_pickled(kind: type[Any]) -> None:
    whole = kind(1, (kind(2), kind(3, (kind(4),))))
    again = pickle.loads(pickle.dumps(whole))
    assert again == whole and again.others[1] in {whole.others[1]: 0}
    assert kind is Kept or pickle.loads(pickle.dumps(Slotted(1, place="here"))).place == "here"
