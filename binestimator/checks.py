"""Checks of a run: what must hold, what should be plausible, and what a reader must know.

``pass`` holds; ``explain`` lies outside what is published or usual and says what drives it;
``fail`` must not happen.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from .benchmarks import benchmarks
from .end_uses import END_USES, ENERGY_KEYS, KBTU_IN, site_kbtu
from .errors import Finding
from .inputs.defaults import paths_by
from .inputs.schema import fields_of, value_text
from .model.air_handler import ROOM_SATURATION_F, design_outdoor_air_cfm
from .model.system import balance_error_btuh, moisture_error_btuh
from .moist_air import saturation_humidity_ratio
from .results import ANNUAL, CHANGED_SERVICE, COUNT_KEYS, Check
from .service import FAILURES
from .strategies.registry import strategies_of

# Accuracy required of the bin rows against the hours, per candidate.
COST_ERROR_FRAC = 0.005
END_USE_ERROR_FRAC = 0.01
SAVING_ERROR_POINTS = 0.3
BALANCE_ERROR_FRAC = 1e-9
_UNIT_OF = {use.key: use.unit for use in END_USES}


def end_use_kbtu(figures: dict[str, float], key: str) -> float:
    """An end use in kBtu."""
    return figures[key] * KBTU_IN[_UNIT_OF[key]]


def figure_errors(figures, hourly, base, base_hourly) -> dict[str, float]:
    """Errors of annual figures of one candidate against its hourly ones, with those of the baseline.

    ``cost_frac``; ``saving_points`` (percentage points of the baseline's cost); every end use as
    a share of all HVAC energy.
    """
    total = max(site_kbtu(hourly), 1e-9)
    out = {"cost_frac": (figures["cost_usd"] - hourly["cost_usd"]) / max(hourly["cost_usd"], 1e-9)}
    by_bins = 1.0 - figures["cost_usd"] / max(base["cost_usd"], 1e-9)
    by_hours = 1.0 - hourly["cost_usd"] / max(base_hourly["cost_usd"], 1e-9)
    out["saving_points"] = 100.0 * (by_bins - by_hours)
    for key in ENERGY_KEYS:
        out[key] = (end_use_kbtu(figures, key) - end_use_kbtu(hourly, key)) / total
    return out


def bin_errors(candidate, baseline, which="annual") -> dict[str, float]:
    """Errors (see :func:`figure_errors`) of the bin rows (``which`` "annual") or of classic mean bins ("classic") of
    one candidate."""
    return figure_errors(getattr(candidate, which), candidate.hourly, getattr(baseline, which), baseline.hourly)


def worst_bin_errors(candidates, baseline) -> dict[str, float]:
    """Largest absolute errors of the bin rows over all candidates (see ``results.RowChoice``)."""
    errors = [bin_errors(c, baseline) for c in candidates]
    return {
        "worst_cost_frac": max(abs(e["cost_frac"]) for e in errors),
        "worst_end_use_frac": max(abs(e[key]) for e in errors for key in ENERGY_KEYS),
        "worst_saving_points": max(abs(e["saving_points"]) for e in errors),
    }


def bin_status(error, bound, representative: bool) -> str:
    """``pass`` within the bound; beyond it ``explain`` for mean rows, which average unlike hours, else ``fail``."""
    return "pass" if abs(error) <= bound else "fail" if representative else "explain"


def bin_accuracy_table(results) -> pd.DataFrame:
    """Bins against hours: every candidate by cost, saving and end use, with classic mean bins beside.

    Parameters
    ----------
    results : Results

    Returns
    -------
    DataFrame
        One line a candidate and quantity: ``candidate, name, quantity`` (``cost_usd``,
        ``saving_pct`` of the baseline's cost, or one of ``ENERGY_KEYS`` that some candidate
        uses), ``label, unit``; figures ``hourly, bins, classic`` (bin rows of the run, and classic
        mean bins of the same grouping); errors ``bins_error, classic_error`` and their ``bound``,
        all in ``error_unit`` ("% of the cost", "% of all HVAC energy", "points"); ``status``
        (pass, explain, fail) of the bins and ``classic_status``; ``bins_error_usd,
        classic_error_usd`` where the quantity has a price, else NaN. [USD]
    """
    base, prices = results.baseline, results.unit.prices
    representative = results.project.bins.rows == "representative"
    labels = {key: (label, unit) for key, label, unit, _ in ANNUAL}
    price = {use.key: getattr(prices, use.price) for use in END_USES} | {"cost_usd": 1.0}
    used = [key for key in ENERGY_KEYS if any(c.hourly[key] != 0.0 or c.annual[key] != 0.0 for c in results.candidates)]
    lines = []

    def add(c, quantity, label, unit, figures, errors, bound, error_unit):
        bins, classic = errors
        usd = [(figures[k] - figures[0]) * price[quantity] if quantity in price else np.nan for k in (1, 2)]
        lines.append(
            {
                "candidate": c.id,
                "name": c.name,
                "quantity": quantity,
                "label": label,
                "unit": unit,
                "hourly": figures[0],
                "bins": figures[1],
                "classic": figures[2],
                "bins_error": bins,
                "classic_error": classic,
                "bound": bound,
                "error_unit": error_unit,
                "status": bin_status(bins, bound, representative),
                "classic_status": bin_status(classic, bound, False),
                "bins_error_usd": usd[0],
                "classic_error_usd": usd[1],
            }
        )

    for c in results.candidates:
        three = (c.hourly, c.annual, c.classic)
        ours, theirs = bin_errors(c, base), bin_errors(c, base, "classic")
        add(
            c,
            "cost_usd",
            *labels["cost_usd"],
            [f["cost_usd"] for f in three],
            (100.0 * ours["cost_frac"], 100.0 * theirs["cost_frac"]),
            100.0 * COST_ERROR_FRAC,
            "% of the cost",
        )
        if c.id != base.id:
            saved = [
                100.0 * (1.0 - f["cost_usd"] / max(b["cost_usd"], 1e-9))
                for f, b in zip(three, (base.hourly, base.annual, base.classic))
            ]
            add(
                c,
                "saving_pct",
                "Saving",
                "% of the baseline's cost",
                saved,
                (ours["saving_points"], theirs["saving_points"]),
                SAVING_ERROR_POINTS,
                "points",
            )
        for key in used:
            add(
                c,
                key,
                *labels[key],
                [f[key] for f in three],
                (100.0 * ours[key], 100.0 * theirs[key]),
                100.0 * END_USE_ERROR_FRAC,
                "% of all HVAC energy",
            )
    return pd.DataFrame(lines)


def count_accuracy_table(results) -> pd.DataFrame:
    """Counts of the hourly run, which are those shown, beside what the bin rows would give.

    Returns
    -------
    DataFrame
        One line a candidate and count of ``results.COUNT_KEYS`` that is not 0 in both:
        ``candidate, name, count, label, unit, hourly, bins, error`` (bins - hourly).
    """
    labels = {key: (label, unit) for key, label, unit, _ in ANNUAL}
    lines = []
    for c in results.candidates:
        for key in COUNT_KEYS:
            hourly, bins = c.hourly[key], c.annual[key]
            if hourly != 0.0 or bins != 0.0:
                label, unit = labels[key]
                lines.append(
                    {
                        "candidate": c.id,
                        "name": c.name,
                        "count": key,
                        "label": label,
                        "unit": unit,
                        "hourly": hourly,
                        "bins": bins,
                        "error": bins - hourly,
                    }
                )
    return pd.DataFrame(lines, columns=["candidate", "name", "count", "label", "unit", "hourly", "bins", "error"])


def run_checks(project, weather, unit, results, baseline, runs, selection, interactions, baseline_service):
    """Checks and findings of a run.

    Returns
    -------
    tuple of Check, tuple of Finding
    """
    checks = [
        *_hours(results, weather),
        _balance(runs),
        *_unserved(results),
        *_bins(results, baseline, project),
        *_published(results, baseline, project),
        *_signs(results, baseline),
        *_benchmarks(found := benchmarks(runs[baseline.id][0].unit, baseline.annual)),
    ]
    return tuple(checks), (*_price_findings(found), *_findings(project, unit, results, baseline, baseline_service))


def _benchmarks(found):
    """Figures of the baseline outside what is usual; prices have findings of their own."""
    for b in found:
        if not b.usual and not b.price:
            yield Check(
                name=b.label,
                status="explain",
                value=f"{b.value:.3g} {b.unit}",
                expected=f"{b.low:g} to {b.high:g} {b.unit}",
                text=f"Outside what is usual: {b.remark}.",
                source=b.source,
            )


def _price_findings(found):
    for b in found:
        if not b.usual and b.price:
            yield Finding(
                "check", "prices", f"{b.label} {b.value:g} {b.unit}, usual {b.low:g} to {b.high:g}: {b.remark}."
            )


def _hours(results, weather):
    expected = float(len(weather.frame))
    for c in results:
        found = c.annual["hours"]
        if abs(found - expected) > 1e-6:
            yield Check(
                name=f"Hours of {c.id}",
                status="fail",
                value=f"{found:,.3f}",
                expected=f"{expected:,.0f}",
                text="Rows must represent every hour of the file.",
            )
            return
    yield Check(
        name="Hours",
        status="pass",
        value=f"{results[0].annual['hours']:,.1f} h",
        expected=f"{expected:,.0f} h",
        text="Weights of all rows of every candidate total the hours of the weather file.",
    )


def _balance(runs):
    worst, where = 0.0, ""
    for name, (site, parts_h, parts_r) in runs.items():
        for rows, parts in ((site.rows, parts_r), (site.hourly, parts_h)):
            if len(rows.running) == 0:
                continue
            for p in parts:
                scale = np.maximum(1000.0 * p.state.cooling_kbtuh, rows.loads.fs * p.state.flow_cfm * 20.0)
                error = np.abs(balance_error_btuh(site.unit, rows.on, rows.loads, p.state)) / np.maximum(scale, 1.0)
                if error.max() > worst:
                    worst, where = float(error.max()), name
                moist = np.abs(moisture_error_btuh(site.unit, rows.on, rows.loads, p.state)) / np.maximum(scale, 1.0)
                # Rooms with hardly any exchange of air are held at saturation and cannot balance.
                held = p.state.room_humidity_ratio >= saturation_humidity_ratio(
                    ROOM_SATURATION_F, rows.on.pressure_psia
                ) * (1.0 - 1e-9)
                moist = np.where(held, 0.0, moist)
                if moist.max() > worst:
                    worst, where = float(moist.max()), name + " (moisture)"
    ok = worst < BALANCE_ERROR_FRAC
    return Check(
        name="Balance of heat and moisture",
        status="pass" if ok else "fail",
        value=f"{worst:.1e}",
        expected=f"below {BALANCE_ERROR_FRAC:.0e}",
        text="Gains, envelope, fans, outdoor air and coils of every row sum to nothing, as a share of the coil load"
        + (f"; worst in {where}." if where else "."),
    )


# Cooling or heat beyond the plant above this share of the coil's year needs an explanation.
UNSERVED_FRAC = 0.005


def _unserved(results):
    """Loads that no plant serves: they cost nothing, so that a candidate could look cheap."""
    for c in results:
        h = c.hourly
        coil = h["cooling_sensible_kbtu"] + h["cooling_latent_kbtu"]
        heat = h["reheat_kbtu"] + h["preheat_kbtu"]
        for what, key, total in (("Cooling", "unserved_cooling_kbtu", coil), ("Heat", "unserved_heating_kbtu", heat)):
            share = h[key] / total if total > 0.0 else 0.0
            if share > UNSERVED_FRAC:
                yield Check(
                    name=f"{what} not served: {c.id}",
                    status="explain",
                    value=f"{100.0 * share:.1f} %",
                    expected=f"at most {100.0 * UNSERVED_FRAC:.1f} %",
                    text="Load beyond what its plant can give, which costs nothing here: raise the capacity, lower "
                    "the lockout, or read the cost with care.",
                )


def _bins(results, baseline, project):
    labels = {key: label for key, label, _, _ in ANNUAL}
    for c in results:
        e = bin_errors(c, baseline)
        key = max(ENERGY_KEYS, key=lambda k: abs(e[k]))
        good = (
            abs(e["cost_frac"]) <= COST_ERROR_FRAC
            and abs(e[key]) <= END_USE_ERROR_FRAC
            and abs(e["saving_points"]) <= SAVING_ERROR_POINTS
        )
        status = "pass" if good else "explain" if project.bins.rows == "mean" else "fail"
        text = "Annual figures from the bin rows against the hour-by-hour run of the same equations"
        text += (
            "."
            if good
            else (
                "; mean rows average unlike hours before what is not linear, choose representative rows."
                if project.bins.rows == "mean"
                else "; use narrower bins or split them by month."
            )
        )
        yield Check(
            name=f"Bins against hours: {c.id}",
            status=status,
            value=f"cost {100 * e['cost_frac']:+.2f} %, saving {e['saving_points']:+.2f} points, "
            f"{labels[key].lower()} {100 * e[key]:+.2f} % of all energy",
            expected=f"±{100 * COST_ERROR_FRAC:.1f} %, ±{SAVING_ERROR_POINTS} points, ±{100 * END_USE_ERROR_FRAC:.0f} "
            "%",
            text=text,
        )


# Hours short of outdoor air above this share of the running hours are reported, and humid hours beyond the
# baseline's by this share.
OA_SHORT_FRAC = 0.01
HUMID_FRAC = 0.005
# A saving that shrinks by more than this share at equal outdoor air is reported.
OA_SAVING_FRAC = 0.02
NOT_VENTILATED = "Energy saved in this way is ventilation not provided: put it right before judging a reset."


def short_of_outdoor_air(candidates, baseline) -> tuple[str, ...]:
    """Ids of the baseline where it runs short of outdoor air in more than a few hours, and of candidates in which that
    lasts longer."""
    some = OA_SHORT_FRAC * baseline.hourly["running_hours"]
    before = baseline.hourly["oa_short_hours"]
    return tuple(
        c.id for c in candidates if c.hourly["oa_short_hours"] > (0.0 if c.id == baseline.id else before) + some
    )


def more_humid(candidates, baseline) -> tuple[str, ...]:
    """Ids of candidates in which rooms stay humid for longer than in the baseline by more than a few hours: a caution,
    not judged."""
    some = HUMID_FRAC * baseline.hourly["running_hours"]
    return tuple(c.id for c in candidates if c.hourly["humid_hours"] > baseline.hourly["humid_hours"] + some)


def saves_by_ventilation(candidates, baseline) -> tuple[str, ...]:
    """Ids of candidates whose saving differs at equal outdoor air, by more than rounding and a small share of it."""
    some = lambda c: max(OA_SAVING_FRAC * abs(c.saving["cost_usd"]), 0.0005 * baseline.annual["cost_usd"])
    return tuple(c.id for c in candidates if abs(c.oa_not_given_usd) > some(c))


def baseline_failures(baseline_service) -> tuple[tuple[str, str, str], ...]:
    """What the baseline fails in, in words: (word, sentence, confirmed or what to do)."""
    out = []
    for word, path, why in baseline_service.suspects:
        known = word in baseline_service.confirmed
        do = (
            "confirmed as found by the project"
            if known
            else f'check {path}; if it is so, give the evidence and confirm it: service.as_found_confirmed = ["{word}"]'
        )
        out.append((word, f"{FAILURES[word]} ({why})", do))
    return tuple(out)


PUBLISHED = (
    "PNNL-25985 (2017): static pressure reset saves 5-30 % of fan energy; supply temperature reset 1-4.4 % of site "
    "energy"
)


def _published(results, baseline, project):
    """Savings of single resets against published bands, as plausibility only."""
    base = baseline.annual
    for c in results:
        if c is baseline or c.candidate.overrides:
            continue
        same_sat = c.candidate.sat == baseline.candidate.sat
        same_dsp = c.candidate.dsp == baseline.candidate.dsp
        if same_sat and not same_dsp and base["fan_kwh"] > 0:
            share = 100.0 * c.saving["fan_kwh"] / base["fan_kwh"]
            ok = 5.0 <= share <= 30.0
            why = (
                ""
                if ok
                else (
                    f" Drivers: baseline mean duct pressure {base['mean_dsp_inwc']:.2f} in. w.c. against "
                    f"{c.annual['mean_dsp_inwc']:.2f},"
                    f" of {project.fan.design_total_inwc:.1f} in. w.c. total; mean airflow "
                    f"{100 * c.annual['mean_flow_cfm'] / max(_design(results), 1):.0f} % of design."
                )
            )
            yield Check(
                name=f"Fan saving of {c.id}",
                status="pass" if ok else "explain",
                value=f"{share:.1f} % of fan energy",
                expected="5 to 30 %",
                text="Published band of static pressure resets." + why,
                source=PUBLISHED,
            )
        if same_dsp and not same_sat:
            share = 100.0 * (site_kbtu(base) - site_kbtu(c.annual)) / max(site_kbtu(base), 1e-9)
            # HVAC is about 40 % of the site energy of offices (common practice, no source).
            low, high = 1.0 / 0.4, 4.4 / 0.4
            ok = low <= share <= high
            why = (
                ""
                if ok
                else (
                    f" Mean supply air {c.annual['mean_sat_f']:.1f} against {base['mean_sat_f']:.1f} degF; fans "
                    f"{-c.saving['fan_kwh']:+,.0f} kWh, cooling {-c.saving['cooling_kwh']:+,.0f} kWh, reheat "
                    f"{-c.saving['reheat_kbtu']:+,.0f} kBtu."
                )
            )
            yield Check(
                name=f"Energy saving of {c.id}",
                status="pass" if ok else "explain",
                value=f"{share:.1f} % of HVAC energy",
                expected=f"{low:.1f} to {high:.1f} %",
                text="Published band of supply temperature resets, 1 to 4.4 % of site energy, over an HVAC share of "
                "40 % (common practice, no source)." + why,
                source=PUBLISHED,
            )


def _design(results):
    return max(float(c.rows["flow_cfm"].max()) for c in results)


def _signs(results, baseline):
    """Warmer supply air: fans up, reheat and cooling down; lower duct pressure: fans down."""
    base = baseline.annual
    for c in results:
        if c is baseline or c.candidate.overrides:
            continue
        warmer = c.annual["mean_sat_f"] > base["mean_sat_f"] + 0.05
        same_dsp = c.candidate.dsp == baseline.candidate.dsp
        if warmer and same_dsp:
            unusual = []
            if c.saving["fan_kwh"] > 0:
                unusual.append("fans fall")
            if c.saving["reheat_kbtu"] < -1e-6:
                unusual.append("reheat rises")
            if c.saving["cooling_sensible_kbtu"] + c.saving["cooling_latent_kbtu"] < 0:
                unusual.append(
                    "coil load rises (more fan heat, or more outdoor air with the damper at a fixed position)"
                )
            yield Check(
                name=f"Signs of {c.id}",
                status="explain" if unusual else "pass",
                value="; ".join(unusual) or "fans up, reheat and coil load down",
                expected="fans up, reheat and coil load down",
                text="Warmer supply air at the same room loads takes more air and less reheat.",
            )
        if c.candidate.sat == baseline.candidate.sat and c.annual["mean_dsp_inwc"] < base["mean_dsp_inwc"]:
            ok = c.saving["fan_kwh"] >= -1e-6
            yield Check(
                name=f"Signs of {c.id}",
                status="pass" if ok else "explain",
                value="fans down" if ok else "fans up",
                expected="fans down",
                text="Lower duct pressure at the same airflow takes less fan power; colder coils need less cooling, "
                "as fan heat falls.",
            )


def _findings(project, unit, results, baseline, baseline_service):
    for word, said, do in baseline_failures(baseline_service):
        level = "info" if word in baseline_service.confirmed else "caution"
        yield Finding(level, "baseline", f"The baseline fails in {word.replace('_', ' ')}: {said}; {do}.")
    confirmed = project.service.as_found_confirmed
    idle = [word for word in confirmed if word not in baseline_service.fails]
    if idle:
        yield Finding(
            "info", "baseline", "Confirmed as found, while the baseline does not fail in it: " + ", ".join(idle) + "."
        )
    if baseline_service.confirmed and "service.as_found_confirmed" not in project.evidence:
        yield Finding(
            "check",
            "baseline",
            "What the baseline fails in is confirmed without evidence: say under [evidence] where "
            "service.as_found_confirmed comes from.",
        )
    rates_cfm = sum(design_outdoor_air_cfm(unit.zones, unit.groups)) / project.outdoor_air.ventilation_efficiency
    if unit.oa_required_cfm < (1.0 - project.service.outdoor_air_margin_frac) * rates_cfm:
        yield Finding(
            "check",
            "outdoor air",
            f"The required outdoor air of {unit.oa_required_cfm:,.0f} cfm is less than the groups' rates over the "
            "ventilation efficiency ask for "
            f"({rates_cfm:,.0f} cfm): every candidate is judged by it, so say where outdoor_air.required_cfm comes "
            "from.",
        )
    loose = [
        field.name
        for field in fields_of("service").values()
        if field.type == "float" and getattr(project.service, field.name) > field.default
    ]
    if loose:
        yield Finding(
            "caution",
            "service",
            "Limits of equal service are looser than the program's: "
            + ", ".join(
                f"{name} = {getattr(project.service, name):g} for {fields_of('service')[name].default:g}"
                for name in loose
            )
            + ".",
        )
    yield Finding(
        "info",
        "summary",
        "Not reconciled with bills: compare the as-found end uses with at least twelve months of bills before a "
        "programme claim.",
    )
    by_climate = [
        path
        for path in paths_by("climate")
        if any(
            origin == "default"
            and (
                at == path or at.startswith(f"{path.partition('.')[0]}[") and at.endswith(f"].{path.partition('.')[2]}")
            )
            for at, origin in project.origins.items()
        )
    ]
    if project.climate and by_climate:
        whose = (
            "given"
            if project.weather.climate_zone != "auto"
            else "by the weather file's degree-days and moisture; tables of counties go before it"
        )
        values = ", ".join(f"{path} = {value_text(project.defaults[path][0])}" for path in by_climate)
        yield Finding("info", "weather", f"Climate zone {project.climate} ({whose}) sets defaults: {values}.")
    counted = list(project.origins.values())
    defaults = sum(o == "default" for o in counted)
    if counted:
        yield Finding(
            "info",
            "inputs",
            f"{defaults} of {len(counted)} inputs are defaults ({100 * defaults / len(counted):.0f} %); "
            "replace those that drive the saving by measured values before a programme claim.",
        )
    if unit.fan_scale != 1.0:
        level = "check" if not 0.75 <= unit.fan_scale <= 1.35 else "info"
        yield Finding(level, "fan", f"The fan is scaled by {unit.fan_scale:.3f} to meet the measured point.")
    zones = project.zones
    assumed = sum(
        z.survey_flow_cfm is None and project.origins.get(f"zone[{z.name}].index_share") != "given" for z in zones
    )
    if assumed:
        yield Finding(
            "check",
            "zones",
            f"The share of the index run's pressure is assumed for {assumed} of {len(zones)} zones: it is the largest "
            "hidden "
            "driver of duct pressure savings. A damper survey replaces the assumption.",
        )
    changed = [c.id for c in results if c.kind == CHANGED_SERVICE]
    if changed:
        yield Finding(
            "caution",
            "summary",
            "They change what the rooms are promised, so neither ranked nor called best: " + ", ".join(changed) + ".",
        )
    flagged = [c.id for c in results if c.equal_service.flagged and c.kind != CHANGED_SERVICE]
    if flagged:
        yield Finding(
            "caution", "summary", "Not equal in service to the baseline, so not ranked: " + ", ".join(flagged) + "."
        )
    before = baseline.hourly["humid_hours"]
    damp = more_humid(results, baseline)
    humid = [f"{c.id} {c.hourly['humid_hours']:,.0f} h" for c in results if c.id in damp]
    if humid:
        yield Finding(
            "caution",
            "humidity",
            f"Rooms stay humid for longer than in the baseline ({before:,.0f} h): "
            + ", ".join(humid)
            + ". Comfort and mould need a humidity limit on the reset.",
        )
    short = short_of_outdoor_air(results, baseline)
    if short:
        hours = [f"{c.id} {c.hourly['oa_short_hours']:,.0f} h" for c in results if c.id in short]
        yield Finding(
            "caution", "outdoor air", f"Less outdoor air than is required, a year: {', '.join(hours)}. {NOT_VENTILATED}"
        )
    part = saves_by_ventilation(results, baseline)
    if part:
        savings = [
            f"{c.id} {c.saving_at_equal_oa['cost_usd']:,.0f} for {c.saving['cost_usd']:,.0f} USD"
            for c in results
            if c.id in part
        ]
        yield Finding(
            "caution", "equal outdoor air", f"Saving at equal outdoor air differs, a year: {', '.join(savings)}."
        )
    if any(c.hourly["freeze_hours"] > 0 for c in results):
        hours = max(c.hourly["freeze_hours"] for c in results)
        yield Finding(
            "caution",
            "coils",
            f"Mixed air falls below {project.air_handler.freeze_limit_f:.0f} degF for up to {hours:,.0f} h: keep "
            "low-temperature protection and preheat as they are.",
        )
    rogue = [n for n, t, p in zip(unit.zones.names, unit.zones.asks_temperature, unit.zones.asks_pressure) if t or p]
    if rogue:
        yield Finding(
            "check",
            "zones",
            "Rogue zones ask without need and can pin demand resets: "
            + ", ".join(rogue[:10])
            + ". Repair or exclude them first.",
        )
    stuck = project.economizer.stuck_frac
    if stuck is not None:
        yield Finding(
            "check",
            "economizer",
            f"The outdoor-air damper is stuck at {100 * stuck:.0f} %: a saving from its repair is not a saving of a "
            "reset.",
        )
    if project.schedule.unoccupied_mode == "off":
        yield Finding(
            "info",
            "schedule",
            "Rooms are not served while the air handler is off, and warm-up is not modelled in that mode.",
        )
    notes = dict.fromkeys(strategy.note for c in results for strategy in strategies_of(c.candidate) if strategy.note)
    for note in notes:
        yield Finding("info", "strategies", note)
