"""The sheet of facts of a form: read, and laid under what the other sheets say."""

from __future__ import annotations

from collections.abc import Mapping

from binestimator.dataclass import dataclass
from binestimator.inputs.facts import Fact, facts
from binestimator.inputs.first_project import SAID, check_together, raw_project, read_fact
from binestimator.inputs.form_keys import YOURS
from binestimator.inputs.form_things import Thing
from binestimator.inputs.paths import item_path
from binestimator.inputs.problems import Problem, Problems, sentence
from binestimator.inputs.schema import LIST_SECTIONS, STRATEGY_SECTIONS, fields_of
from binestimator.inputs.values import check_value


@dataclass(frozen=True, slots=True)
class FactFound:
    """A fact as a form gives it: its value, None where it is empty or wrong, and its cell."""

    fact: Fact
    value: object
    wrong: bool
    place: str

    @property
    def name(self) -> str:
        """Name of the fact."""
        return self.fact.name


def read_facts(thing: Thing, problems: list[Problem]) -> list[FactFound]:
    """All facts of the sheet; none where every cell of the user is empty.

    Parameters
    ----------
    thing : Thing
        Cells of the table.
    problems : list of Problem
        Takes what is wrong with them.
    """
    found = []
    for each in facts():
        place = thing.places.get((YOURS, each.name))
        if place is None:
            continue
        content = thing.yours.get(each.name)
        value, problem = (None, None) if content is None else read_fact(each, content)
        if problem:
            problems.append(Problem(f"{place}, {each.label}", problem))
        found.append(FactFound(each, value, bool(problem), place))
    return found if any(each.value is not None or each.wrong for each in found) else []


def lay_facts(found: Mapping[str, FactFound], raw: dict, places: dict[str, str], problems: list[Problem]) -> None:
    """Put the project of facts under raw tables that other sheets gave, and its cells among their places.

    What a fact says and another sheet says otherwise is refused: which of them counts would not be clear. What only
    follows from facts, such as the gains of a use, gives way.
    """
    values = {name: each.value for name, each in found.items() if each.value is not None}
    together = Problems(in_cells=True)
    check_together(values, together, lambda name: f"{found[name].place}, {found[name].fact.label}")
    problems.extend(together.items)
    for each in found.values():
        if each.fact.needed and each.value is None and not each.wrong and not _known(each.fact, raw):
            text = sentence("is missing", expected=each.fact.allowed(), do="the quick check needs it")
            problems.append(Problem(f"{each.place}, {each.fact.label}", text))
    first = raw_project(values)
    cells = _cells(found, str(values.get("use", "")))
    status = first.pop("status", {})
    for group in first.pop("group", []):
        groups = raw.setdefault("group", [])
        same = next((other for other in groups if other.get("name") == group["name"]), None)
        if same is None:
            groups.insert(0, group)
        else:
            _under(same, group, f"group[{group['name']}].", status, cells, places, problems)
    for part in STRATEGY_SECTIONS:
        for strategy, table in first.pop(part, {}).items():
            path = f"{part}.{strategy}."
            said = dict.fromkeys((f"{path}{name}" for name in table), SAID)
            _under(raw.setdefault(part, {}).setdefault(strategy, {}), table, path, said, cells, places, problems)
    for name, texts in (("evidence", first.pop("evidence", {})), ("status", status)):
        for path, text in texts.items():
            raw.setdefault(name, {}).setdefault(path, text)
    for section, table in first.items():
        # Name and weather have no status, and still one value.
        said = {f"{section}.{name}": SAID for name in table} if section in ("project", "weather") else status
        _under(raw.setdefault(section, {}), table, f"{section}.", said, cells, places, problems)
    places.update(cells)


def _known(fact: Fact, raw: Mapping) -> bool:
    """Whether another sheet says what a fact would."""
    section, _, name = fact.path.partition(".")
    return name in raw.get(section, {}) if fact.path else bool(raw.get("group"))


def _cells(found: Mapping[str, FactFound], use: str) -> dict[str, str]:
    """Path of an input -> cell of the fact that it follows from."""
    cells = {each.fact.path: each.place for each in found.values() if each.fact.path}
    named = {
        "use": (f"group[{use}]", *(item_path("group", use, name) for name in ("name", *fields_of("group")))),
        "hours": (item_path("group", use, "weekday_hours"), item_path("group", use, "always_on")),
        "zones": ("building.zone_area_ft2",),
        "sat": ("sat.as_found.points",),
        "dsp": ("dsp.as_found.points", "fan.design_dsp_inwc", "fan.design_total_inwc"),
    }
    for name, paths in named.items():
        if name in found:
            cells |= dict.fromkeys(paths, found[name].place)
    given = {name for name, each in found.items() if each.value is not None or each.wrong}
    own = {each.fact.path: name for name, each in found.items() if each.fact.path}
    of_name = own | {path: name for name, paths in named.items() for path in paths}
    return {path: place for path, place in cells.items() if of_name[path] in given}


def _under(target: dict, table: Mapping, start: str, status: Mapping[str, str], cells, places, problems) -> None:
    """Lay values under those of a raw table."""
    for name, value in table.items():
        path = f"{start}{name}"
        if name not in target:
            target[name] = value
            continue
        if status.get(path) == SAID and not _same(path, target[name], value):
            at = places.get(path, "another sheet")
            text = f"says something else than {at}; leave one of the two cells empty"
            problems.append(Problem(cells.get(path, path), text))
        cells.pop(path, None)


def _same(path: str, raw: object, value: object) -> bool:
    """Whether a raw value of another sheet says the same as a checked one."""
    section, _, name = path.rpartition(".")
    kind = section.partition("[")[0].partition(".")[0]
    if kind not in (*LIST_SECTIONS, *STRATEGY_SECTIONS) and name not in fields_of(section):
        return raw == value
    field = fields_of(kind)[name]
    checked = [check_value(field, each, in_cell=True)[0] for each in (raw, value)]
    return checked[0] == checked[1]
