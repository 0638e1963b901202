"""Projects at the ends of every range and count of the inputs.

From the rows of ``inputs.csv`` and the counts that reading allows: each input at its low and its
high end, or at each choice; each count at 1, at its maximum and at one more. Every project is either
refused with a message that names the input, or must come out as a workbook that computes the
engine's values.

    for label, mapping in range_edges(seed=1):
        project = project_from_mapping(mapping)

    python -m tests.edges                all of them, recalculated
    python -m tests.edges --part 3/40    the third of forty shares of them
    python -m tests.edges --first 40     the first 40 of the seed's order
    python -m tests.edges --no-recalculation
"""

from __future__ import annotations

import argparse
import copy
import os
import random
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path

from binestimator.errors import InputError
from binestimator.estimate import estimate
from binestimator.inputs.form import read_form
from binestimator.inputs.given import MOST, MOST_ZONES_BY_CANDIDATES
from binestimator.inputs.range_lines import range_lines
from binestimator.inputs.read import project_from_mapping
from binestimator.inputs.schema import FIELDS, STRATEGY_SECTIONS, Field, fields_of
from binestimator.inputs.values import MOST_POINTS, POINT_X_RANGE
from binestimator.weather import find_weather, read_weather
from binestimator.workbook.write import build_workbook

try:
    from parts import of_share, share
    from recalculation import Spreadsheet, cells, compare_books, without_values
except ModuleNotFoundError:  # run as a module from the folder above
    from tests.parts import of_share, share
    from tests.recalculation import Spreadsheet, cells, compare_books, without_values

WEATHER_FILE = "723170TYA.CSV"

#: Two zones in a group each, every size given, so that an edge is met by plain surroundings.
BASE = {
    "project": {"name": "Edges", "default_candidates": False},
    "weather": {"file": WEATHER_FILE},
    "bins": {"rows": "mean"},
    "group": [{"name": "office"}, {"name": "meeting", "people_ft2": 20}],
    "zone": [
        {
            "name": "South",
            "area_ft2": 2000,
            "ua_btuh_f": 250,
            "glass_south_ft2": 200,
            "infiltration_cfm": 40,
            "max_cfm": 2200,
            "reheat_kbtuh": 60,
            "index_share": 1.0,
        },
        {"name": "Core", "group": "meeting", "area_ft2": 1000, "max_cfm": 1600, "reheat_kbtuh": 40, "index_share": 0.6},
    ],
    "air_handler": {"design_cfm": 3600},
    "fan": {"motor_hp": 7.5},
    "outdoor_air": {"minimum_cfm": 700},
    "cooling": {"capacity_tons": 15},
    "heating": {"capacity_kbtuh": 200},
    "candidate": [
        {"id": "as_found", "name": "As found", "sat": "as_found", "dsp": "as_found"},
        {"id": "reset", "name": "Resets", "sat": "outdoor_air", "dsp": "demand"},
    ],
}

# Words that mean something to a form, a project file, a results file or a spreadsheet program.
RESERVED = (
    "none",
    "end",
    "key: end",
    "key: zone",
    "–",
    "value",
    "otherwise",
    "override",
    "counts",
    "name",
    "id",
    "group",
    "zone",
    "*",
    "#1",
    "candidate",
    "sat",
    "dsp",
    "hourly",
    "annual",
    "best",
    "baseline",
    "cost_usd",
    "Inputs",
    "Zones",
    "Air handler",
    "Loads",
    "Constants",
    "Setpoints",
    "Held values",
    "History",
    "Bin rows",
    "A1",
    "R1C1",
    "TRUE",
    "=1+1",
    "'",
    "1e5",
    "007",
    "quick description",
    "zones file",
    "project",
    "default eight",
)


