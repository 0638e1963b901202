"""Sequence of operation of an option, clause by clause, in plain words."""

from __future__ import annotations

from .facts import Facts
from .records import Clause, Names
from .seeking import clauses_of as seeking_clauses
from .setpoints import reads_outdoor


def clauses_of(f: Facts, n: Names) -> list[Clause]:
    """The whole sequence, in the order in which it acts."""
    return [
        *_first(f, n),
        _zones(n),
        *_modes(f, n),
        *_requests(f, n),
        *_supply_air(f, n),
        *_duct_pressure(f, n),
        *_air_side(f, n),
        *_failures(f, n),
        *_last(f, n),
    ]


def _first(f: Facts, n: Names) -> list[Clause]:
    return [
        n.clause(
            "Q_FIRST",
            "What goes before",
            "Fire and smoke control, low-temperature cut-outs <P_CUTOUT>, high-pressure cut-outs, equipment "
            "protection and manual stops act as they did before this change and go before every clause below. No "
            "reset delays, bypasses or hides them.",
        ),
        n.clause(
            "Q_MODES",
            "Modes",
            "The mode <P_MODE> is occupied <S_HOURS>; " + {
                "off": "outside these hours the air handler is off.",
                "continuous": "outside these hours it runs on with the unoccupied setpoints and least airflows of the "
                "zones <S_ROOMS> and with least outdoor air shut.",
                "setback": "outside these hours it is off, but for setback, warm-up and cool-down.",
            }[f.project.schedule.unoccupied_mode]
            + _when_resets_act(f),
        ),
    ]  # fmt: skip


def _when_resets_act(f: Facts) -> str:
    """In which modes the resets act, as the estimate takes it."""
    if not (f.sat_moves or f.dsp_moves):
        return ""
    if f.project.schedule.unoccupied_mode == "continuous":
        return " The resets act in both."
    said = " The supply air reset acts in occupied mode alone." if f.sat_moves else ""
    if f.dsp_moves and f.setback:
        said += (
            " The pressure reset acts in occupied mode alone."
            if f.project.schedule.night_dsp == "design"
            else " The pressure reset acts whenever the fan serves zones."
        )
    elif f.dsp_moves:
        said += " The pressure reset acts while the fan runs."
    return said


def _zones(n: Names) -> Clause:
    return n.clause(
        "Q_ZONES",
        "Zones",
        "Each zone holds its temperature <P_Z_TEMP> between its setpoints <P_Z_COOL> with its airflow <P_Z_FLOW>, "
        "never below its least airflow, by its damper <P_Z_DAMPER>: <S_ROOMS>. The loops of the zones stay as they "
        "are.",
    )


def _modes(f: Facts, n: Names) -> list[Clause]:
    start = ["The fan starts at its lowest speed <S_FAN_LEAST> and is released to pressure control."]
    if f.dsp_loop is not None:
        start.append(
            "The pressure loop starts at <S_DSP_START> and makes no move for <S_DSP_DELAY>; while the fan is off it "
            "is held there."
        )
    if f.sat_loop is not None:
        start.append(
            "The supply air loop starts at <S_SAT_START> and makes no move for <S_SAT_DELAY>; while the fan is off it "
            "is held there."
            if "S_SAT_START" in n
            else "The supply air loop goes on from where it stopped and makes no move for <S_SAT_DELAY>."
        )
    if not f.listens:
        start.append("The setpoints <P_SAT_SET> and <P_DSP_SET> are those of the conditions at the start.")
    found = [n.clause("Q_START", "Start-up", " ".join(start))]
    if not f.setback:
        return found
    night_air = (
        "Supply air is <S_NIGHT_SAT>."
        if "S_NIGHT_SAT" in n
        else "The terminals heat; the coil of the air handler adds nothing beyond its own setpoint."
    )
    night_duct = (
        "Duct pressure is held at <S_NIGHT_DSP>; requests for it are not counted."
        if "S_NIGHT_DSP" in n
        else "Duct pressure follows its own clause, as by day."
    )
    coldest = "<S_SAT_FALLBACK>" if "S_SAT_FALLBACK" in n else "the setpoint of occupied hours"
    found += [
        n.clause(
            "Q_WARMUP",
            "Warm-up",
            "Before occupancy, for no longer than <S_WARMUP> and only as long as zones need it to reach their "
            f"occupied heating setpoint <S_ROOMS>. {night_air} {night_duct} Outdoor-air dampers stay shut unless the "
            "code asks otherwise. The supply air reset does not act, and requests for colder air are not counted.",
        ),
        n.clause(
            "Q_COOLDOWN",
            "Cool-down",
            "Where zones are too warm before occupancy, the unit runs in the same time <S_WARMUP> with supply air at "
            f"{coldest}, through the economizer where it may. {night_duct} The supply air reset does not act.",
        ),
        n.clause(
            "Q_SETBACK",
            "Setback",
            "At night the unit starts where a zone passes its unoccupied setpoint <S_ROOMS> and stops when it is "
            f"back. In heating: {night_air[:1].lower()}{night_air[1:]} {night_duct} Outdoor-air dampers stay shut. "
            "The supply air reset does not act.",
        ),
    ]
    return found


