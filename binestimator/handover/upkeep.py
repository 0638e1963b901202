"""What keeps an option alive: alarms, a monthly check, rogue zones, reversal, cautions."""

from __future__ import annotations

from .facts import Facts, some
from .records import Expected, Names, Watch
from .setpoints import DSP_TOLERANCE_INWC, SAT_TOLERANCE_F, degf, inwc

# A share of hours at an end of the range that is more than the expected one by this says that something holds it there.
# (decision of the hand-over) [points]
SHARE_POINTS = 25.0
#: How far monthly means may be from what the estimate expects. (decision of the hand-over) [degF, in. w.c.]
MONTHLY_F, MONTHLY_INWC = 2.0, 0.25

_LOOK = "See the monthly check: override, rogue zone, failed sensor, changed program."


def alarms_of(f: Facts, n: Names) -> list[Watch]:
    """Alarms."""
    found = [
        n.watch(
            "A_SENSOR",
            "A sensor has failed",
            "outdoor <P_OAT>, supply <P_SAT> or mixed air <P_MAT>, duct pressure <P_DSP>"
            + (", airflow <P_FLOW>" if "P_FLOW" in n else "")
            + (", dew point <P_OA_DEW>" if "P_OA_DEW" in n else "")
            + " out of range for <S_SENSOR>",
            "Replace it the same week; read the clause of its failure.",
        ),
        n.watch(
            "A_SAT",
            "Supply air is not held",
            "supply air <P_SAT> more than 3 degF from its setpoint <P_SAT_SET> for 30 minutes with the fan <P_FAN> on",
            "Look for heating and cooling at once, a coil or plant too small, a stuck damper <P_OA_DAMPER>.",
        ),
        n.watch(
            "A_DSP",
            "Duct pressure is not held",
            f"duct pressure <P_DSP> more than {inwc(4.0 * DSP_TOLERANCE_INWC)} from its setpoint <P_DSP_SET> for 15 "
            "minutes, and the fan not at its lowest speed <S_FAN_LEAST>",
            "Look for a leak, a shut fire damper, a sensor line, a fan at its most.",
        ),
        n.watch(
            "A_OVERRIDE",
            "Overridden by hand",
            "a setpoint or output overridden <P_OVERRIDE> for longer than <S_OVERRIDE>",
            "Ask who and why; cure the room that complained; release it.",
        ),
        n.watch(
            "A_FREEZE",
            "Cold mixed air",
            "mixed air <P_MAT> below <S_FREEZE>, or a cut-out <P_CUTOUT> tripped",
            "Go to the unit at once: dampers, heating coil, pump.",
        ),
        n.watch(
            "A_DAMP",
            "Damp rooms",
            "dew point of return air <P_ROOM_DEW> above "
            + ("<S_ROOM_DEW>" if "S_ROOM_DEW" in n else "<limit>")
            + " for an hour of occupied mode",
            "Hold supply air at its coldest until it is dry again; look for standing water, outdoor air too much, a "
            "valve that passes too little.",
            limit=degf(f.project.air_handler.humid_dewpoint_f),
        ),
    ]
    if f.project.outdoor_air.control != "position":
        found.append(
            n.watch(
                "A_OA",
                "Too little outdoor air",
                "outdoor airflow <P_OA_FLOW> below 90 % of <S_OA_MIN> for 30 minutes of occupied mode",
                "Put the minimum right before anything else; it goes before every saving.",
            )
        )
    if "S_SAT_COLD" in n:
        found.append(
            n.watch(
                "A_COLD",
                "A room that must stay cold is warm",
                "such a room <P_Z_TEMP> 2 degF above its cooling setpoint for 30 minutes",
                "Lower <S_SAT_COLD> or repair its terminal.",
            )
        )
    if f.direct_expansion:
        found.append(
            n.watch(
                "A_DX",
                "Compressors at low airflow",
                "a stage on <P_COOL> with less supply airflow than <S_DX_FLOW>",
                "Raise the lowest duct pressure or the least airflows of zones.",
            )
        )
    if f.listens:
        rows = " or ".join(p for p in ("<P_Z_ASK_T>", "<P_Z_ASK_P>") if p[1:-1] in n)
        found += [
            n.watch(
                "A_ROGUE",
                "A zone keeps asking",
                f"request-hours of a zone {rows} above <S_ROGUE_PCT> of its hours, after <S_ROGUE_LEAST>, with "
                "importance <S_IMPORTANCE> above 0; counted anew after <S_ROGUE_RESET>",
                "Follow the procedure for rogue zones.",
            ),
            n.watch(
                "A_OFFLINE",
                "Zones without data",
                "more than <S_OFFLINE> of the zones without data",
                "Repair the network; the reset is at its fallback meanwhile.",
            ),
        ]
    if f.sat_moves:
        found.append(
            n.watch(
                "A_FLAT_SAT",
                "The supply air reset has been defeated",
                "the supply setpoint <P_SAT_SET> moved by less than <S_FLAT_SAT> in 30 days of use, or is at its "
                "fallback <S_SAT_FALLBACK> for a day",
                _LOOK,
            )
        )
    if f.dsp_moves:
        found.append(
            n.watch(
                "A_FLAT_DSP",
                "The pressure reset has been defeated",
                "the pressure setpoint <P_DSP_SET> moved by less than <S_FLAT_DSP> in 30 days of use, or is at its "
                "fallback <S_DSP_FALLBACK> for a day",
                _LOOK,
            )
        )
    return found