def points(count: int, low: float, high: float, ends: tuple[float, float] = POINT_X_RANGE) -> list[list[float]]:
    """So many points with rising abscissas, up and down between two values."""
    first, last = ends
    at = lambda k: first + (last - first) * k / max(count - 1, 1)
    return [[round(at(k), 6), low if k % 2 == 0 else high] for k in range(count)]


def ends_of(field: Field) -> Iterator[tuple[str, object]]:
    """Ends of what an input allows, with words for them."""
    match field.type:
        case "text":
            yield "shortest", "A"
            yield "longest", ("long text " * 250)[: field.max_length].strip()
            yield "outside the basic plane", "\U0001f3e2" * min(field.max_length, 40)
        case "bool":
            yield from (("true", True), ("false", False))
        case "choice" | "choice_float":
            yield from ((f"{choice}", choice) for choice in field.choices)
        case "hour_pair":
            yield from (("closed", []), ("all day", [0, 24]), ("last hour", [23, 24]))
        case "date_list":
            days = [f"{month:02d}-{day:02d}" for month in range(1, 13) for day in range(1, 29)]
            yield from (("no day", []), ("most days", days))
        case "profile24":
            yield from (("low", [field.low] * 24), ("high", [field.high] * 24))
        case "points":
            for count in (1, 2, MOST_POINTS, MOST_POINTS + 1):
                yield f"{count} points", points(count, field.low, field.high)
        case "path":
            return  # files are made, not ranged
        case _:
            yield from (("low", field.low), ("high", field.high))
            if field.optional:
                yield "none", "none"


def _put(mapping: dict, section: str, name: str, value: object) -> None:
    """Lay a value into a project: into the first of a list, or into the second candidate."""
    if section in ("group", "zone"):
        mapping[section][0][name] = value
        if section == "group" and name == "name":
            mapping["zone"][0]["group"] = value
    elif section == "special":
        _describe_quickly(mapping)
        mapping.setdefault("special", [{"name": "Server room", "group": "office", "area_ft2": 200}])[0][name] = value
    elif section == "candidate":
        mapping["candidate"][1][name] = value
    elif section in STRATEGY_SECTIONS:
        strategy = mapping["candidate"][1][section]
        strategy = dict(strategy) if isinstance(strategy, dict) else {"strategy": strategy}
        mapping["candidate"][1][section] = {**strategy, name: value}
    else:
        mapping.setdefault(section, {})[name] = value


def _describe_quickly(mapping: dict) -> None:
    """A building from the quick description in place of listed zones; plants sized."""
    mapping.setdefault("building", {}).setdefault("floor_area_ft2", 12_000)
    mapping.pop("zone", None)
    for section in ("air_handler", "fan", "outdoor_air", "cooling", "heating"):
        mapping.pop(section, None)


# Companions of an input that is given together with others.
_SURVEY = {"survey_flow_cfm": 1500, "survey_damper_pct": 80, "survey_dsp_inwc": 1.2}
_MEASURED = {"measured_cfm": 3200, "measured_total_inwc": 3.5, "measured_kw": 3.0}


def _meet(mapping: dict, field: Field, depth: int = 0) -> None:
    """Give other inputs what lets this one have an effect, or what goes with it."""
    if field.section == "building" and depth == 0 and (field.used_when or field.name == "floor_area_ft2"):
        _describe_quickly(mapping)
        return
    for together, section in ((_SURVEY, "zone"), (_MEASURED, "fan")):
        if field.section == section and field.name in together:
            for name, value in together.items():
                _put(mapping, section, name, value)
    if not field.used_when or depth > 3:
        return
    section, name, values = field.used_when[0]
    other = fields_of(section).get(name)
    value = values[0]
    if values == ("given",):
        value = (other.low + other.high) / 2 if other.low is not None else "A"
    elif value in ("true", "false"):
        value = value == "true"
    _meet(mapping, other, depth + 1)
    _put(mapping, section, name, value)