def _requests(f: Facts, n: Names) -> list[Clause]:
    found = []
    if f.sat_way.listens:
        found.append(
            n.clause(
                "Q_ASK_T",
                "Requests of a zone for colder air",
                "One request <P_Z_ASK_T> from when its cooling loop <P_Z_LOOP> is above <S_LOOP_ASK> until it is "
                "below <S_LOOP_RELEASE>. Two while the zone <P_Z_TEMP> is more than <S_WARM_2> above its cooling "
                "setpoint <P_Z_COOL>, three while more than <S_WARM_3> above it. Else none. The number is multiplied "
                "by the zone's importance <S_IMPORTANCE> and added to <P_ASK_T>.",
            )
        )
    if f.dsp_way.listens:
        found.append(
            n.clause(
                "Q_ASK_P",
                "Requests of a zone for duct pressure",
                "One request <P_Z_ASK_P> from when its damper <P_Z_DAMPER> is above <S_DAMPER_ASK> until it is below "
                "<S_DAMPER_RELEASE>. While the damper is above <S_DAMPER_ASK> and its airflow <P_Z_FLOW> is below "
                "<S_FLOW_2> of its setpoint, two; below <S_FLOW_3>, three. Else none. The number is multiplied by the "
                "zone's importance <S_IMPORTANCE> and added to <P_ASK_P>.",
            )
        )
    if f.listens:
        found.append(
            n.clause(
                "Q_ACCOUNT",
                "Account of requests",
                "Each zone counts its request-hours (requests times hours) of each kind while the unit is occupied, "
                "and its hours. After <S_ROGUE_RESET> both begin anew. A zone may be taken out of a reset by setting "
                "its importance <S_IMPORTANCE> to 0 at the operator's display; that is logged and shown until it is "
                "set back.",
            )
        )
    return found