def monthly_of(f: Facts, n: Names) -> list[Watch]:
    """Lines of the monthly check."""
    found = [
        n.watch(
            "M_OVERRIDE",
            "Overrides",
            "Count the hours of the month with an override <P_OVERRIDE>.",
            "More than 5 % of running hours: the reset is being defeated. Release, and find the room behind it.",
        ),
        n.watch(
            "M_MEANS",
            "Setpoints by outdoor temperature",
            "Sort the month's occupied hours by outdoor temperature <P_OAT>; take means of supply air <P_SAT> and "
            "duct pressure <P_DSP>.",
            f"Compare with the table of what the estimate expects: beyond {degf(MONTHLY_F)} or {inwc(MONTHLY_INWC)} "
            "in two ranges or more, find out why.",
        ),
    ]
    ends = []
    if f.sat_way.resets:
        ends += [
            (
                "M_SAT_COLD",
                "Supply air at its coldest",
                "sat_at_min_hours",
                "P_SAT_SET",
                f.sat_way.range(f.sat)[0],
                degf,
            )
        ]
    if f.dsp_way.resets:
        ends += [
            (
                "M_DSP_HIGH",
                "Duct pressure at its highest",
                "dsp_at_max_hours",
                "P_DSP_SET",
                f.dsp_way.range(f.dsp)[1],
                inwc,
            )
        ]
    for id_, title, key, point, end, digits in ends:
        expected = 100.0 * f.share(key)
        limit = min(expected + SHARE_POINTS, 100.0)
        more = (
            f"More than {limit:.0f} %: something holds it there."
            if limit < 100.0
            else "The estimate expects it there nearly always: the sign to look for is another value."
        )
        found.append(
            n.watch(
                id_,
                title,
                f"Share of running hours with the setpoint <{point}> at {digits(end)}.",
                f"The estimate has {expected:.0f} % over the year (hour by hour). {more}",
            )
        )
    if f.sat_moves:
        found.append(
            n.watch(
                "M_SAT_MOVES",
                "The supply setpoint moves",
                "Largest less least supply setpoint <P_SAT_SET> of the month.",
                "Less than <S_FLAT_SAT> in a month with mild days: no reset.",
            )
        )
    if f.dsp_moves:
        found.append(
            n.watch(
                "M_DSP_MOVES",
                "The pressure setpoint moves",
                "Largest less least pressure setpoint <P_DSP_SET> of the month.",
                "Less than <S_FLAT_DSP>: no reset.",
            )
        )
    if not f.sat_moves:
        found.append(
            n.watch(
                "M_SAT_HELD",
                "The supply setpoint is as handed over",
                "Read the setpoint <P_SAT_SET> and the program behind it.",
                "It is " + ("<S_SAT>" if "S_SAT" in n else "<S_SAT_LINE>") + " and no other.",
            )
        )
    if not f.dsp_moves:
        found.append(
            n.watch(
                "M_DSP_HELD",
                "The pressure setpoint is as handed over",
                "Read the setpoint <P_DSP_SET> and the program behind it.",
                "It is " + ("<S_DSP>" if "S_DSP" in n else "<S_DSP_LINE>") + " and no other.",
            )
        )
    if f.listens:
        sums = [("<P_Z_ASK_T>", f.sat_way.listens), ("<P_Z_ASK_P>", f.dsp_way.listens)]
        which = " and ".join(p for p, true in sums if true)
        found.append(
            n.watch(
                "M_ZONES",
                "Zones that drive the reset",
                f"List the five zones with most request-hours {which}, and all with importance 0 <S_IMPORTANCE>.",
                "Compare with the table of zones; a zone new in the list, or one left out for longer than a month, is "
                "looked at on site.",
            )
        )
    found.append(
        n.watch(
            "M_ROOMS",
            "Rooms",
            "Complaints of the month, and hours with zones <P_Z_TEMP> outside their setpoints <P_Z_COOL>; dew point "
            "<P_ROOM_DEW>.",
            "More than before: cure the zone, or lower the reset's range, and note it.",
        )
    )
    return found