def _edges_of_values() -> Iterator[tuple[str, dict]]:
    for field in FIELDS:
        for words, value in ends_of(field):
            mapping = copy.deepcopy(BASE)
            _meet(mapping, field)
            _put(mapping, field.section, field.name, value)
            yield f"{field.path}: {words}", mapping


# Terms of utilities and programmes that are lists: what each of a list has besides its name.
_TERMS = {
    "peak_window": {},
    "incentive": {"usd_kwh": 0.01},
    "energy_price": {"usd": 0.1},
    "demand_charge": {"usd_kw": 5.0},
    "weather_year": {"file": WEATHER_FILE},
}


def _counted(kind: str, count: int) -> dict:
    mapping = copy.deepcopy(BASE)
    if kind == "group":
        mapping["group"] = [{"name": f"group {k}", "people_ft2": 30 + k} for k in range(count)]
        mapping["zone"] = [
            {**BASE["zone"][0], "name": f"zone {k}", "group": f"group {k}", "max_cfm": 500} for k in range(count)
        ]
    elif kind == "zone":
        mapping["zone"] = [{**BASE["zone"][0], "name": f"zone {k}", "max_cfm": 500} for k in range(count)]
    elif kind == "special":
        mapping["building"] = {"floor_area_ft2": 60_000}
        _describe_quickly(mapping)
        mapping["special"] = [{"name": f"room {k}", "group": "office", "area_ft2": 100} for k in range(count)]
    elif kind == "range":
        lines = [list(range_lines().values())[k % len(range_lines())] for k in range(count)]
        mapping[kind] = [
            {"name": line.key, "low": line.ends[0][0], "high": line.ends[0][1], "source": f"range {k}"}
            for k, line in enumerate(lines)
        ]
    elif kind in _TERMS:
        mapping[kind] = [{"name": f"{kind} {k}", **_TERMS[kind]} for k in range(count)]
    else:
        pairs = [
            (sat, dsp) for sat in fields_of("sat")["strategy"].choices for dsp in fields_of("dsp")["strategy"].choices
        ]
        mapping["candidate"] = [
            {"id": f"c{k}", "name": f"Candidate {k}", "sat": pairs[k % len(pairs)][0], "dsp": pairs[k % len(pairs)][1]}
            for k in range(count)
        ]
    if kind in ("group", "zone"):
        mapping["air_handler"]["design_cfm"] = max(450 * count, 500)
        mapping["fan"]["motor_hp"] = min(max(count, 1), 300)
        mapping["outdoor_air"]["minimum_cfm"] = 50 * count
        mapping["cooling"]["capacity_tons"], mapping["heating"]["capacity_kbtuh"] = max(count, 2), 25 * count
    return mapping


def _edges_of_counts() -> Iterator[tuple[str, dict]]:
    for kind, most in MOST.items():
        for count in (1, most, most + 1):
            yield f"{kind}: {count}", _counted(kind, count)


def _edges_of_products() -> Iterator[tuple[str, dict]]:
    """Most zones with as many candidates as fit beside them, and one more."""
    fit = MOST_ZONES_BY_CANDIDATES // MOST["zone"]
    for count in (fit, fit + 1):
        mapping = _counted("zone", MOST["zone"])
        mapping["candidate"] = _counted("candidate", count)["candidate"]
        yield f"zone and candidate: {MOST['zone']} by {count}", mapping