def _supply_air(f: Facts, n: Names) -> list[Clause]:
    found = seeking_clauses(f, n)
    if f.sat_loop is not None and not found:
        when = "While the unit runs" if f.project.schedule.unoccupied_mode == "continuous" else "In occupied mode"
        found += [
            n.clause(
                "Q_SAT_MOVE",
                "Supply air, the request loop",
                f"{when}, every <S_SAT_STEP>: where requests <P_ASK_T> are no more than <S_SAT_IGNORED>, the loop "
                "rises by <S_SAT_TRIM>. Where they are more, it falls by <S_SAT_RESPOND> for each request beyond "
                "those ignored, at most by <S_SAT_MOST>. It stays between <S_SAT_MIN> and <S_SAT_MAX>.",
            ),
            n.clause(
                "Q_SAT_SET",
                "Supply air, the setpoint inside an outdoor envelope",
                "The setpoint <P_SAT_SET> is the loop's value at and below <S_SAT_OAT_LOW> outdoors <P_OAT>, the "
                "coldest <S_SAT_MIN> at and above <S_SAT_OAT_HIGH>, and on a straight line between the two in "
                "between, with outdoor temperature read at least every <S_EVERY>. So requests decide in cool weather, "
                "where warmer supply air saves reheat and cooling, and the coldest air is used in warm weather, where "
                "it saves fan power.",
            ),
        ]
    elif found:
        pass
    elif "S_SAT_LINE" in n:
        how = "resets" if f.sat_moves else "holds"
        night = " In unoccupied hours: <S_SAT_NIGHT>." if "S_SAT_NIGHT" in n else ""
        found.append(
            n.clause(
                "Q_SAT_SET",
                "Supply air by outdoor temperature" if f.sat_moves else "Supply air held",
                f"The control {how} the setpoint <P_SAT_SET> by outdoor temperature <P_OAT>: <S_SAT_LINE>.{night}"
                + (" It is worked out anew at least every <S_EVERY>." if f.sat_moves else ""),
            )
        )
    else:
        found.append(
            n.clause("Q_SAT_SET", "Supply air held", "The setpoint <P_SAT_SET> is <S_SAT> in all occupied hours.")
        )
    limits = []
    if "S_SAT_COLD" in n:
        limits.append("It is never warmer than <S_SAT_COLD>, for rooms that must stay cold.")
    if "S_DEW_LOW" in n:
        limits.append(
            "Its warmest value falls on a straight line from the warmest of the reset at an outdoor dew point "
            "<P_OA_DEW> of <S_DEW_LOW> to the coldest at <S_DEW_HIGH>."
        )
    if "S_ROOM_DEW" in n:
        limits.append(
            "Its warmest value falls on a straight line from the warmest of the reset, where the dew point of return "
            "air <P_ROOM_DEW> is <S_ROOM_DEW_BAND> or more below <S_ROOM_DEW>, to the coldest at <S_ROOM_DEW>. The "
            "estimate lowers it only as far as keeps rooms at that dew point: this line dries as much or more."
        )
    if limits:
        found.append(n.clause("Q_SAT_LIMIT", "Limits of the supply air setpoint", " ".join(limits)))
    sources = [word for word, true in (("heating coil", f.heating_mode == "hold"), ("economizer", f.economizer),
                                       ("mechanical cooling", f.cools)) if true]  # fmt: skip
    heat = "" if f.heating_mode != "own_setpoint" else " The heating coil holds its own leaving air at <S_HEAT>."
    outputs = ["dampers <P_OA_DAMPER>"]
    outputs += ["heating <P_HEAT>"] if f.heating_mode != "none" else []
    outputs += ["cooling <P_COOL>"] if f.cools else []
    if sources:
        means = "in this order, one after the other and never one against another: " + ", ".join(sources)
    else:
        means = "by mixed air alone, as far as it goes"
    found.append(
        n.clause(
            "Q_SAT_HOLD",
            "Holding supply air",
            f"Supply air <P_SAT> is held to its setpoint <P_SAT_SET> {means}.{heat} Every part reads the same "
            f"setpoint. Outputs: {', '.join(outputs)}.",
        )
    )
    return found


def _duct_pressure(f: Facts, n: Names) -> list[Clause]:
    found = []
    if f.dsp_loop is not None:
        alone = f.setback and f.project.schedule.night_dsp == "design"
        when = "In occupied mode" if alone else "While the fan serves zones"
        found.append(
            n.clause(
                "Q_DSP_MOVE",
                "Duct pressure, the request loop",
                f"{when}, every <S_DSP_STEP>: where requests <P_ASK_P> are no more than <S_DSP_IGNORED>, the setpoint "
                "<P_DSP_SET> falls by <S_DSP_TRIM>. Where they are more, it rises by <S_DSP_RESPOND> for each request "
                "beyond those ignored, at most by <S_DSP_MOST>. It stays between <S_DSP_MIN> and <S_DSP_MAX>.",
            )
        )
    elif "S_FLOW_DESIGN" in n:
        found.append(
            n.clause(
                "Q_DSP_SET",
                "Duct pressure by airflow",
                "The setpoint <P_DSP_SET> follows the supply airflow <P_FLOW> in % of <S_FLOW_DESIGN>: <S_DSP_LINE>. "
                "The airflow is a mean over <S_EVERY>, so that pressure and airflow do not chase each other.",
            )
        )
    elif "S_DSP_LINE" in n:
        night = " In unoccupied hours: <S_DSP_NIGHT>." if "S_DSP_NIGHT" in n else ""
        found.append(
            n.clause(
                "Q_DSP_SET",
                "Duct pressure by outdoor temperature" if f.dsp_moves else "Duct pressure held",
                f"The setpoint <P_DSP_SET> follows the outdoor temperature <P_OAT>: <S_DSP_LINE>.{night}"
                + (" It is worked out anew at least every <S_EVERY>." if f.dsp_moves else ""),
            )
        )
    else:
        found.append(
            n.clause("Q_DSP_SET", "Duct pressure held", "The setpoint <P_DSP_SET> is <S_DSP> while the fan runs.")
        )
    found.append(
        n.clause(
            "Q_DSP_HOLD",
            "Holding duct pressure",
            "The fan <P_FAN> holds duct pressure <P_DSP> to its setpoint <P_DSP_SET>, never below <S_FAN_LEAST> of "
            "its speed. The sensor stays where it is. The pressure loop is tuned to be faster than the terminals' "
            "dampers, and they faster than the reset.",
        )
    )
    return found