def expected_of(f: Facts) -> list[Expected]:
    """Means by outdoor temperature from the hour-by-hour run, ranges with hours alone."""
    width = float(f.project.bins.width_f)
    found = f.c.by_temperature
    return [
        Expected(low_f=float(low), high_f=float(low) + width, hours=float(hours), sat_f=float(sat), dsp_inwc=float(dsp))
        for low, hours, sat, dsp in zip(found["bin_low_f"], found["hours"], found["sat_f"], found["dsp_inwc"])
        if hours > 0.0
    ]


def procedure_of(f: Facts, n: Names) -> list[str]:
    """Steps for rogue zones, where requests are heard."""
    if not f.listens:
        return []
    kinds = {
        "failed_sensor": "its sensor",
        "starved_branch": "its branch of the duct",
        "both": "its sensor and its branch of the duct",
        "undersized": "its terminal, too small for its load",
    }
    known = {z.name: kinds[z.rogue] for z in f.project.zones if z.rogue in kinds}
    steps: list[tuple[str, dict[str, str]]] = [
        (
            "Find it: the alarm A_ROGUE, or the list of M_ZONES, names the zone. Note date, kind of request and "
            "request-hours.",
            {},
        ),
        (
            "Look at setpoints first: a cooling setpoint <P_Z_COOL> moved down by somebody asks for ever. Put it back "
            "within the limits of the table of zones <S_ROOMS>.",
            {},
        ),
        (
            "Look at the sensor: heat of a copier, sun or a draught at the thermostat <P_Z_TEMP>; compare with an "
            "instrument.",
            {},
        ),
        (
            "Look at the terminal: damper <P_Z_DAMPER> moves its whole way; airflow <P_Z_FLOW> is zero with the "
            "damper shut; the duct is open and not crushed; the filter of its sensor line is clear.",
            {},
        ),
    ]
    if f.reheats:
        steps.append(("Look at reheat: a valve <P_Z_HEAT> that leaks makes a zone ask for colder air.", {}))
    steps += [
        (
            "If it is sound and yet too small for its load, it is undersized: enlarge it, move the load, or let it "
            "ask. It then decides what the reset can save.",
            {},
        ),
        (
            "Until it is repaired, and only if its room can bear it, take it out by setting its importance "
            "<S_IMPORTANCE> to 0. Write down who decided and until when; tell the people in the room. Never do so "
            "with rooms that need their air, warmth or pressure by code, for patients, animals, processes or "
            "equipment.",
            {},
        ),
        ("After the repair set its importance back, clear its request-hours, and watch it for a week.", {}),
    ]
    if known:
        said = some([f"{name} ({what})" for name, what in known.items()])
        steps.insert(0, ("Known when the estimate was made: <known>. Begin there.", {"known": said}))
    advice = f.results.advice
    for after in () if advice is None else advice.after_repairs:
        if after.candidate_id == f.c.id and after.way == "repair":
            worth = (
                "What the repair is worth, with this option: <usd> USD a year beyond the saving as found (result, bin "
                "rows), of <zones>."
            )
            steps.append((worth, {"usd": f"{after.value_usd:,.0f}", "zones": some(list(after.zones))}))
    return [n.resolve(text, **values)[0] for text, values in steps]


