"""Terms of utilities and programmes: peak windows and incentives, as records of what was given.

They are described as inputs are (``terms.csv``), but no project needs them, and no path leads to them: they are part
of the project file, or of the table of terms of a form.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import field

from binestimator.dataclass import dataclass
from binestimator.inputs.problems import Problems, sentence
from binestimator.inputs.range_lines import range_lines
from binestimator.inputs.schema import TERM_SECTIONS, Record, fields_of, record_type
from binestimator.inputs.values import did_you_mean
from binestimator.inputs.weather_years import check_shares

#: Sections that are lists of tables; the others are one table.
TERM_LISTS = ("peak_window", "incentive", "energy_price", "demand_charge", "range", "weather_year")
#: The window that counts where a project names none.
USUAL_WINDOW = "Summer afternoons"


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """Records of the terms of a project.

    ``windows`` of peak demand, the one of ``USUAL_WINDOW`` where none is given · ``incentives`` · ``tariff``,
    ``energy_prices``, ``demand_charges`` of the utility · ``measures`` how savings are accounted for · ``bills`` of
    twelve months · ``draws`` of uncertain inputs, ``ranges`` of the project's own for them, and
    ``weather_years`` beside the project's own · ``given`` what was
    given, by section, for files and checksums.
    """

    windows: tuple[Record, ...]
    incentives: tuple[Record, ...]
    tariff: Record
    measures: Record
    bills: Record
    energy_prices: tuple[Record, ...] = ()
    demand_charges: tuple[Record, ...] = ()
    draws: Record = record_type("ranges")()
    ranges: tuple[Record, ...] = ()
    weather_years: tuple[Record, ...] = ()
    given: tuple[tuple[str, tuple[tuple[tuple[str, object], ...], ...]], ...] = field(default=(), repr=False)

    @property
    def has_tariff(self) -> bool:
        """Whether energy costs more than a price for each kWh and therm that is the same all year."""
        return bool(self.energy_prices or self.demand_charges)

    @property
    def window_assumed(self) -> bool:
        """Whether the one window is an assumption of the program."""
        return not any(section == "peak_window" for section, _ in self.given)

    def window_of(self, incentive: Record) -> int:
        """Place of the window whose kW an incentive pays for."""
        names = [window.name for window in self.windows]
        return names.index(incentive.window) if incentive.window else 0


NO_TERMS = Terms(
    windows=(record_type("peak_window")(name=USUAL_WINDOW),),
    incentives=(),
    tariff=record_type("tariff")(),
    measures=record_type("measures")(),
    bills=record_type("bills")(),
)


def terms_of(given: Mapping[str, list[dict]], problems: Problems, candidate_ids: Collection[str] = ()) -> Terms:
    """Records of checked tables; what does not fit together goes to ``problems``."""
    records = {}
    for section in TERM_SECTIONS:
        records[section] = _records(section, given.get(section, []), problems)
    if not any(given.values()):
        return NO_TERMS
    windows = records["peak_window"] or NO_TERMS.windows
    names = [window.name for window in windows]
    for window in windows:
        for name in ("months", "days"):
            if not getattr(window, name):
                problems.add(f"peak_window[{window.name}].{name}", "is empty", do=f"name at least one of the {name}")
        if not window.hours:
            problems.add(f"peak_window[{window.name}].hours", "is empty", do="give two clock hours such as [14, 18]")
    for incentive in records["incentive"]:
        where = f"incentive[{incentive.name}]"
        if incentive.window and incentive.window not in names:
            problems.add(
                f"{where}.window",
                "no such peak window",
                incentive.window,
                ", ".join(f'"{name}"' for name in names),
                did_you_mean(incentive.window, names),
            )
        longest = incentive.longest_payback_years
        if longest is not None and longest < incentive.shortest_payback_years:
            problems.add(
                f"{where}.longest_payback_years",
                "is below shortest_payback_years",
                longest,
                f"at least {incentive.shortest_payback_years:g} yr",
            )
    _check_tariff(records, problems)
    _check_ranges(records["range"], problems)
    check_shares(records["weather_year"], problems)
    measures = (records["measures"] or (NO_TERMS.measures,))[0]
    if measures.code_baseline and measures.code_baseline not in candidate_ids:
        problems.add(
            "measures.code_baseline",
            "no such candidate",
            measures.code_baseline,
            "the id of one of " + ", ".join(candidate_ids),
            did_you_mean(measures.code_baseline, candidate_ids),
        )
    kept = tuple(
        (section, tuple(tuple(table.items()) for table in tables)) for section, tables in given.items() if tables
    )
    return Terms(
        windows=tuple(windows),
        incentives=records["incentive"],
        tariff=(records["tariff"] or (NO_TERMS.tariff,))[0],
        measures=measures,
        bills=(records["bills"] or (NO_TERMS.bills,))[0],
        energy_prices=records["energy_price"],
        demand_charges=records["demand_charge"],
        draws=(records["ranges"] or (NO_TERMS.draws,))[0],
        ranges=records["range"],
        weather_years=records["weather_year"],
        given=kept,
    )


def _check_ranges(ranges: tuple[Record, ...], problems: Problems) -> None:
    """Ranges of inputs that there are, with low below high."""
    lines = range_lines()
    for one in ranges:
        where = f"range[{one.name}]"
        line = lines.get(one.name)
        if line is None:
            problems.add(
                f"{where}.name", "no such uncertain input", one.name, ", ".join(lines), did_you_mean(one.name, lines)
            )
            continue
        if not one.low < one.high:
            problems.add(f"{where}.high", "is not above low", one.high, f"above {one.low:g}")
        elif one.given_as == "value" and (len(line.paths) != 1 or "*" in line.paths[0]):
            problems.add(f"{where}.given_as", "the range is not of one input", one.given_as, '"factor"')
        elif one.given_as == "factor" and not one.low <= line.base <= one.high:
            problems.add(
                where,
                "does not hold the value in force",
                [one.low, one.high],
                f"low up to {line.base:g} and high from {line.base:g} on",
                "change the input itself, then say how far it may be off",
            )
        elif one.given_as == "factor" and line.base == 1.0 and one.low < 0.0:
            problems.add(f"{where}.low", "is a factor below 0", one.low, "0 or more")


def _check_tariff(records: Mapping, problems: Problems) -> None:
    """What does not fit together in a tariff."""
    for section in ("energy_price", "demand_charge"):
        for line in records[section]:
            for name in ("months", "days", "hours"):
                if not getattr(line, name):
                    do = f"leave {name} out for all of them, or name at least one"
                    problems.add(f"{section}[{line.name}].{name}", "is empty", do=do)
    for line in records["energy_price"]:
        where, before = f"energy_price[{line.name}]", 0.0
        for k in (2, 3):
            start, price = getattr(line, f"tier{k}_from"), getattr(line, f"tier{k}_usd")
            if (start is None) != (price is None):
                lacking = f"tier{k}_from" if start is None else f"tier{k}_usd"
                problems.add(f"{where}.{lacking}", "is missing", do=f"give both numbers of tier {k} or none")
            elif start is not None and start <= before:
                problems.add(f"{where}.tier{k}_from", "does not rise from tier to tier", start, f"above {before:g}")
            elif start is None and k == 2 and line.tier3_from is not None:
                problems.add(f"{where}.tier2_from", "is missing below a third tier", do="call it the second tier")
            before = start if start is not None else before
    if records["tariff"] and not (records["energy_price"] or records["demand_charge"]):
        problems.add(
            "tariff",
            "has riders, taxes or other loads, but no line of prices",
            do="add [[energy_price]] or [[demand_charge]]; one line without months is a price of the whole year",
        )


def _records(section: str, tables: list[dict], problems: Problems) -> tuple[Record, ...]:
    made, seen = [], set()
    for place, values in enumerate(tables):
        name = values.get("name", "")
        where = f"{section}[{name or f'#{place + 1}'}]"
        lacking = [f for f in fields_of(section).values() if f.required and f.name not in values]
        for f in lacking:
            path = f"{where}.{f.name}"
            if path not in problems.bad:
                problems.add_bad(path, sentence("is missing", expected=f.allowed, do=f"give it: {f.description}"))
        if lacking:
            continue
        if section in TERM_LISTS and name.casefold() in seen:
            problems.add(where, "the name is given twice", expected="unique names", do="rename one of them")
        seen.add(name.casefold())
        made.append(record_type(section)(**values))
    return tuple(made)