def _air_side(f: Facts, n: Names) -> list[Clause]:
    found, oa = [], f.project.outdoor_air
    least = "<S_OA_POSITION>" if oa.control == "position" else "<S_OA_MIN>"
    if f.project.economizer.stuck_frac is not None:
        measured = " <P_OA_FLOW>" if "P_OA_FLOW" in n else ""
        found.append(
            n.clause(
                "Q_OA",
                "Outdoor-air damper as it is",
                "The outdoor-air damper <P_OA_DAMPER> is stuck as found, and this option does not repair it: outdoor "
                f"air{measured} is what it lets through, not the {least} that it should be, and there is no "
                "economizer. The saving is estimated with it so. Repair it before money is spent on a reset.",
            )
        )
    elif oa.control == "position":
        found.append(
            n.clause(
                "Q_OA",
                "Least outdoor air",
                "In occupied mode the outdoor-air damper <P_OA_DAMPER> is never below its least position, set for "
                "<S_OA_POSITION>. With that, outdoor air falls as supply airflow and duct pressure fall: the position "
                "has to be proven at the low end of the resets.",
            )
        )
    else:
        people = " Its part for people follows those present." if oa.control == "people" else ""
        found.append(
            n.clause(
                "Q_OA",
                "Least outdoor air",
                "In occupied mode the outdoor-air damper <P_OA_DAMPER> holds outdoor airflow <P_OA_FLOW> at no less "
                f"than <S_OA_MIN>, whatever the resets do.{people} No reset lowers it.",
            )
        )
    if f.economizer:
        e = f.project.economizer
        shut = {
            "fixed_dry_bulb": "while it is warmer outdoors <P_OAT> than <S_ECO_LIMIT>",
            "differential_dry_bulb": "while it is warmer outdoors <P_OAT> than return air <P_RETURN>",
            "fixed_enthalpy": "while outdoor enthalpy <P_OA_ENTHALPY> is above <S_ECO_ENTHALPY>, or it is warmer "
            "outdoors <P_OAT> than <S_ECO_LIMIT>",
            "differential_enthalpy": "while outdoor enthalpy <P_OA_ENTHALPY> is above that of return air "
            "<P_RETURN>, or it is warmer outdoors <P_OAT> than <S_ECO_LIMIT>",
        }[e.type]
        beside = (
            "Mechanical cooling may run beside full outdoor air."
            if e.integrated
            else "Mechanical cooling and the open economizer do not run together."
        )
        found.append(
            n.clause(
                "Q_ECO",
                "Economizer and resets",
                f"The economizer is shut {shut}. Else outdoor and return dampers <P_OA_DAMPER> hold mixed air <P_MAT> "
                "at the supply setpoint <P_SAT_SET>, less the warmth of the fan, before mechanical cooling starts. "
                f"{beside} A warmer supply setpoint closes the dampers sooner: that is meant. The resets do not read "
                "mixed air, and the economizer has no setpoint of its own.",
            )
        )
    if f.direct_expansion:
        found.append(
            n.clause(
                "Q_DX",
                "Direct expansion",
                "Compressors stay off below <S_DX_LOCKOUT> outdoors <P_OAT> and, unless their maker allows less, "
                "below <S_DX_FLOW> of supply airflow, and keep the manufacturer's least run and rest times <P_COOL>. "
                "Between stages supply air <P_SAT> swings about its setpoint <P_SAT_SET>: the reset reads the "
                "setpoint, not the swing.",
            )
        )
    found.append(
        n.clause(
            "Q_FREEZE",
            "Cold mixed air",
            "Below <S_FREEZE> of mixed air <P_MAT> an alarm is given and the outdoor-air damper goes to its least "
            "position; heating, coil pumps and cut-outs <P_CUTOUT> act as they did. A supply setpoint, warm or cold, "
            "never holds dampers open against this.",
        )
    )
    return found