def reversal_of(f: Facts, n: Names) -> list[str]:
    """How to go back to the settings as found."""
    of = f'as given for the option "{f.before.name}" of the estimate'
    plain = f.before.candidate
    overrides = "; ".join(
        f"{word} overridden to {digits(value)} in {100.0 * share:.0f} % of running hours"
        for word, share, value, digits in (
            ("supply air", plain.sat.override_frac, plain.sat.override_f, degf),
            ("duct pressure", plain.dsp.override_frac, plain.dsp.override_inwc, inwc),
        )
        if share > 0.0
    )
    steps = [
        "Before anything is changed, save the program and note the settings as found on site beside those listed; "
        "they count if they differ.",
        f"To reverse: set the supply air setpoint back to {f.before_words('sat')}, and the duct pressure setpoint to "
        f"{f.before_words('dsp')}, {of}; stop both resets by one switch that does not delete them.",
    ]
    if overrides:
        steps.append(f"Overrides as found need not be put back: {overrides}.")
    if f.changes():
        steps.append(
            'Repairs and companion measures stay where they are sound; their values as found are listed under "What '
            'else changes" in case one has to go back.'
        )
    if f.listens:
        steps.append("Requests and request-hours may go on being counted; they then show what the reset would do.")
    steps.append(
        "Note who reversed it, when and why, and when it will be tried again: a reset undone is seldom redone."
    )
    return steps


def cautions_of(f: Facts) -> list[tuple[str, str]]:
    """Cautions that come from the inputs and results of the project."""
    found, c, base = [], f.c, f.results.baseline
    hours = lambda key: (c.hourly[key], base.hourly[key])
    now, before = hours("humid_hours")
    if now > before:
        limit = (
            "The limit of humidity is in force."
            if f.humidity != "none"
            else "No limit of humidity is in force: watch P_ROOM_DEW, and agree on a limit before the humid season."
        )
        found.append(
            (
                "Damp rooms in this option",
                f"Rooms are above a dew point of {degf(f.project.air_handler.humid_dewpoint_f)} for {now:,.0f} h a "
                f"year while occupied, {before:,.0f} h in the baseline (hour by hour). {limit}",
            )
        )
    now, before = hours("oa_short_hours")
    if now > 0.0:
        found.append(
            (
                "Outdoor air in this option",
                f"Less outdoor air than is required in {now:,.0f} hours a year, {before:,.0f} in the baseline (hour "
                "by hour). Put the minimum right before the reset is released.",
            )
        )
    now, before = hours("ventilation_short_hours")
    if now > before:
        found.append(
            (
                "Airflow of zones in this option",
                f"Zones are below their least airflow in {now:,.0f} zone-hours a year, {before:,.0f} in the baseline: "
                "prove test T_LOW zone by zone.",
            )
        )
    now, _ = hours("freeze_hours")
    if now > 0.0:
        found.append(
            (
                "Cold mixed air here",
                f"Mixed air is below {degf(f.project.air_handler.freeze_limit_f)} in {now:,.0f} hours a year as "
                "estimated: the cut-outs are in use at this site.",
            )
        )
    now, _ = hours("low_flow_hours")
    if f.direct_expansion:
        found.append(
            (
                "Direct expansion here",
                f"Supply airflow is below the least of the compressors in {now:,.0f} hours a year as estimated. Ask "
                "the maker before supply air is warmed or pressure lowered.",
            )
        )
    if f.care_names:
        found.append(
            (
                "Spaces with requirements of their own",
                f"Names in the project hint at such spaces: {some(f.care_names)}. Their air changes, pressures, "
                "temperatures and humidity are set by codes and by those responsible for them. Leave them out of the "
                "resets, or have each change approved in writing.",
            )
        )
    always = [g.name for g in f.project.groups if g.always_on]
    if always:
        found.append(
            (
                "Zones in use day and night",
                f"{some(always)}: in use at all hours. No setback reaches them; test them at night as well.",
            )
        )
    cold = [z.name for z in f.project.zones if z.sat_max_f is not None]
    if cold:
        found.append(
            (
                "Rooms that must stay cold here",
                f"{some(cold)}: "
                + (
                    "the reset is limited for them (S_SAT_COLD)."
                    if f.cold_limit_f is not None
                    else "the setpoints stay within what they allow."
                )
                + " Each needs an alarm of its own.",
            )
        )
    silent = [z.name for z in f.project.zones if z.importance == 0.0]
    if silent and f.listens:
        found.append(
            (
                "Zones that are not heard",
                f"{some(silent)}: importance 0. The reset does not see whether they are served; watch them by hand.",
            )
        )
    if f.project.return_fan.type != "none":
        found.append(
            (
                "Return or relief fan",
                "It has to follow supply airflow over the whole new range: see test T_LOW.",
            )
        )
    return found


__all__ = [
    "MONTHLY_F",
    "MONTHLY_INWC",
    "SAT_TOLERANCE_F",
    "alarms_of",
    "cautions_of",
    "expected_of",
    "monthly_of",
    "procedure_of",
    "reversal_of",
]
