"""The cost-seeking supply air loop as it is handed over: its figures, clauses and tests."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np

from ..as_run.seek import NOT_HELD_F, VALVE_SHUT
from ..rates import Rates, typical_prices
from ..strategies.cost_seeking import AT_END_FRAC, NO_COIL_F, Readings, cost_usd_h, direction
from .facts import Facts
from .records import Clause, Names, Setpoint, Test

METHOD = "result: as the estimate takes it"
# Costs of a test agree within this. [share]
COST_FRAC = 0.02


def setpoints_of(f: Facts) -> list[Setpoint]:
    """Figures that the loop reads beyond those of requests."""
    seeker = f.seeker
    if seeker is None:
        return []
    figures, source = seeker.figures, f.source
    number = lambda id_, label, value, unit, why: Setpoint(
        id=id_, label=label, value=f"{value:.4g} {unit}".rstrip(), source=why, number=float(value), unit=unit
    )
    cooling = [(figures.cooling_kwh, "kWh"), (figures.cooling_kbtu, "kBtu at the meter")]
    heat = [(figures.heat_kwh, "kWh"), (figures.heat_therm, "therm"), (figures.heat_kbtu, "kBtu at the meter")]
    own = lambda path, given: source(path) if given is not None else f"{METHOD}: {path}, from the plant of the estimate"
    return [
        number("S_SEEK_PERIOD", "Cost estimate, time from one to the next", seeker.period_min, "min",
               source("sat.period_min")),
        number("S_SEEK_STEP", "Cost estimate, step tried warmer and colder", seeker.step_f, "degF",
               source("sat.step_f")),
        number("S_SEEK_MOVE", "Supply air loop, move for cost in a period", seeker.move_f, "degF",
               f"{source('sat.rate_f_h')}; {source('sat.step_f')}"),
        number("S_SEEK_OFF", "Supply air off its setpoint beyond which cost moves nothing", NOT_HELD_F, "degF",
               METHOD),
        number("S_SEEK_FAN", "Cost estimate, power of airflow in fan power", figures.fan_exponent, "",
               source("sat.fan_exponent")),
        Setpoint(id="S_SEEK_COOLING", label="Cost estimate, energy of a kBtu of cooling",
                 value=_needs(cooling), source=own("sat.cooling_kw_ton", f.sat.cooling_kw_ton)),
        Setpoint(id="S_SEEK_HEAT", label="Cost estimate, energy of a kBtu of heat", value=_needs(heat),
                 source=own("sat.heat_eff_frac", f.sat.heat_eff_frac)),
        number("S_SEEK_AIR", "Heat of a degree of an airflow", _fs(f), "Btu/h per cfm and degF",
               f"{METHOD}: site pressure"),
        Setpoint(id="S_PRICES", label="Prices of energy in force", value=_prices(f), source=_price_source(f)),
    ]  # fmt: skip


def _needs(parts) -> str:
    return " and ".join(f"{value:.4g} {unit}" for value, unit in parts if value > 0.0) or "none"


def _fs(f: Facts) -> float:
    return float(f.results.runs[f.c.id].rows.loads.fs)


def _kinds(f: Facts) -> list[tuple[str, str, str]]:
    """Prices that the loop reads: input, unit, what of."""
    assert f.seeker is not None
    figures = f.seeker.figures
    found = [("electricity_usd_kwh", "kWh", "electricity")]
    found += [("fuel_usd_therm", "therm", "fuel")] if figures.heat_therm > 0.0 else []
    found += [("cooling_usd_kbtu", "kBtu", "purchased cooling")] if figures.cooling_kbtu > 0.0 else []
    found += [("heat_usd_kbtu", "kBtu", "purchased heat")] if figures.heat_kbtu > 0.0 else []
    return found


def _prices(f: Facts) -> str:
    prices, currency = f.unit.prices, f.project.prices.currency
    said = []
    for name, unit, of in _kinds(f):
        if isinstance(prices, Rates):
            values = prices.usd[name][:-1]
            text = "; ".join(f"{label}: {value:.4g}" for label, value in zip(prices.labels, values))
            text = f"{values[0]:.4g}" if np.ptp(values) == 0.0 else f"by rate period ({text})"
        else:
            text = f"{getattr(prices, name):.4g}"
        said.append(f"{text} {currency}/{unit} of {of}")
    return ", ".join(said)


def _price_source(f: Facts) -> str:
    if isinstance(f.unit.prices, Rates):
        return f"{METHOD}: marginal prices of the tariff, changed with it"
    return f.source("prices.electricity_usd_kwh")


def clauses_of(f: Facts, n: Names) -> list[Clause]:
    """Reading, estimate and move, and what requests do before."""
    if f.seeker is None:
        return []
    oa = "<P_OA_FLOW> over the supply airflow" if "P_OA_FLOW" in n else "its damper <P_OA_DAMPER>, as tested"
    heated = f.reheats and "P_Z_HEAT" in n
    valve = f"its reheat valve <P_Z_HEAT> more than {100.0 * VALVE_SHUT:g} % open" if heated else "its heat on"
    end = f"{100.0 * AT_END_FRAC:g} %"
    outdoor = (
        "keeps its airflow (its share goes with one over the supply airflow)"
        if f.seeker.figures.oa_by_flow
        else "keeps its share"
    )
    when = "While the unit runs" if f.project.schedule.unoccupied_mode == "continuous" else "In occupied mode"
    economizer = (
        f" While the economizer holds mixed air within {NO_COIL_F:g} degF of S less F, it goes on doing so: M' is S' "
        "less F', but not below outdoor temperature <P_OAT>."
        if f.economizer
        else ""
    )
    central = (
        " Where S' less F' is above M', the air handler's coil heats: that heat is added to the heat."
        if f.seeker.figures.holds_by_heat
        else ""
    )
    return [
        n.clause(
            "Q_SAT_MOVE",
            "Supply air, requests go first",
            f"{when}, every <S_SAT_STEP>: where requests <P_ASK_T> are more than <S_SAT_IGNORED>, the loop falls by "
            "<S_SAT_RESPOND> for each request beyond those ignored, at most by <S_SAT_MOST>. Requests within those "
            "ignored do not move it. It stays between <S_SAT_MIN> and <S_SAT_MAX>.",
        ),
        n.clause(
            "Q_SEEK_ZONES",
            "Cost estimate, zones",
            "The estimate is made three times from the same readings, none older than <S_EVERY>: for supply air S' = S "
            "less <S_SEEK_STEP>, S, and S plus <S_SEEK_STEP>, where S is supply air <P_SAT> as measured. A zone with "
            f"{valve} keeps its airflow <P_Z_FLOW> V and its temperature <P_Z_TEMP> T; its heat changes by "
            f"<S_SEEK_AIR> x V x (S - S'). Any other zone more than {end} above its least airflow keeps T, and its "
            "airflow becomes V x (T - S) / (T - S'), no less than its least and no more than its most; at its most "
            "airflow this holds for colder air alone. All zones that are left keep their airflow, and their "
            "temperature moves with S'.",
        ),
        n.clause(
            "Q_SEEK_UNIT",
            "Cost estimate, air handler",
            "Supply airflow V is the sum of the zones' <P_Z_FLOW> (with what leaks, where a station measures it); V' "
            "the same after Q_SEEK_ZONES. Fan power <P_FAN_KW> becomes P' = P x (V'/V) to the power <S_SEEK_FAN>; its "
            "warmth is F = 3412 x P / (<S_SEEK_AIR> x V), and F' likewise. The share of outdoor air is from "
            f"{oa}; outdoor air {outdoor}. Return air follows from mixed air <P_MAT>, outdoor temperature <P_OAT> and "
            "that share, and moves as the mean of the zones by airflow does. Mixed air M' follows from return air, "
            f"outdoor temperature and the new share; at full outdoor air it is as measured.{economizer} Cooling is "
            f"<S_SEEK_AIR> x V' x (M' - S' + F'), not below 0.{central} Moisture is left out: what stays in the rooms "
            "is no saving.",
        ),
        n.clause(
            "Q_SEEK_COST",
            "Cost estimate, cost",
            "Cost is P' at the price of electricity, plus cooling with <S_SEEK_COOLING> for each kBtu, plus the change "
            "of heat with <S_SEEK_HEAT> for each kBtu, at the prices in force: <S_PRICES>. Who pays the bills changes "
            "the prices when the tariff changes.",
        ),
        n.clause(
            "Q_SEEK_MOVE",
            "Supply air, the cheaper way",
            f"{when}, every <S_SEEK_PERIOD>, where requests <P_ASK_T> are no more than <S_SAT_IGNORED> and supply air "
            "<P_SAT> is within <S_SEEK_OFF> of its setpoint: the loop moves by <S_SEEK_MOVE> towards the cheaper of a "
            "step warmer and a step colder, where that is cheaper than to stay. It stays between <S_SAT_MIN> and "
            "<S_SAT_MAX>.",
        ),
        n.clause(
            "Q_SAT_SET",
            "Supply air, the setpoint",
            "The setpoint <P_SAT_SET> is the loop's value, held down by the limits below where there are any. Where a "
            "limit holds it, the loop is set to the limit, so that it is back at once when the limit lets go.",
        ),
    ]


def example(f: Facts) -> tuple[Readings, list[float], float]:
    """Readings of three zones for a test, their costs a step colder, as it is and a step warmer [USD/h], and the
    way."""
    seeker = f.seeker
    assert seeker is not None
    row = lambda value: np.array([float(value)])
    read = Readings(
        flow_cfm=np.array([[1200.0, 300.0, 400.0]]),
        least_cfm=np.array([[300.0, 300.0, 400.0]]),
        most_cfm=np.array([[1500.0, 1000.0, 1000.0]]),
        room_f=np.array([[75.0, 70.0, 73.0]]),
        heats=np.array([[False, True, False]]),
        multiplier=np.ones(3),
        supply_cfm=row(1900.0),
        fan_kw=row(1.2),
        sat_f=row(57.0),
        mat_f=row(75.0),
        oat_f=row(85.0),
        oa_frac=row(0.2),
        economizing=np.array([False]),
        fs=_fs(f),
    )
    prices = typical_prices(f.unit.prices)
    if isinstance(f.unit.prices, Rates):
        prices = SimpleNamespace(**{name: float(values[0]) for name, values in f.unit.prices.usd.items()})
    cost = lambda step: float(cost_usd_h(read, seeker.figures, prices, step)[0])
    way = direction(read, seeker.figures, prices, seeker.step_f)
    return read, [cost(-seeker.step_f), cost(0.0), cost(seeker.step_f)], float(way[0])


def tests_of(f: Facts, n: Names) -> list[Test]:
    """Tests of requests, estimate and moves."""
    seeker, loop = f.seeker, f.sat_loop
    if seeker is None or loop is None:
        return []
    middle = 0.5 * (loop.low + loop.high)
    after = lambda beyond: max(middle - min(abs(loop.respond) * beyond, abs(loop.respond_most)), loop.low)
    many = loop.ignored + np.ceil(abs(loop.respond_most) / abs(loop.respond)) + 2.0
    read, (colder, stays, warmer), way = example(f)
    currency = f.project.prices.currency
    # Differences are what is judged: the cost of heat counts from what zones take now.
    say = lambda value: f"{1000.0 * value:+.1f} thousandths of {currency}/h"
    moves = {-1.0: "falls", 0.0: "stays", 1.0: "rises"}[way]
    by_period = " at the prices of the first rate period of <S_PRICES>" if isinstance(f.unit.prices, Rates) else ""
    heat = "the valve <P_Z_HEAT> of the second half open" if "P_Z_HEAT" in n else "the heat of the second on"
    oa = "<P_OA_FLOW> 380 cfm" if "P_OA_FLOW" in n else "a damper <P_OA_DAMPER> at which 20 % is outdoor air"
    return [
        n.test(
            "T_SAT_MOVE",
            "Supply air: requests go first",
            [
                f"In occupied mode set the loop to {middle:.2f} degF and force the sum of requests <P_ASK_T> for one "
                f"move each to {loop.ignored + 1.0:g} and {many:g} (ignored: <S_SAT_IGNORED>).",
                f"Force the sum to {many:g} for two periods <S_SEEK_PERIOD>.",
            ],
            [
                f"After one move every <S_SAT_STEP>: {after(1.0):.2f} degF (response <S_SAT_RESPOND>) and "
                f"{after(many - loop.ignored):.2f} degF (no more than <S_SAT_MOST>), within "
                f"{0.25 * abs(loop.respond):.2f} degF.",
                "No estimate of cost warms it meanwhile; it ends at <S_SAT_MIN> and does not pass it.",
            ],
        ),
        n.test(
            "T_SEEK_COST",
            "Supply air: the estimate of cost",
            [
                "On the bench, or with the zones' inputs forced, give the estimate three zones alone: airflow "
                "<P_Z_FLOW> 1200, 300 and 400 cfm; least airflow 300, 300 and 400; most 1500, 1000 and 1000; "
                f"temperature <P_Z_TEMP> 75, 70 and 73 degF; {heat}, of the others shut; supply airflow 1900 cfm; "
                "fan power <P_FAN_KW> 1.2 kW; supply air <P_SAT> 57, mixed air <P_MAT> 75 and outdoor temperature "
                f"<P_OAT> 85 degF; outdoor air {oa}; economizer not acting.",
                f"Read the three costs{by_period}: figures <S_SEEK_STEP>, <S_SEEK_AIR>, <S_SEEK_FAN>, "
                "<S_SEEK_COOLING>, <S_SEEK_HEAT>, <S_PRICES>.",
                "Wait <S_EVERY> after a change of a reading and read them again.",
            ],
            [
                f"Against staying, a step colder costs {say(colder - stays)} and a step warmer {say(warmer - stays)}, "
                f"each within {100.0 * COST_FRAC:g} % of the larger of both.",
                "A changed reading is in all three costs.",
            ],
        ),
        n.test(
            "T_SEEK_MOVE",
            "Supply air: the cheaper way",
            [
                f"With the readings of T_SEEK_COST and no requests, set the loop to {middle:.2f} degF; watch the "
                "setpoint <P_SAT_SET> for three periods <S_SEEK_PERIOD>.",
                "Multiply the price of electricity by 10, then that of heat; watch three periods each. Set both back.",
                "Hold supply air <P_SAT> by hand 2 degF off its setpoint for a period.",
            ],
            [
                f"The loop {moves} by <S_SEEK_MOVE> a period in the first case. In all it goes the way of the lower "
                "cost that it shows, between <S_SAT_MIN> and <S_SAT_MAX>, one move a period.",
                "With supply air more than <S_SEEK_OFF> off its setpoint it does not move.",
            ],
        ),
    ]