def _failures(f: Facts, n: Names) -> list[Clause]:
    found = []
    if f.sat_moves or f.dsp_moves:
        sat = "supply air to <S_SAT_FALLBACK>" if f.sat_moves else ""
        dsp = "duct pressure to <S_DSP_FALLBACK>" if f.dsp_moves else ""
        found.append(
            n.clause(
                "Q_FALLBACK",
                "Fallback",
                "Where a clause below says so, the setpoint goes to its fallback: "
                f"{' and '.join(filter(None, (sat, dsp)))}. It moves there within <S_RAMP>, stays until the cause has "
                "been gone for <S_RETURN> or an operator ends it, and is shown as fallback at the display. The reset "
                "then goes on from there.",
            )
        )
    if reads_outdoor(f):
        parts = []
        if f.sat_moves:
            parts.append("supply air goes to its fallback <S_SAT_FALLBACK>")
        if f.dsp_moves and "S_DSP_LINE" in n and "S_FLOW_DESIGN" not in n:
            parts.append("duct pressure goes to its fallback <S_DSP_FALLBACK>")
        found.append(
            n.clause(
                "Q_FAIL_OAT",
                "Outdoor temperature fails",
                "Outdoor temperature <P_OAT> out of its range, for <S_SENSOR>, or not changed for <S_FROZEN>: alarm; "
                f"{' and '.join(parts)}" + ("; the economizer shuts to least outdoor "
                                                               "air." if f.economizer else "."),
            )
        )  # fmt: skip
    found.append(
        n.clause(
            "Q_FAIL_SAT",
            "Supply air temperature fails",
            "Supply air temperature <P_SAT> out of its range for <S_SENSOR>: alarm; heating valve shut unless "
            "cut-outs open it, dampers to least outdoor air, cooling where it was until an operator acts."
            + (" The supply air reset stops where it is." if f.sat_moves else ""),
        )
    )
    found.append(
        n.clause(
            "Q_FAIL_DSP",
            "Duct pressure sensor fails",
            "Duct pressure <P_DSP> out of its range for <S_SENSOR>: alarm; the fan <P_FAN> goes to the speed that was "
            "noted in test T_DSP_HIGH and stays there; the high-pressure cut-out stays in force."
            + (" The pressure reset stops." if f.dsp_moves else ""),
        )
    )
    if "S_FLOW_DESIGN" in n:
        found.append(
            n.clause(
                "Q_FAIL_FLOW",
                "Airflow station fails",
                "Supply airflow <P_FLOW> out of its range, or no change in an hour of occupied mode, for <S_SENSOR>: "
                "alarm; duct pressure goes to its fallback <S_DSP_FALLBACK>.",
            )
        )
    if "S_DEW_LOW" in n or "S_ROOM_DEW" in n:
        point = "<P_OA_DEW>" if "S_DEW_LOW" in n else "<P_ROOM_DEW>"
        found.append(
            n.clause(
                "Q_FAIL_DEW",
                "Dew point fails",
                f"Dew point {point} out of its range for <S_SENSOR>: alarm; supply air goes to its fallback "
                "<S_SAT_FALLBACK>, which dries most.",
            )
        )
    if f.listens:
        what = " and ".join(
            text
            for text, true in (
                ("supply air <S_SAT_FALLBACK>", f.sat_way.listens),
                ("duct pressure <S_DSP_FALLBACK>", f.dsp_way.listens),
            )
            if true
        )
        found.append(
            n.clause(
                "Q_FAIL_ZONE",
                "Zones without data",
                "A zone that gives no data for <S_SENSOR> sends no request and is in an alarm. Where more than "
                f"<S_OFFLINE> of all zones give none, the reset goes to its fallback: {what}. A zone sensor that "
                "reads below <S_ZONE_LOW> or above <S_ZONE_HIGH> counts as no data.",
            )
        )
    return found


def _last(f: Facts, n: Names) -> list[Clause]:
    return [
        n.clause(
            "Q_OVERRIDE",
            "Overrides by hand",
            "A setpoint or output that an operator overrides <P_OVERRIDE> goes back by itself after <S_OVERRIDE>, "
            "unless it is a stop for safety. Each is logged with name, time and reason. To help one room its own "
            "terminal is put right; the setpoint of the whole unit stays.",
        )
    ]
