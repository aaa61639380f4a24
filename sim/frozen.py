"""Decorators for records: those of `dataclasses`, most of all `dataclass(frozen=True)`, in a twentieth of the time.

A command is a process of its own, and dataclasses write and compile six methods for each of its hundred classes, which
took a quarter of a first answer. Here all classes share methods that are there already. Fields are those of
`dataclasses`, so that its `field`, `fields`, `replace` and `asdict` go on working, and type checkers know the rest.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import MISSING, Field, FrozenInstanceError, dataclass, field, fields
from functools import partial
from itertools import repeat
from operator import attrgetter
from typing import Any, NoReturn, TypeVar, cast, dataclass_transform

Made = TypeVar("Made", bound=type)


@dataclass_transform(frozen_default=True, field_specifiers=(field, Field))
def frozen(made: Made) -> Made:
    """The class with the methods that `dataclass(frozen=True)` would give it, but for those that it has itself.

    Its objects keep their fields in a `__dict__`; a class that is to have an order or fields that are no arguments is
    one for `dataclass`. Whoever gives a record the wrong arguments gets a TypeError.
    """
    return _record(made, {"__setattr__": _refuse, "__delattr__": _refuse})


@dataclass_transform(field_specifiers=(field, Field))
def mutable(made: Made) -> Made:
    """The same for `dataclass` alone: its fields can be changed."""
    return _record(made, {"__hash__": None})


@dataclass_transform(frozen_default=True, field_specifiers=(field, Field))
def slotted(made: Made) -> Made:
    """The same as `frozen` with `slots=True`, for records of which there are many; it is another class than `made`."""
    again = cast("Made", dataclass(init=False, repr=False, eq=False, slots=True)(made))
    names = [one.name for one in fields(again)]
    puts = [getattr(again, name).__set__ for name in names]

    def fill(self: Any, values: Iterable[Any]) -> None:
        for put, value in zip(puts, values, strict=True):
            put(self, value)

    def reduced(self: Any) -> tuple[Any, ...]:
        return again, tuple(getattr(self, name) for name in names)

    return _with_methods(again, fill, {"__setattr__": _refuse, "__delattr__": _refuse, "__reduce__": reduced})


def _record(made: Made, rest: Mapping[str, Callable[..., Any] | None]) -> Made:
    dataclass(init=False, repr=False, eq=False)(made)
    names = tuple(one.name for one in fields(made))

    def fill(self: Any, values: Iterable[Any]) -> None:
        self.__dict__.update(zip(names, values, strict=True))

    return _with_methods(made, fill, rest)


def _with_methods(
    made: Made,
    fill: Callable[[Any, Iterable[Any]], None],
    rest: Mapping[str, Callable[..., Any] | None],
) -> Made:
    """The class with the methods of records, where it has none of its own; `fill` puts fields into a new one."""
    found = fields(made)
    compared = _values([one.name for one in found if one.compare])
    makers = {one.name: _maker(one) for one in found}
    count, names, after = len(found), tuple(makers), hasattr(made, "__post_init__")

    def begin(self: Any, /, *given: Any, **named: Any) -> None:
        if named or len(given) != count:
            held = dict(zip(names, given, strict=False)) | named
            if len(held) < len(given) + len(named) or not held.keys() <= makers.keys():
                raise TypeError(f"{made.__qualname__}: arguments that it has not, or one of them twice")
            given = tuple([held[name] if name in held else make() for name, make in makers.items()])
        fill(self, given)
        if after:
            self.__post_init__()

    def equal(self: Any, other: object) -> Any:
        return compared(self) == compared(other) if other.__class__ is self.__class__ else NotImplemented

    def hashed(self: Any) -> int:
        return hash(compared(self))

    own = vars(made)
    shared = {"__init__": begin, "__eq__": equal, "__hash__": hashed, "__repr__": _told, **rest}
    for name, method in shared.items():
        if own.get(name) is None:  # a class without a hash of its own has None there
            setattr(made, name, method)
    return made


def _values(names: list[str]) -> Callable[[Any], Any]:
    """What fields of these names hold, to be compared."""
    return attrgetter(*names) if names else lambda self: ()


def _maker(one: Field[Any]) -> Callable[[], Any]:
    """What makes the value of a field that is not given."""
    if one.default_factory is not MISSING:
        return one.default_factory
    if one.default is not MISSING:
        return repeat(one.default).__next__
    return partial(_missing, one.name)


def _missing(name: str) -> NoReturn:
    raise TypeError(f"the argument {name} is missing")


def _told(self: Any) -> str:
    told = (f"{one.name}={getattr(self, one.name)!r}" for one in fields(self) if one.repr)
    return f"{type(self).__qualname__}({', '.join(told)})"


def _refuse(self: object, name: str, *_: object) -> NoReturn:
    raise FrozenInstanceError(f"cannot change the field {name!r} of a record")
