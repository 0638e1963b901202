"""Records of inputs from what was given: overrides laid over, defaults filled in, origins noted."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import replace

from binestimator.inputs.defaults import default_in_force, rules
from binestimator.inputs.given import MOST, Given, nameless
from binestimator.inputs.overrides import override_place
from binestimator.inputs.paths import InputPath, item_path, known_path
from binestimator.inputs.problems import Problems, printable, sentence
from binestimator.inputs.schema import LIST_SECTIONS, STRATEGY_SECTIONS, Field, fields_of, record_type
from binestimator.inputs.values import did_you_mean


@functools.cache
def _named_fields(section: str) -> tuple[tuple[str, str, Field], ...]:
    """Name, path and field of each input of a section: projects are built by the dozen."""
    return tuple((name, field.path, field) for name, field in fields_of(section).items())


class Build:
    """State of one build: origins, places and which overrides have met an input."""

    def __init__(self, given: Given, overrides: Mapping[str, object], problems: Problems, where: Mapping[str, str]):
        self.given, self.problems = given, problems
        self.origins: dict[str, str] = {}
        self.defaults: dict[str, tuple[object, str]] = {}
        self.places: dict[str, str] = {}
        self.names: dict[str, list[str]] = {kind: [] for kind in LIST_SECTIONS}
        self.overrides: list[tuple[InputPath, object, str, str]] = []
        self.met: set[str] = set()
        for path, value in overrides.items():
            parsed = known_path(path)
            self.overrides.append((parsed, value, where.get(path, override_place("override", path)), path))

    # -- records

    def record(self, section: str, values: Mapping, prefix: str, derived: frozenset[str] = frozenset()):
        """Record of given values over defaults; notes origins and what is missing."""
        problems, filled = self.problems, {}
        origins, defaults = self.origins, self.defaults
        for name, field_path, field in _named_fields(section):
            path = f"{prefix}.{name}"
            if name in values:
                filled[name] = values[name]
                origins[path] = "derived" if name in derived else "given"
                continue
            in_force = defaults.get(field_path)
            filled[name] = field.default if in_force is None else in_force[0]
            origins[path] = "default"
            if field.required and path not in problems.bad:
                problems.add_bad(
                    path,
                    sentence(
                        "is missing",
                        expected=field.allowed_as(in_cell=problems.in_cells),
                        do=f"give it: {field.description}",
                    ),
                )
        return record_type(section)(**filled)

    def single(self, section: str):
        """Record of a section that occurs once."""
        values = dict(self.given.sections.get(section, {}))
        for parsed, value, _, path in self.overrides:
            if parsed.kind == section:
                values[parsed.field.name] = value
                self.met.add(path)
        return self.record(section, values, section)

    def follow_choices(self, sections: dict, climate: str) -> None:
        """Put defaults that follow from other inputs into the records of sections that occur once, in place."""
        facts = {"climate": climate or None}

        def value_of(path: str):
            section, _, name = path.partition(".")
            return facts[path] if path in facts else getattr(sections[section], name)

        for path in rules():
            section, _, name = path.partition(".")
            if section in sections:
                self.defaults[path] = default_in_force(path, value_of)
                if self.origins[path] == "default":
                    sections[section] = replace(sections[section], **{name: self.defaults[path][0]})
            elif section in LIST_SECTIONS:  # of groups and zones, which are still to be made
                self.defaults[path] = default_in_force(path, facts.get)

    def follow_zones(self, zones: int) -> None:
        """Defaults of strategies that follow from the number of terminals, for the candidates to come."""
        for path in rules():
            if path.partition(".")[0] in STRATEGY_SECTIONS:
                self.defaults[path] = default_in_force(path, {"zones": zones}.get)

    def items(self, kind: str, given: list[dict]) -> tuple:
        """Records of a section that is a list."""
        lines = [dict(values) for values in given]
        self.name_lines(kind, lines)
        self.override_lines(kind, lines)
        return tuple(self.record(kind, values, f"{kind}[{values['name']}]") for values in lines)

    def name_lines(self, kind: str, lines: list[dict]) -> None:
        """Give lines without a usable name a stand-in and refuse names given twice."""
        if len(lines) > MOST[kind]:
            self.problems.add(
                kind,
                f"too many: {len(lines)}",
                expected=f"at most {MOST[kind]}",
                do="join alike zones by their multiplier" if kind == "zone" else "",
            )
            del lines[MOST[kind] :]
        seen: dict[str, str] = {}
        for place, values in enumerate(lines):
            if "name" not in values:
                values["name"] = nameless(place)
                path = item_path(kind, values["name"], "name")
                if path not in self.problems.bad:
                    field = fields_of(kind)["name"]
                    self.problems.add_bad(path, sentence("is missing", expected=field.allowed, do="give each a name"))
            name = values["name"]
            if name.casefold() in seen:
                self.problems.add(
                    f"{kind}[{name}]",
                    f'the name is given twice ("{seen[name.casefold()]}" and "{name}")',
                    expected="unique names, also without regard to case",
                    do="rename one of them",
                )
            if kind == "group" and name.casefold() == "none":
                self.problems.add(f"group[{name}]", 'a group cannot be called "none"', do="rename it")
            seen[name.casefold()] = name
        self.names[kind] = [values["name"] for values in lines]

    def override_lines(self, kind: str, lines: list[dict]) -> list[set[str]]:
        """Apply overrides to lines in place; returns the inputs changed in each."""
        changed: list[set[str]] = [set() for _ in lines]
        for parsed, value, where, path in self.overrides:
            if parsed.kind != kind:
                continue
            places = parsed.matches(self.names[kind])
            for place in places:
                lines[place][parsed.field.name] = value
                changed[place].add(parsed.field.name)
            self.met.add(path)
            if not places:
                self.no_match(where, kind, parsed.name)
        return changed

    def no_match(self, where: str, kind: str, name: str | None) -> None:
        self.problems.add(
            where,
            f'there is no {kind} "{printable(name or "")}"',
            do="" if self.problems.crowded else did_you_mean(name, self.names[kind]),
            involves=(kind,),
        )

    def all_overrides_used(self) -> None:
        """Refuse overrides that no part of the build took (never expected)."""
        for _, _, where, path in self.overrides:
            if path not in self.met:
                self.problems.add(where, "the override has no effect")

    def group_exists(self, path: str, name: str | None, names: list[str]) -> None:
        """Refuse a reference to a group that is not there."""
        if name is not None and names and name not in names:
            self.problems.add(
                path,
                "no such profile group",
                name,
                ", ".join(f'"{group}"' for group in names[:8]),
                did_you_mean(name, names),
                involves=(path,),
            )

    def about_inputs(self, table: str, given: Mapping[str, str], strict: bool) -> dict[str, str]:
        """Evidence or status by the full path of each input it is about.

        What is about nothing is refused when ``strict``; else, with overrides that may have
        made the zones anew, it is left out.
        """
        texts: dict[str, str] = {}
        for path, text in given.items():
            parsed = known_path(path)
            where = override_place(table, path)
            if parsed.kind in LIST_SECTIONS:
                names = self.names[parsed.kind]
                places = parsed.matches(names)
                if not places and strict:
                    self.no_match(where, parsed.kind, parsed.name)
                texts |= {item_path(parsed.kind, names[place], parsed.tail): text for place in places}
            else:
                texts[parsed.field.path] = text
        return texts
