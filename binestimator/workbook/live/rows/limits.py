"""Columns of the warmest supply air that limits allow."""

from __future__ import annotations

from ....strategies.limits import sat_limits
from ....strategies.registry import sat_strategy
from ..constants import ln_pressure
from .air import least_outdoor_air
from .chain import Chain
from .fans import supply_fan
from .requests import request


def supply_limits(chain: Chain) -> None:
    """Warmest supply air that limits allow, ``sat_top``."""
    g, kind = chain.grid, chain.project.limits.humidity
    g.group("Limits of the supply air")
    top = "MIN({p.sat_high},MAX({c.zone_top},{p.sat_low}))"
    if kind == "outdoor_dewpoint":
        chain.col(
            "humidity_top",
            "Warmest by outdoor dew point",
            "°F",
            "{p.sat_low}+MEDIAN(0,"
            "({limits.oa_dewpoint_high_f}-{L.dewpoint})/({limits.oa_dewpoint_high_f}-{limits.oa_dewpoint_low_f}),"
            "1)*({p.sat_high}-{p.sat_low})",
        )
        top = "MIN({humidity_top},{p.sat_high},MAX({c.zone_top},{p.sat_low}))"
    elif kind == "room_dewpoint":
        _room_dewpoint(chain)
        top = "MIN({humidity_top},{p.sat_high},MAX({c.zone_top},{p.sat_low}))"
    chain.col("sat_top", "Warmest that limits allow", "°F", top)
    low, high = sat_strategy(chain.candidate.sat).range(chain.candidate.sat)
    limits = sat_limits(chain.unit, chain.run.rows.on, chain.run.rows.loads, low, high)
    if "humidity_top" in g:
        chain.compare_rows("humidity_top", limits.humidity_f)
    chain.compare_rows("sat_top", limits.max_f)


def _room_dewpoint(chain: Chain) -> None:
    """Warmest supply air that keeps the rooms at the humid limit, at the airflow of the coldest."""
    g = chain.grid
    g.group("Limit by room dew point: warmest supply air that keeps the rooms dry enough")
    s = "({p.sat_low}+{air_handler.duct_gain_f})"
    g.add(
        "h_asked",
        "Zones ask for, at the coldest supply air",
        "cfm",
        f"SUM({{z.mult}}*({request(chain, 'h_', s, heats=False)}))",
        "f0",
        array=True,
    )
    chain.col("h_flow", "Airflow", "cfm", "MIN({h_asked},{c.max_cfm})", "f0")
    least_outdoor_air(chain, "h_oa", "{h_flow}")
    chain.col(
        "h_dry_w",
        "Rooms without any drying",
        "lb/lb",
        "{humidity_ratio}+{latent}/MAX({fl}*({h_flow}*{h_oa}+{infiltration}),{k.least_flow})",
        "f5",
    )
    chain.col(
        "h_coil_w",
        "Leaving air that holds the limit",
        "lb/lb",
        "MAX(({c.humid_w}*{fl}*({h_flow}+{infiltration})-{fl}*{infiltration}*{humidity_ratio}-{latent})/MAX({fl}*{h_flow},{k.least_flow})/{air_handler.coil_rh_frac},{k.least_coil_w})",
        "f5",
    )
    chain.col("h_ln", "ln of its vapour pressure", "", "LN({pressure}*{h_coil_w}/({k.molar}+{h_coil_w}))", "f5")
    t = "{k.freezing}+{k.rankine}"
    for k in range(1, 6):
        now = f"({t})" if k == 1 else f"{{h_t{k - 1}}}"
        a = [f"{{k.water_{i}}}" for i in range(7)]
        slope = f"({a[2]}+{now}*(2*{a[3]}+{now}*(3*{a[4]}+{now}*4*{a[5]}))+({a[6]}-{a[0]}/{now})/{now})"
        chain.col(
            f"h_t{k}",
            f"Dew point by Newton, step {k}",
            "°R",
            f"1/(1/{now}+({ln_pressure('water', now)}-{{h_ln}})/({slope}*{now}^2))",
        )
    draw = chain.project.fan.arrangement == "draw_through"
    if draw:
        supply_fan(chain, "h_", "h_flow", chain.drawing.name("c.lowest_inwc", low=0.0))
    rise = "+{h_fan_rise_f}" if draw else ""
    chain.col(
        "humidity_top",
        "Warmest by room dew point",
        "°F",
        f"IF({{h_dry_w}}<={{c.humid_w}},{{p.sat_high}},MEDIAN({{p.sat_low}},{{h_t5}}-{{k.rankine}}{rise},"
        f"{{p.sat_high}}))",
    )
