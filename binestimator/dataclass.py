"""Frozen dataclasses whose methods are made when they are first used.

The library writes and compiles six methods for each class as it is imported, most of a millisecond. A run imports some
250 classes, makes objects of a third of them, and compares, prints or hashes few.
"""

from __future__ import annotations

import dataclasses
import functools
import reprlib
from collections.abc import Callable
from operator import attrgetter
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from dataclasses import dataclass as dataclass
else:

    def dataclass(cls=None, /, *, frozen=False, slots=False, kw_only=False):
        """As ``dataclasses.dataclass`` with these options; ``fields``, ``replace``, ``asdict`` know what it makes.

        Frozen classes share their methods; a call of ``__init__`` puts one of its own into the class.
        """
        if cls is None:
            return functools.partial(dataclass, frozen=frozen, slots=slots, kw_only=kw_only)
        if not frozen:
            return dataclasses.dataclass(cls, slots=slots, kw_only=kw_only)
        own = set(cls.__dict__)
        made = dataclasses.dataclass(cls, init=False, repr=False, eq=False, slots=slots, kw_only=kw_only)
        for name, method in _SHARED.items():
            if name not in own:
                setattr(made, name, method)
        return made


def _init(self, *values, **named) -> None:
    cls = type(self)
    cls.__init__ = made = _init_of(cls)
    made(self, *values, **named)


def _init_of(cls) -> Callable:
    """``__init__`` of a class: all its fields, in their order, as the library has it."""
    names: dict[str, object] = {"_set": object.__setattr__, "_MADE": object()}
    by_place: list[str] = []
    by_name: list[str] = []
    lines: list[str] = []
    for field in dataclasses.fields(cls):
        value = argument = field.name
        if field.default is not dataclasses.MISSING:
            names[f"_default_{field.name}"] = field.default
            argument += f"=_default_{field.name}"
        elif field.default_factory is not dataclasses.MISSING:
            names[f"_make_{field.name}"] = field.default_factory
            argument += "=_MADE"
            value = f"_make_{field.name}() if {field.name} is _MADE else {field.name}"
        (by_name if field.kw_only else by_place).append(argument)
        lines.append(f"    _set(self, {field.name!r}, {value})")
    arguments = ["self", *by_place, *(["*", *by_name] if by_name else [])]
    exec(f"def __init__({', '.join(arguments)}):\n" + "\n".join(lines or ["    pass"]), names)
    made: Callable = names["__init__"]  # type: ignore[assignment]
    made.__qualname__ = f"{cls.__qualname__}.__init__"
    return made


def _values_of(names: list[str]) -> Callable[[object], tuple]:
    if len(names) > 1:
        return attrgetter(*names)
    return lambda record: tuple(getattr(record, name) for name in names)


@functools.cache
def _compared(cls) -> Callable[[object], tuple]:
    return _values_of([field.name for field in dataclasses.fields(cls) if field.compare])


@functools.cache
def _hashed(cls) -> Callable[[object], tuple]:
    return _values_of([f.name for f in dataclasses.fields(cls) if (f.compare if f.hash is None else f.hash)])


@functools.cache
def _names(cls) -> tuple[str, ...]:
    return tuple(field.name for field in dataclasses.fields(cls))


def _eq(self, other):
    if other.__class__ is not self.__class__:
        return NotImplemented
    of = _compared(self.__class__)
    return of(self) == of(other)


def _hash(self) -> int:
    return hash(_hashed(self.__class__)(self))


@reprlib.recursive_repr()
def _repr(self) -> str:
    shown = (f"{field.name}={getattr(self, field.name)!r}" for field in dataclasses.fields(self) if field.repr)
    return f"{self.__class__.__qualname__}({', '.join(shown)})"


def _set_refused(self, name: str, value) -> None:
    raise dataclasses.FrozenInstanceError(f"cannot assign to field {name!r}")


def _delete_refused(self, name: str) -> None:
    raise dataclasses.FrozenInstanceError(f"cannot delete field {name!r}")


def _state(self) -> list:
    return [getattr(self, name) for name in _names(self.__class__)]


def _put_state(self, state: list) -> None:
    for name, value in zip(_names(self.__class__), state, strict=True):
        object.__setattr__(self, name, value)


_SHARED = {
    "__init__": _init,
    "__eq__": _eq,
    "__hash__": _hash,
    "__repr__": _repr,
    "__setattr__": _set_refused,
    "__delattr__": _delete_refused,
    # Copies of records travel between processes.
    "__getstate__": _state,
    "__setstate__": _put_state,
}
