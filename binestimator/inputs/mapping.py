"""What was given, from a mapping of the layout of the project file: checked values, and what is wrong."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from binestimator.inputs.given import DEFAULT_CANDIDATES, Given
from binestimator.inputs.overrides import check_overrides, override_place
from binestimator.inputs.paths import parse_path
from binestimator.inputs.problems import Problems, sentence, shown
from binestimator.inputs.raw_tables import id_is_plain, item_of, table_of, tables_of, unknown, values_of, without_share
from binestimator.inputs.schema import (
    LIST_SECTIONS,
    SINGLE_SECTIONS,
    STATUSES,
    STRATEGY_SECTIONS,
    TERM_SECTIONS,
    fields_of,
    used_when_text,
)
from binestimator.inputs.terms import TERM_LISTS
from binestimator.inputs.unlikely import unused_strategy_inputs
from binestimator.inputs.values import check_free_text, did_you_mean
from binestimator.inputs.zones_csv import read_zones_csv

EVIDENCE_LENGTH = 1000
MOST_EVIDENCE = 2000
_CANDIDATE_KEYS = ("baseline", "sat", "dsp", "override")
_TOP_LEVEL = (*SINGLE_SECTIONS, *LIST_SECTIONS, *STRATEGY_SECTIONS, "override", "evidence", "status", *TERM_SECTIONS)


def given_from_mapping(raw: Mapping, folder: Path, problems: Problems) -> tuple[Given, dict]:
    """Checked values of a mapping and the overrides over them; wrong ones are left out and reported."""
    given, overrides = Given(), {}
    for key, value in raw.items():
        if key not in _TOP_LEVEL:
            unknown(problems, "", key, value, _TOP_LEVEL)
    for section in SINGLE_SECTIONS:
        if section in raw:
            table = table_of(problems, section, raw[section], f"[{section}]")
            values = values_of(problems, section, table, section)
            if values:
                given.sections[section] = values
    for kind, target in (("special", given.specials), ("group", given.groups), ("zone", given.zones)):
        for place, table in enumerate(tables_of(problems, kind, raw.get(kind, []))):
            target.append(without_share(values_of(problems, kind, table, item_of(kind, table, place))))
    for part in STRATEGY_SECTIONS:
        if part in raw:
            given.library[part] = _library(problems, part, raw[part])
    for place, table in enumerate(tables_of(problems, "candidate", raw.get("candidate", []))):
        given.candidates.append(_candidate(problems, table, item_of("candidate", table, place, "id")))
    if "override" in raw:
        table = table_of(problems, "override", raw["override"], '[override] with "path" = value')
        overrides = check_overrides(table, problems, "override")
    if "evidence" in raw:
        given.evidence = _about_inputs(
            problems, "evidence", raw["evidence"], '"text"', lambda text: check_free_text(text, EVIDENCE_LENGTH)
        )
    if "status" in raw:
        given.status = _about_inputs(problems, "status", raw["status"], f'"{STATUSES[0]}"', check_status)
    for section in TERM_SECTIONS:
        if section in raw:
            given.terms[section] = _term_tables(problems, section, raw[section])
    zones_csv = given.sections.get("project", {}).get("zones_csv")
    if zones_csv is not None:
        given.csv_zones = read_zones_csv(problems, folder / zones_csv, len(given.zones))
    return given, overrides


def _term_tables(problems: Problems, section: str, raw: object) -> list[dict]:
    """Checked tables of a section of terms; of one that occurs once a list of one."""
    if section not in TERM_LISTS:
        return [values_of(problems, section, table_of(problems, section, raw, f"[{section}]"), section)]
    return [
        values_of(problems, section, table, item_of(section, table, place))
        for place, table in enumerate(tables_of(problems, section, raw))
    ]


def _library(problems: Problems, part: str, raw: object) -> dict:
    strategies = fields_of(part)["strategy"].choices
    library: dict[str, dict] = {}
    for strategy, table in table_of(problems, part, raw, f"tables such as [{part}.demand]").items():
        where = f"{part}.{strategy if isinstance(strategy, str) else shown(strategy)}"
        if strategy not in strategies:
            if strategy in fields_of(part):
                problems.add(
                    where,
                    "is outside a strategy",
                    table,
                    f"[{part}.<strategy>] with {strategy} under it",
                    "choose the strategy: " + ", ".join(strategies),
                )
            else:
                unknown(problems, part, strategy, table, strategies, part)
            continue
        values = values_of(problems, part, table_of(problems, where, table, f"[{where}]"), where)
        if values.pop("strategy", strategy) != strategy:
            problems.add(f"{where}.strategy", "differs from the name of its table", do="remove it")
        _refuse_unused(problems, part, {"strategy": strategy, **values}, where)
        if values:
            library[strategy] = values
    return library


def _refuse_unused(problems: Problems, part: str, values: dict, where: str) -> None:
    for field in list(unused_strategy_inputs(part, values)):
        problems.add(
            f"{where}.{field.name}",
            f'{field.name} is not used by strategy "{values["strategy"]}"',
            values[field.name],
            f"{field.name} only where {used_when_text(field)}",
            "remove it or choose another strategy",
        )
        del values[field.name]


def _candidate(problems: Problems, table: Mapping, where: str) -> dict:
    values = values_of(problems, "candidate", table, where, _CANDIDATE_KEYS)
    if "id" in values and not id_is_plain(values["id"]):
        problems.add_bad(
            f"{where}.id",
            sentence(
                "holds characters an id cannot have",
                values.pop("id"),
                "small letters a-z, digits, _ and - without spaces",
                "it names a sheet and a key of the results",
            ),
        )
    elif "id" not in values and f"{where}.id" not in problems.bad:
        problems.add_bad(f"{where}.id", sentence("is missing", expected="small letters a-z, digits, _ and -"))
    if "baseline" in table:
        if isinstance(table["baseline"], bool):
            values["baseline"] = table["baseline"]
        else:
            problems.add_bad(
                f"{where}.baseline",
                sentence("not a truth value", table["baseline"], problems.words("true or false", "yes or no")),
            )
    default = DEFAULT_CANDIDATES.get(values.get("id", ""))
    for place, part in enumerate(STRATEGY_SECTIONS):
        if part not in table:
            continue
        raw = {"strategy": table[part]} if isinstance(table[part], str) else table[part]
        if not isinstance(raw, Mapping):
            problems.add_bad(
                f"{where}.{part}",
                sentence(
                    "not a strategy",
                    raw,
                    problems.words(
                        f'{part} = "demand" or {part} = {{strategy = "demand", ...}}', "a choice of the list"
                    ),
                ),
            )
            continue
        given = values_of(problems, part, raw, f"{where}.{part}")
        strategy = given.get("strategy") or (default[1 + place] if default else None)
        if strategy and f"{where}.{part}.strategy" not in problems.bad:
            used = {"strategy": strategy, **given}
            _refuse_unused(problems, part, used, f"{where}.{part}")
            given = {name: value for name, value in used.items() if name in given}
        if given:
            values[part] = given
    if "override" in table:
        raw = table_of(problems, f"{where}.override", table["override"], '[candidate.override] with "path" = value')
        overrides = check_overrides(raw, problems, f"{where}.override")
        if overrides:
            values["override"] = overrides
    return values


def check_status(raw: object) -> tuple[str | None, str | None]:
    """Check the status of a value; returns it and what is wrong, one of them ``None``."""
    expected = "one of " + ", ".join(f'"{status}"' for status in STATUSES)
    if not isinstance(raw, str):
        return None, sentence("not a text", raw, expected)
    status = raw.strip().casefold()
    if status in STATUSES:
        return status, None
    return None, sentence("not a status", raw, expected, did_you_mean(raw, STATUSES))


def _about_inputs(problems: Problems, name: str, raw: object, example: str, check) -> dict[str, str]:
    """Checked table of texts about inputs: evidence or status by path."""
    texts: dict[str, str] = {}
    table = table_of(problems, name, raw, f'[{name}] with "path" = {example}')
    if len(table) > MOST_EVIDENCE:
        problems.add_bad(
            name,
            sentence(
                f"too many: {len(table)}", expected=f"at most {MOST_EVIDENCE}", do="use patterns such as zone.*.max_cfm"
            ),
        )
        return texts
    for path, text in table.items():
        _, problem = parse_path(path)
        if problem is None:
            value, problem = check(text)
        if problem is None:
            texts[path] = value
        else:
            problems.add_bad(override_place(name, path), problem)
    return texts


def zone_values(problems: Problems, tables: list[dict], before: int) -> list[dict]:
    """Checked values of zones of a zones file that were read elsewhere.

    Parameters
    ----------
    tables : list of dict
        Raw values by input.
    before : int
        Zones listed before them, for the stand-ins of missing names.
    """
    return [
        without_share(values_of(problems, "zone", table, item_of("zone", table, before + place)))
        for place, table in enumerate(tables)
    ]
