"""A decorator for frozen records: `dataclass(frozen=True)` in a twentieth of the time.

A command is a process of its own, and dataclasses write and compile six methods for each of its hundred classes, which
took a quarter of a first answer. Here all classes share methods that are there already. Fields are those of
`dataclasses`, so that its `field`, `fields`, `replace` and `asdict` go on working, and type checkers know the rest.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import MISSING, Field, FrozenInstanceError, dataclass, field, fields
from functools import partial
from itertools import repeat
from operator import attrgetter
from typing import Any, NoReturn, TypeVar, dataclass_transform

Made = TypeVar("Made", bound=type)


@dataclass_transform(frozen_default=True, field_specifiers=(field, Field))
def frozen(made: Made) -> Made:
    """The class with the methods that `dataclass(frozen=True)` would give it, but for those that it has itself.

    Its objects keep their fields in a `__dict__`; a class that is to have slots, an order or fields that are no
    arguments is one for `dataclass`. Whoever gives a record the wrong arguments gets a TypeError.
    """
    dataclass(init=False, repr=False, eq=False)(made)
    found = fields(made)
    compared = _values([one.name for one in found if one.compare])
    after = hasattr(made, "__post_init__")
    count, names = len(found), tuple(one.name for one in found)
    makers = {one.name: _maker(one) for one in found}

    def begin(self: Any, /, *given: Any, **named: Any) -> None:
        held = dict(zip(names, given, strict=False))
        if named or len(given) != count:
            held |= named
            if len(held) < len(given) + len(named) or not held.keys() <= makers.keys():
                raise TypeError(f"{made.__qualname__}: arguments that it has not, or one of them twice")
            held = {name: held[name] if name in held else make() for name, make in makers.items()}
        self.__dict__.update(held)
        if after:
            self.__post_init__()

    def equal(self: Any, other: object) -> Any:
        return compared(self) == compared(other) if other.__class__ is self.__class__ else NotImplemented

    def hashed(self: Any) -> int:
        return hash(compared(self))

    own = vars(made)
    shared: Mapping[str, Callable[..., Any]] = {
        **{"__init__": begin, "__eq__": equal, "__hash__": hashed, "__repr__": _told},
        **{"__setattr__": _refuse, "__delattr__": _refuse},
    }
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
