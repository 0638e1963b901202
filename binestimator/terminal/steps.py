"""Blocks of runs at time steps: savings as run, indicators, the cost-seeking controller."""

from __future__ import annotations

from binestimator.as_run.warm import warm_words
from binestimator.results import AS_RUN

from .line import mark_of, plain_ascii, tenths, whole, wrapped


def as_run_lines(results) -> list[str]:
    """Savings at time steps beside those of rooms at rest."""
    if results.as_run is None:
        return []
    others = [c for c in results.candidates if c.id != results.baseline_id and c.id in results.as_run]
    cells = [
        (
            f"{mark_of(results, c)} {c.id}",
            tenths(results.as_run_points(c.id)[0]),
            tenths(results.as_run_corrected_points(c.id)),
            tenths(results.as_run_points(c.id)[1]),
            whole(results.as_run[c.id].saving["cost_usd"]),
            tenths(results.as_run[c.id].annual["mean_sat_f"]),
            f"{results.as_run[c.id].annual['mean_dsp_inwc']:.2f}",
        )
        for c in others
    ]
    heads = (
        ("  Option", ""),
        ("At rest", "%"),
        ("Corrected", "%"),
        ("As run", "%"),
        ("As run", "USD"),
        ("Mean SAT", "degF"),
        ("Mean DSP", "in. w.c."),
    )
    widths = (8, 11, 8, 9, 9, 9)
    first = max([len("  Option"), *(len(row[0]) for row in cells)]) + 2
    line = lambda row: "".join([row[0].ljust(first), *(cell.rjust(w) for cell, w in zip(row[1:], widths))]).rstrip()
    return [
        *wrapped(
            "savings of energy cost hour by hour with rooms at rest, the same corrected by the heat that rooms store, "
            "and at time steps with rooms that have mass, requests that latch and trim and respond; "
            + ("ranks, service and marks go by the runs" if results.ranked_by == AS_RUN else "ranks go by the bins"),
            "As run    ",
        ),
        "",
        line([head for head, _ in heads]),
        line([unit for _, unit in heads]),
        "-" * (first + sum(widths)),
        *(line(row) for row in cells),
        *_warm(results),
        *_changed(results),
        *seeking_lines(results),
    ]


def _warm(results) -> list[str]:
    """Options that leave rooms too warm as run: where and when."""
    told: dict[str, list[str]] = {}
    for id_ in results.as_run:
        words = warm_words(results, id_)
        if words:
            told.setdefault(words, []).append(id_)
    if not told:
        return []
    lines = ["", *wrapped("rooms too warm as run, by the limit of equal service", "Warm      ")]
    for words, ids in told.items():
        lines += wrapped(f"{', '.join(ids)}: {_in_words(words)}", "  ", "    ")
    return lines


def _changed(results) -> list[str]:
    """Repairs and remedies as run, beside rooms at rest."""
    if not results.changed_as_run:
        return []
    lines = ["", *wrapped("repairs and remedies as run, savings in USD a year", "Repaired  ")]
    for each in results.changed_as_run:
        rest = "" if each.after_at_rest_usd is None else f" ({whole(each.after_at_rest_usd)} at rest)"
        alone = f", {whole(each.alone_usd)} of it without the reset" if each.alone_usd else ""
        serves = "" if each.serves else "; rooms worse"
        lines += wrapped(
            f"{each.candidate_id}: {_in_words(each.text)}: saves {whole(each.after_usd)}{rest}{alone}, "
            f"{whole(each.saving_usd)} as found{serves}",
            "  ",
            "    ",
        )
    return lines


def _in_words(text: str) -> str:
    return plain_ascii(text.replace("°F·h", "degF.h").replace("°F", "degF"))


def indicator_lines(results) -> list[str]:
    """What weakens resets, as run: changes of saving, fan energy and starved hours."""
    if results.indicators is None:
        return []
    if not results.indicators:
        return wrapped("no option that indicators could be told of", "What if   ")
    out = wrapped(
        "options as run with something wrong beside the same without it, each against the baseline in the same "
        "building; sizes of what is wrong are inputs (as_run)",
        "What if   ",
    )
    out += ["", f"{'Saving clean':>14}{'wrong':>9}{'change':>11}{'Fans':>11}{'Starved':>11}{'Too warm':>12}",
            f"{'%':>14}{'%':>9}{'USD':>11}{'kWh':>11}{'zone h':>11}{'zone degF.h':>12}", "-" * 68]  # fmt: skip
    for found in results.indicators:
        clean, wrong = found.saving_pct
        option = f"{found.candidate_id} with that strategy" if found.made else found.candidate_id
        out += wrapped(f"{option}: {found.text}", "  ", "    ")
        changes = (
            found.change_of_saving_usd(),
            *(found.change(key) for key in ("fan_kwh", "starved_zone_hours", "unmet_degree_hours")),
        )
        out.append(
            f"{tenths(clean):>14}{tenths(wrong):>9}"
            + "".join(f"{round(v) + 0:+,d}".rjust(w) for v, w in zip(changes, (11, 11, 11, 12)))
        )
    return out


def seeking_lines(results) -> list[str]:
    """What cost-seeking controllers reach of the least cost, with figures and readings as given and with wrong ones."""
    lines: list[str] = []
    for id_, run in results.as_run.items():
        sought = run.sought
        if sought is None:
            continue
        share = sought.at_rest_of_ideal
        lines += [
            "",
            *wrapped(
                f"{id_} as run, of what least-cost supply air saves beyond the baseline's at the same duct pressure "
                f"({whole(sought.plain_usd - sought.ideal_usd)} USD as run)"
                + ("" if share is None else f"; {whole(100.0 * share)} % of it with rooms at rest"),
                "  cost-seeking  ",
            ),
        ]
        width = max(len(case.words) for case in sought.cases)
        lines += [
            f"    {case.words.replace('°F', 'degF').ljust(width + 4)}"
            + ("-" if case.of_ideal is None else f"{100.0 * case.of_ideal:.0f} %").rjust(6)
            + f"{whole(case.saving_usd)} USD saved".rjust(20)
            for case in sought.cases
        ]
    return lines
