"""Dataclasses with shared methods beside those of the library."""

import copy
import dataclasses
import pickle
import re
from pathlib import Path

import numpy as np
import pytest

from binestimator.dataclass import dataclass
from binestimator.inputs import schema

pytestmark = pytest.mark.crosscheck


@dataclass(frozen=True, slots=True, kw_only=True)
class Base:
    """Something with a default."""

    name: str
    values: tuple = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Ours(Base):
    """Something with every kind of field."""

    amount: float
    notes: dict = dataclasses.field(default_factory=dict, hash=False)
    long: str = dataclasses.field(default="long", repr=False)
    aside: float = dataclasses.field(default=0.0, compare=False)

    @property
    def twice(self):
        return 2.0 * self.amount


@dataclass(frozen=True, slots=True)
class Placed:
    """One that takes values by their place."""

    first: float
    second: float = 2.0


@dataclass(frozen=True)
class Single:
    """One field, and no slots."""

    only: float


def _theirs(cls, **options):
    """The same fields as the library makes them."""
    fields = [
        (f.name, f.type, dataclasses.field(**{k: getattr(f, k) for k in ("repr", "hash", "compare", "kw_only")}))
        if f.default is dataclasses.MISSING and f.default_factory is dataclasses.MISSING
        else (f.name, f.type, f)
        for f in dataclasses.fields(cls)
    ]
    return dataclasses.make_dataclass(cls.__qualname__, fields, frozen=True, **options)


CASES = [
    (Ours, {"slots": True, "kw_only": True}, {"name": "a", "amount": 1.5}, {"amount": 2.5}),
    (Ours, {"slots": True, "kw_only": True}, {"name": "a", "amount": 1.5, "notes": {"k": 1}}, {"notes": {}}),
    (Placed, {"slots": True}, {"first": 1.0}, {"second": 3.0}),
    (Single, {}, {"only": 1.0}, {"only": 0.0}),
]


@pytest.mark.parametrize(("ours", "options", "values", "change"), CASES)
def test_same_as_those_of_the_library(ours, options, values, change):
    theirs = _theirs(ours, **options)
    one, other = ours(**values), theirs(**values)
    assert repr(one) == repr(other)
    assert dataclasses.asdict(one) == dataclasses.asdict(other)
    assert hash(one) == hash(other)
    assert one == ours(**values) and hash(one) == hash(ours(**values))
    assert one != other
    changed = dataclasses.replace(one, **change)
    assert type(changed) is ours and changed != one
    assert repr(changed) == repr(dataclasses.replace(other, **change))
    assert ours.__match_args__ == theirs.__match_args__
    assert hasattr(one, "__dict__") == hasattr(other, "__dict__")


@pytest.mark.parametrize(("ours", "options", "values", "change"), CASES)
def test_copies_travel(ours, options, values, change):
    one = ours(**values)
    assert pickle.loads(pickle.dumps(one)) == one
    assert copy.copy(one) == one and copy.deepcopy(one) == one


@pytest.mark.parametrize(("ours", "options", "values", "change"), CASES)
def test_frozen(ours, options, values, change):
    one = ours(**values)
    name = dataclasses.fields(ours)[0].name
    with pytest.raises(dataclasses.FrozenInstanceError, match=f"cannot assign to field '{name}'"):
        setattr(one, name, None)
    with pytest.raises(dataclasses.FrozenInstanceError, match=f"cannot delete field '{name}'"):
        delattr(one, name)
    with pytest.raises(dataclasses.FrozenInstanceError):
        one.another = 1.0


def test_wrong_arguments_are_refused():
    with pytest.raises(TypeError, match="missing 1 required keyword-only argument: 'amount'"):
        Ours(name="a")
    with pytest.raises(TypeError, match="unexpected keyword argument 'colour'"):
        Ours(name="a", amount=1.0, colour="red")
    with pytest.raises(TypeError, match="positional"):
        Ours("a", amount=1.0)
    with pytest.raises(TypeError, match="missing 1 required positional argument: 'first'"):
        Placed()
    assert Placed(1.0, 3.0).second == 3.0


def test_every_object_gets_defaults_of_its_own():
    one, other = Ours(name="a", amount=1.0), Ours(name="b", amount=1.0)
    assert one.notes == {} and one.notes is not other.notes
    assert one.twice == 2.0


def test_what_is_left_out_of_comparisons():
    one = Ours(name="a", amount=1.0)
    assert one == Ours(name="a", amount=1.0, aside=5.0)
    assert hash(one) == hash(Ours(name="a", amount=1.0, notes={"k": 1}))
    # A subclass, and an object that is the same but for its class, are others.
    assert Base(name="a") != one
    # One and the same array is equal to itself without asking its elements, as in tuples.
    array = np.zeros(2)
    assert Single(only=array) == Single(only=array)


def test_records_of_the_inputs():
    made = schema.record_type("limits")
    theirs = _theirs(made, slots=True, kw_only=True)
    values = {f.name: 1.0 for f in schema.fields_of("limits").values() if f.required}
    assert repr(made(**values)) == repr(theirs(**values))
    assert made.__module__ == schema.__name__ and isinstance(made(**values), schema.Record)
    assert pickle.loads(pickle.dumps(made(**values))) == made(**values)


def test_every_module_takes_it_from_here():
    package = Path(schema.__file__).parents[1]
    taken = re.compile(r"from dataclasses import .*\bdataclass\b(?! as)|dataclasses\.(make_)?dataclass\(")
    found = [path.name for path in sorted(package.rglob("*.py")) if taken.search(path.read_text(encoding="utf-8"))]
    assert found == ["dataclass.py"]