def _edges_of_tables() -> Iterator[tuple[str, dict]]:
    """All tables of points at once, short and long, for setpoints and heat pumps."""
    for count in (1, 2, 5, MOST_POINTS):
        mapping = copy.deepcopy(BASE)
        mapping["heating"] |= {
            "type": "heat_pump",
            "cop_points": points(count, 1.5, 4.0, (-20.0, 80.0)),
            "capacity_points": points(count, 0.5, 1.2, (-20.0, 80.0)),
        }
        sat, dsp = points(count, 55.0, 62.0, (30.0, 95.0)), points(count, 0.8, 1.5, (30.0, 95.0))
        mapping["candidate"] = [
            {
                "id": "as_found",
                "name": "Tables",
                "sat": {
                    "strategy": "as_found",
                    "points": sat,
                    "points_unoccupied": points(count, 54.0, 60.0, (20.0, 80.0)),
                },
                "dsp": {
                    "strategy": "as_found",
                    "points": dsp,
                    "points_unoccupied": points(count, 0.7, 1.2, (20.0, 80.0)),
                },
            },
            {
                "id": "lines",
                "name": "Lines",
                "sat": {"strategy": "outdoor_air", "points": sat},
                "dsp": {"strategy": "outdoor_air", "points": dsp},
            },
            {
                "id": "flow",
                "name": "Airflow",
                "sat": "demand",
                "dsp": {"strategy": "airflow", "points": points(count, 0.8, 1.5, (20.0, 110.0))},
            },
        ]
        yield f"tables of {count} points", mapping


def _edges_of_names() -> Iterator[tuple[str, dict]]:
    for word in (*RESERVED, "\U0001f3e2" * 40, "\U0001f3e2x" * 15, "a" * 80):
        mapping = copy.deepcopy(BASE)
        for section, value in (("group", word), ("zone", word), ("candidate", word)):
            _put(mapping, section, "name", value)
        yield f"names {word!r}", mapping


#: What a run sizes where it is not given.
_SIZED = (
    "air_handler.design_cfm",
    "air_handler.max_cfm",
    "fan.motor_hp",
    "outdoor_air.minimum_cfm",
    "cooling.capacity_tons",
    "heating.capacity_kbtuh",
    "zone.max_cfm",
    "zone.reheat_kbtuh",
)


def _edges_of_sizes() -> Iterator[tuple[str, dict]]:
    """All sizes said to be none: in their own places, and as overrides of sizes that were given."""
    own, over = copy.deepcopy(BASE), copy.deepcopy(BASE)
    for path in _SIZED:
        section, _, name = path.partition(".")
        _put(own, section, name, "none")
        over.setdefault("override", {})[path if section != "zone" else f"zone.*.{name}"] = "none"
    yield "sizes: none", own
    yield "sizes: none as overrides", over


def range_edges(seed: int = 1) -> Iterator[tuple[str, dict]]:
    """All edges in an order that the seed gives: label, and a project as a mapping.

    A mapping may be refused at reading; then the message names the input or the count.
    """
    found = [
        *_edges_of_values(),
        *_edges_of_counts(),
        *_edges_of_products(),
        *_edges_of_tables(),
        *_edges_of_names(),
        *_edges_of_sizes(),
    ]
    random.Random(seed).shuffle(found)
    yield from found


# ---------------------------------------------------------------- proof

# Workbooks that the spreadsheet program takes in one start.
_BATCH = 12


@cache
def _weather():
    return read_weather(find_weather(WEATHER_FILE, Path(".")))


# What does not fit is named by what follows from the input.
_NAMED_AS = {
    "building.floor_area_ft2": 'building: the quick description gives a zone "Core" whose area_ft2 is above',
    "special.area_ft2": "special zones take more than the core",
    "special.count": "special zones take more than the core",
    "fan.measured_total_inwc": "at the measured point",
}


def names_limit(label: str, mapping: dict, message: str) -> bool:
    """Whether a refusal names what it is about: the input, also as what another does not fit to, or the count."""
    what = label.partition(":")[0]
    section, _, name = what.partition(".")
    if not name:  # a count, or words as names
        return (
            "too many" in message
            or "zones times candidates" in message
            or "cannot be called" in message
            or "as the marks of tables" in message
            or "is given twice" in message
            or (what == "range" and "this project has no such input to draw" in message)
        )
    return name in message or _NAMED_AS.get(what, name) in message


