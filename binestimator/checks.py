"""Checks of a run: what must hold, what should be plausible, and what a reader must know.

``pass`` holds; ``explain`` lies outside what is published or usual and says what drives it;
``fail`` must not happen.
"""

from __future__ import annotations

import numpy as np

from .benchmarks import benchmarks
from .end_uses import ENERGY_KEYS, PRICED, site_kbtu
from .findings import (
    price_findings,
    run_findings,
)
from .model.air_handler import ROOM_SATURATION_F
from .model.system import balance_error_btuh, moisture_error_btuh
from .moist_air import saturation_humidity_ratio
from .money.accounting import LARGE_BILL_FRAC, LARGE_HVAC_FRAC
from .money.bills import reconcile
from .results import ANNUAL, Check
from .row_accuracy import (
    COST_ERROR_FRAC,
    END_USE_ERROR_FRAC,
    SAVING_ERROR_POINTS,
    bin_errors,
)

# What energy balances may be off by.
BALANCE_ERROR_FRAC = 1e-9


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
        *_rate_periods(results, baseline),
        _within_end_uses(results, baseline, project),
        *_published(results, baseline, project),
        *_signs(results, baseline),
        *_benchmarks(found := benchmarks(runs[baseline.id][0].unit, baseline.annual)),
    ]
    return tuple(checks), (*price_findings(found), *run_findings(project, unit, results, baseline, baseline_service))


def _within_end_uses(results, baseline, project):
    """No saving may be larger than what it is taken from; large ones need a reason."""
    beyond, large = [], []
    bills = reconcile(project, baseline.monthly)
    bill = sum(float(each.usd.sum()) for each in bills if each.usd is not None)
    for c in results:
        for key in ENERGY_KEYS:
            if c.saving[key] > baseline.annual[key] * (1.0 + 1e-9) + 1e-6:
                beyond.append(f"{c.id}: {key}")
        saved = site_kbtu(baseline.annual) - site_kbtu(c.annual)
        if saved > LARGE_HVAC_FRAC * max(site_kbtu(baseline.annual), 1e-9):
            large.append(f"{c.id} of HVAC energy")
        if bill and c.saving["cost_usd"] > LARGE_BILL_FRAC * bill:
            large.append(f"{c.id} of the bill")
    over = [each.label.lower() for each in bills if each.exceeds]
    yields = "fail" if beyond else "explain" if large or over else "pass"
    said = [
        *(f"More than its end use is saved: {', '.join(beyond)}." for _ in beyond[:1]),
        *(f"Large: {', '.join(large)}." for _ in large[:1]),
        *(f"The air handler alone is above the bill in some month: {', '.join(over)}." for _ in over[:1]),
    ]
    return Check(
        name="Savings within what they are taken from",
        status=yields,
        value="all" if yields == "pass" else "; ".join(beyond or large or over),
        expected=f"at most the end use, {LARGE_HVAC_FRAC:.0%} of HVAC energy and {LARGE_BILL_FRAC:.0%} of the bill",
        text=" ".join(said) or "No option saves more of an end use than there is, nor a share that needs a reason.",
    )


def _rate_periods(results, baseline):
    """Energy by rate period of a tariff, rows against hours, as a share of all energy cost of the baseline."""
    if baseline.by_rate_period is None:
        return
    worst, where = 0.0, ""
    for c in results:
        table = c.by_rate_period
        for key, _, _ in PRICED:
            apart = (table[f"{key}_rows"] - table[f"{key}_hours"]).abs() * table[f"{key}_price"]
            frac = float(apart.max()) / max(baseline.hourly["cost_usd"], 1e-9)
            if frac > worst:
                worst, where = frac, f"{c.id}, {table['label'][apart.idxmax()]}"
    yield Check(
        name="Energy by rate period",
        status="pass" if worst <= COST_ERROR_FRAC else "explain",
        value=f"{100.0 * worst:.3f} %",
        expected=f"within {100.0 * COST_ERROR_FRAC:g} % of the baseline's cost",
        text="Energy of each rate period from the bin rows against that from the hours, at its price"
        + (f"; worst in {where}." if where else "."),
    )


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
            for here, block, part in ((here, block, p) for here, block in rows.blocks() for p in parts):
                state = part.state.take(here)
                scale = np.maximum(1000.0 * state.cooling_kbtuh, block.loads.fs * state.flow_cfm * 20.0)
                error = np.abs(balance_error_btuh(site.unit, block.on, block.loads, state)) / np.maximum(scale, 1.0)
                if error.max() > worst:
                    worst, where = float(error.max()), name
                moist = np.abs(moisture_error_btuh(site.unit, block.on, block.loads, state)) / np.maximum(scale, 1.0)
                # Rooms with hardly any exchange of air are held at saturation and cannot balance.
                held = state.room_humidity_ratio >= saturation_humidity_ratio(
                    ROOM_SATURATION_F, block.on.pressure_psia
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
