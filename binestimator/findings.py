"""What a reader of a run must know: findings, and which candidates cost the rooms something."""

from __future__ import annotations

from .errors import Finding
from .inputs.defaults import paths_by
from .inputs.schema import fields_of, value_text
from .model.air_handler import design_outdoor_air_cfm
from .money.accounting import CODE_NOTE
from .money.bills import reconcile, reconciled_words
from .results import CHANGED_SERVICE
from .service import FAILURES
from .strategies.registry import strategies_of

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


def price_findings(found):
    """Prices outside what is usual."""
    for b in found:
        if not b.usual and b.price:
            yield Finding(
                "check", "prices", f"{b.label} {b.value:g} {b.unit}, usual {b.low:g} to {b.high:g}: {b.remark}."
            )


def run_findings(project, unit, results, baseline, baseline_service):
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
        "programme claim."
        if not (bills := reconcile(project, baseline.monthly))
        else reconciled_words(bills) + ".",
    )
    if any(way.resets for c in results for way in strategies_of(c.candidate)):
        yield Finding("info", "code", CODE_NOTE)
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
    counted = project.estimate_origins
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
    following = [c.id for c in results if any(path.startswith("room_setpoints.") for path in c.candidate.overrides)]
    if following:
        yield Finding(
            "caution",
            "comfort",
            "Room setpoints go by the outdoor temperature: rooms are warmer in hot and cooler in cold weather than "
            "people were promised. Agree on it with them first, leave out rooms of the ill, the old and the very "
            f"young, and keep a way back: {', '.join(following)}.",
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
    rogue = [zone.name for zone in project.zones if zone.rogue != "none"]
    if rogue:
        yield Finding(
            "check",
            "zones",
            "Rogue zones ask without need, or for more than their terminals can give, and can pin demand resets: "
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
