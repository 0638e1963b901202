"""Options at time steps beside rooms at rest: savings, figures, zones that ask, and three days step by step."""

from __future__ import annotations

import numpy as np

from ...as_run.warm import warm_words
from ...results import AS_RUN
from ...strategies.registry import dsp_strategy, sat_strategy
from ..charts import fill_of, line_of, pixels_of, place_at, put_in_pairs, style_chart
from ..figures import number_of, used_end_uses
from ..formats import LINES, money_words
from ..page import Work, height_of, lines_of, title
from ..strict import ROW_PIXELS, Sheet
from .patterns import short_names, table

_LABEL_WIDTH, _WIDTH = 42, 13.5
_CHART_PIXELS, _CHARTS_ROW = 240, 4
_TABLES_ROW = _CHARTS_ROW + 3 * (_CHART_PIXELS // ROW_PIXELS + 1) + 1
_SHARES = ("Share of perfect resets at rest, %", "Share of perfect resets as run, %")
_SAVING_HEADS = (
    "At rest, %",
    "At rest corrected by room heat, %",
    "As run, %",
    "Difference, points",
    "By room heat, points",
    "By loops, points",
    "As run, USD a year",
    "Mean SAT at rest, °F",
    "Mean SAT as run, °F",
    "Mean DSP at rest, in. w.c.",
    "Mean DSP as run, in. w.c.",
    *_SHARES,
)
# Steps of a day are shown as means of so many minutes.
_MINUTES = 10
_DAYS = ("A cold day", "A mild day", "A hot day")
_TRACES = (
    ("sat_set_f", "Supply air setpoint, °F", "f1"),
    ("temperature_requests", "Requests for colder air, weighted", "f1"),
    ("dsp_set_inwc", "Duct static setpoint, in. w.c.", "f2"),
    ("pressure_requests", "Requests for pressure, weighted", "f1"),
)


def write(work: Work, sheet: Sheet) -> None:
    """Write the sheet; results must have been run at time steps."""
    results, runs = work.results, work.results.as_run or {}
    shown = [k for k, c in enumerate(results.candidates) if c.id in runs]
    names = short_names(results, shown)
    options = [results.candidates[k] for k in shown]
    columns = max(len(names), 10)
    title(
        work,
        sheet,
        "As run",
        "Each option in steps of minutes, as controllers run it: rooms with mass, zone loops, requests that latch, "
        "trim and respond. At rest: the hour-by-hour run.",
        link_column=columns,
    )
    sheet.text(
        2,
        0,
        ("Service and ranks go by these runs. " if results.ranked_by == AS_RUN else "Ranks go by the bins. ")
        + "These are values of the run: an edit of inputs does not reach them. "
        "Inputs of section as_run say what controllers and rooms are taken to be.",
        work.styles("subtitle"),
    )
    sheet.widths([_LABEL_WIDTH, *[_WIDTH] * columns])
    points = [results.as_run_points(c.id) for c in options]
    causes = [results.as_run_causes(c.id) for c in options]
    annual, heated = ([getattr(runs[c.id], part) for c in options] for part in ("annual", "with_room_heat"))
    row = table(
        work,
        sheet,
        _TABLES_ROW,
        "as_run_saving",
        "Saving of energy cost, % of the baseline's, and the setpoints behind it",
        "Option",
        names,
        [money_words(head) for head in _SAVING_HEADS],
        [
            [rest for rest, _ in points],
            [results.as_run_corrected_points(c.id) for c in options],
            [run for _, run in points],
            [run - rest for rest, run in points],
            *([cause[k] for cause in causes] for k in (0, 1)),
            [runs[c.id].saving["cost_usd"] for c in options],
            [c.hourly["mean_sat_f"] for c in options],
            [a["mean_sat_f"] for a in annual],
            [c.hourly["mean_dsp_inwc"] for c in options],
            [a["mean_dsp_inwc"] for a in annual],
            [_percent(results.share_of_bound(c.id)) for c in options],
            [_percent(results.share_of_bound_as_run(c.id)) for c in options],
        ],
        "f2",
        numbered=True,
    )
    uses = [(key, label) for key, label, _ in used_end_uses(results)] + [
        ("reheat_kbtu", "Reheat at the coil, kBtu"),
        ("cost_usd", money_words("Energy cost, USD")),
        ("unmet_degree_hours", "Too warm, zone °F·h"),
        ("cold_zone_hours", "Too cold, zone h"),
        ("starved_zone_hours", "Starved, zone h"),
    ]
    row = table(
        work, sheet, row, "as_run_annual", "Annual figures as run", "Figure", [label for _, label in uses], names,
        [[a[key] for key, _ in uses] for a in annual], "f0",
    )  # fmt: skip
    change = lambda run, rest: 100.0 * (run / rest - 1.0) if abs(rest) > 1e-9 else np.nan
    rest = [c.hourly for c in options]
    for key, label, after, before in (
        ("as_run_by_heat", "Change by the heat that rooms store, % of rooms at rest", heated, rest),
        ("as_run_by_loops", "Change by loops, % of rooms at rest that release the same heat", annual, heated),
    ):
        row = table(
            work, sheet, row, key, label, "Figure", [use for _, use in uses[:-3]], names,
            [[change(a[use], b[use]) for use, _ in uses[:-3]] for a, b in zip(after, before)], "f1",
        )  # fmt: skip
    row = _warm(work, sheet, row, options, columns)
    row = _changed(work, sheet, row)
    row = _indicators(work, sheet, row)
    row = _zones(work, sheet, row, options)
    row = _cost_seeking(work, sheet, row, options)
    row = _days(work, sheet, row, options)
    _charts(work, sheet, columns, [number_of(results, c.id) for c in _traced(results, options)])
    sheet.freeze(0, 1)
    sheet.on_paper(
        footer=work.footer, last_row=row, last_column=columns, repeat_columns=(0, 0), pages_wide=1 + columns // 14
    )


def _listeners(options) -> list:
    """Options in which a setpoint goes by requests."""
    return [c for c in options if sat_strategy(c.candidate.sat).listens or dsp_strategy(c.candidate.dsp).listens]


def _warm(work: Work, sheet: Sheet, row: int, options, columns: int) -> int:
    """Options that leave rooms warmer than is allowed as run: where, when, and what acts on it."""
    results, runs = work.results, work.results.as_run or {}
    found = [(c, warm) for c in options if (warm := runs[c.id].warm) is not None]
    if not found:
        return row
    row = table(
        work, sheet, row, "as_run_warm", "Rooms too warm as run, beyond the limit of equal service", "Option",
        short_names(results, [results.candidates.index(c) for c, _ in found]),
        ["Rise in the worst zone, °F·h", "Allowed, °F·h", "Baseline as run, °F·h", "In the first hour, %"],
        list(zip(*((w.rise_degree_hours, w.limit_degree_hours, w.baseline_degree_hours, 100.0 * w.at_start_frac)
                   for _, w in found))),
        "f0",
    )  # fmt: skip
    told: dict[str, list[str]] = {}
    for c, _ in found:
        told.setdefault(warm_words(results, c.id), []).append(str(number_of(results, c.id)))
    row -= 1
    for words, numbers in told.items():
        text = f"Option{'s' if len(numbers) > 1 else ''} {', '.join(numbers)}. {words}"
        sheet.merged_text(row, 0, row, columns, text, work.styles("wrap", "small"))
        sheet.height(row, height_of(lines_of(text, _LABEL_WIDTH + columns * _WIDTH, 8.0), 8.0))
        row += 1
    return row + 1


def _changed(work: Work, sheet: Sheet, row: int) -> int:
    """Repairs and remedies of options as run, beside the same with rooms at rest."""
    results, found = work.results, work.results.changed_as_run
    if not found:
        return row
    nan = lambda value: np.nan if value is None else value
    return table(
        work, sheet, row, "as_run_changed", "Options with repairs and remedies as run", "Option and change",
        [f"{number_of(results, each.candidate_id)} {each.text}{'' if each.serves else ' (▲ rooms worse)'}"
         for each in found],
        [money_words(head) for head in ("Saving as found, USD a year", "Saving with it, USD a year",
                                        "Of it without the reset, USD a year", "With it at rest, USD a year")],
        list(zip(*((each.saving_usd, each.after_usd, each.alone_usd, nan(each.after_at_rest_usd)) for each in found))),
        "f0",
    )  # fmt: skip


def _indicators(work: Work, sheet: Sheet, row: int) -> int:
    """Options with something wrong beside the same without it, each against the baseline in the same building."""
    found = work.results.indicators
    if not found:
        return row
    said = lambda i: f"{i.candidate_id}{' with that strategy' if i.made else ''}: {i.text}"
    return table(
        work, sheet, row, "as_run_indicators",
        "Indicators: options as run with something wrong, beside the same without it (its size is an input of as_run)",
        "Option and what is wrong", [said(i) for i in found],
        ["Saving without it, %", "Saving with it, %", money_words("Change of saving, USD a year"),
         "Change of fan energy, kWh",
         "Change of starved hours, zone h", "Change of warmth, zone °F·h", "Change of reheat, kBtu"],
        [*zip(*(i.saving_pct for i in found)), [i.change_of_saving_usd() for i in found],
         *([i.change(key) for i in found]
           for key in ("fan_kwh", "starved_zone_hours", "unmet_degree_hours", "reheat_kbtu"))],
        "f1",
    )  # fmt: skip


def _zones(work: Work, sheet: Sheet, row: int, options) -> int:
    """Hours in which each zone asks, by option that goes by requests: which zones drive the resets."""
    results, runs = work.results, work.results.as_run or {}
    places = [k for k, c in enumerate(results.candidates) if c in _listeners(options)]
    for key, label in (
        ("temperature_request_hours", "Hours in which a zone asks for colder air (one zone of each line)"),
        ("pressure_request_hours", "Hours in which a zone asks for duct pressure (one zone of each line)"),
    ):
        if places:
            row = table(
                work, sheet, row, f"as_run_{key}", label, "Zone", list(results.unit.zones.names),
                short_names(results, places), [runs[results.candidates[k].id].zones[key] for k in places], "f0",
            )  # fmt: skip
    return row


def _cost_seeking(work: Work, sheet: Sheet, row: int, options) -> int:
    """What each cost-seeking controller reaches of the least cost, as given and with wrong figures and readings."""
    runs = work.results.as_run or {}
    for c in options:
        sought = runs[c.id].sought
        if sought is None:
            continue
        cases = sought.cases
        row = table(
            work,
            sheet,
            row,
            f"as_run_sought_{number_of(work.results, c.id)}",
            f"{number_of(work.results, c.id)} {c.name}: of what least-cost supply air saves beyond the baseline's at "
            "the same duct pressure",
            "Controller",
            [*(case.words for case in cases), "least cost (limit of control)"],
            [
                "Share reached, %",
                money_words("Saving as run, USD a year"),
                "Mean SAT as run, °F",
                "Too warm, zone °F·h",
            ],
            [
                [*(_percent(case.of_ideal) for case in cases), _percent(None if cases[0].of_ideal is None else 1.0)],
                [*(case.saving_usd for case in cases), sought.ideal_saving_usd],
                [*(case.mean_sat_f for case in cases), np.nan],
                [*(case.unmet_degree_hours for case in cases), np.nan],
            ],
            "f1",
        )
    return row


def _days(work: Work, sheet: Sheet, row: int, options) -> int:
    """Setpoints and requests of the baseline and of the option that saves most by requests, on three days."""
    results, runs = work.results, work.results.as_run or {}
    pair = _traced(results, options)
    if not pair:
        return row
    best = pair[-1]
    for day, (of_year, words) in enumerate(zip(runs[best.id].trace_days, _DAYS)):
        per_hour = runs[best.id].trace["sat_set_f"].shape[1] // 24
        width = per_hour * _MINUTES // 60
        means = lambda values, width=width: values.reshape(-1, width).mean(axis=1)
        times = (np.arange(24 * 60 // _MINUTES) + 0.5) * _MINUTES / 60.0
        columns = [means(runs[c.id].trace[key][day]) for c in pair for key, _, _ in _TRACES]
        row = table(
            work,
            sheet,
            row,
            f"as_run_day_{day}",
            f"{words}, day {of_year + 1} of the year, means of {_MINUTES} minutes, standard time",
            "Hour",
            times.tolist(),
            [f"{c.name}: {label}" for c in pair for _, label, _ in _TRACES],
            columns,
            "f2",
        )
    return row


def _percent(share: float | None) -> float:
    """A share in %; NaN where there is none, as where more than setpoints changes."""
    return np.nan if share is None else 100.0 * share


def _traced(results, options) -> list:
    """The baseline and the option that saves most by requests; empty where none goes by them."""
    listening = _listeners(options)
    if not listening:
        return []
    return [results.baseline, max(listening, key=lambda c: (results.as_run or {})[c.id].saving["cost_usd"])]


def _charts(work: Work, sheet: Sheet, columns: int, numbers: list[int]) -> None:
    """Savings at rest and as run; setpoints and requests of the mild day before and after."""
    pixels = [pixels_of(w) for w in (_LABEL_WIDTH, *[_WIDTH] * columns)]
    half = sum(pixels[:9]) // 2
    middle = place_at(pixels, half)
    size = (half - 4, _CHART_PIXELS)
    charts = []
    for heads, label, unit in (
        (("At rest, %", "As run, %"), "Saving at rest and as run", "% of energy cost"),
        (_SHARES, "Share reached of what perfect resets would save", "%"),
    ):
        bars = work.book.chart("column")
        for head, name, (colour, *_) in zip(heads, ("at rest", "as run"), LINES):
            _, categories, values = work.blocks["as_run_saving"].series(_SAVING_HEADS.index(head))
            fill = fill_of(colour, hatched=name == "as run")
            bars.add_series({"name": name, "categories": categories, "values": values, "gap": 60, **fill})
        style_chart(bars, label, "Option", unit, size=size, y_format="0", legend_lines=1)
        charts.append(bars)
    block = work.blocks.get("as_run_day_1")
    if block is not None:
        # The legend says before and after by numbers of options: names can be long.
        pair = [f"{word} (option {number})" for word, number in zip(("before", "after"), numbers)]
        for place, label, unit, y_format in (
            (0, "Supply air setpoint on the mild day", "°F", "0"),
            (1, "Requests for colder air on the mild day", "weighted requests", "0"),
            (2, "Duct static setpoint on the mild day", "in. w.c.", "0.0"),
            (3, "Requests for duct pressure on the mild day", "weighted requests", "0"),
        ):
            chart = work.book.chart("scatter", "straight")
            for k, option in enumerate(pair):
                _, categories, values = block.series(place + k * len(_TRACES))
                line = line_of(k)["line"]
                chart.add_series({"name": option, "categories": categories, "values": values, "line": line})
            style_chart(
                chart,
                label,
                "Hour of the day",
                unit,
                size=size,
                x_range=(0.0, 24.0),
                x_unit=3.0,
                y_format=y_format,
                legend_lines=1,
            )
            charts.append(chart)
    put_in_pairs(sheet, charts, _CHARTS_ROW, _CHART_PIXELS, middle)