def prove(
    edges: Iterable[tuple[str, dict]],
    folder: Path,
    spreadsheet: Spreadsheet | None,
    books: dict[str, bytes] | None = None,
) -> dict[str, int]:
    """Take each edge from reading to the recalculated workbook.

    Parameters
    ----------
    edges : iterable of (label, mapping)
    folder : Path
        For files that are read back.
    spreadsheet : Spreadsheet or None
        None leaves the recalculation out.
    books : dict or None
        Takes the workbooks as written, by label.

    Returns
    -------
    dict
        Counts: ``refused``, ``written``, ``recalculated``, ``numbers``.

    Raises
    ------
    AssertionError
        Names the edge and what does not hold.
    """
    counts = dict.fromkeys(("refused", "written", "recalculated", "numbers"), 0)
    blanks: dict[str, bytes] = {}
    owns: dict[str, tuple[str, bytes]] = {}

    def recalculate() -> None:
        found = spreadsheet.recalculated(blanks)
        for key, content in found.items():
            label, own = owns[key]
            counts["numbers"] += compare_books(label, own, content)
            counts["recalculated"] += 1
        blanks.clear()
        owns.clear()

    for place, (label, mapping) in enumerate(edges):
        try:
            project = project_from_mapping(mapping)
        except InputError as error:
            assert names_limit(label, mapping, str(error)), f"{label}: refused without naming it: {error}"
            counts["refused"] += 1
            continue
        results = estimate(project, _weather())
        content, pen = build_workbook(results)
        assert pen is None or max(pen.residuals.values()) < 1e-9, f"{label}: formulas and engine are apart"
        errors = [
            f"{sheet}!{address}"
            for sheet, found in cells(content).items()
            for address, (kind, _) in found.items()
            if kind == "e"
        ]
        assert not errors, f"{label}: error cells {errors[:5]}"
        file = folder / f"edge{place}.xlsx"
        file.write_bytes(content)
        assert read_form(file).project.checksum() == project.checksum(), f"{label}: reads back as another project"
        file.unlink()
        counts["written"] += 1
        if books is not None:
            books[label] = content
        if spreadsheet is not None:
            blanks[f"edge{place}"], owns[f"edge{place}"] = without_values(content), (label, content)
            if len(blanks) == _BATCH:
                recalculate()
    if blanks:
        recalculate()
    return counts


def main(arguments: list[str] | None = None) -> int:
    """Prove edges one batch after the other, print what fails, and say by the exit status whether anything did."""
    reader = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    reader.add_argument("--seed", type=int, default=1)
    reader.add_argument("--first", type=int, default=None, help="only so many of the seed's order")
    reader.add_argument("--skip", type=int, default=0, help="leave out so many of the seed's order")
    reader.add_argument("--part", type=share, default=(1, 1), help="share k/n: the k-th, and every n-th after it")
    reader.add_argument("--no-recalculation", action="store_true", help="leave the spreadsheet program out")
    asked = reader.parse_args(arguments)
    total, failed, start = {}, 0, time.monotonic()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        spreadsheet = None if asked.no_recalculation else Spreadsheet(folder)
        chosen = of_share(list(range_edges(asked.seed))[asked.skip : asked.first], asked.part)
        size = 1 if spreadsheet is None else _BATCH
        for first in range(0, len(chosen), size):
            batch = chosen[first : first + size]
            try:
                counts = prove(batch, folder, spreadsheet)
            except Exception as error:  # noqa: BLE001 - whatever it is, it is a finding
                failed += 1
                print(
                    f"failed in {', '.join(label for label, _ in batch)}: {type(error).__name__}: {str(error)[:600]}",
                    flush=True,
                )
                continue
            total = {key: total.get(key, 0) + value for key, value in counts.items()}
    took = f"{time.process_time() + sum(os.times()[2:4]):.0f} s of processor time, {time.monotonic() - start:.0f} s"
    print(f"{len(chosen)} edges, {total}, {failed} batches failed, {took}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
