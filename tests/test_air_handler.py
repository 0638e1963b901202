"""Air handler: outdoor air, economizers, mixing and the moisture balance against other routes."""

import numpy as np
import pytest
from builders import conditions_of, random_conditions, unit_of
from hypothesis import strategies as st
from laws import law

from binestimator.model import air_handler as ah
from binestimator.model.loads import zone_loads
from binestimator.model.system import evaluate
from binestimator.moist_air import enthalpy_btu_lb, saturation_humidity_ratio


def one(*values):
    return tuple(np.atleast_1d(np.asarray(v, dtype=float)) for v in values)


# --- outdoor air ------------------------------------------------------------------------------


@pytest.mark.crosscheck
def test_outdoor_air_by_flow_position_and_people():
    """1800 cfm of 6000 is 30 %; a position of 20 % stays 20 %; people: 0.06 cfm/ft2 and 5 cfm/person over 0.75."""
    flow, on, people = one(6000.0, 1.0, 450.0)
    assert ah.minimum_oa_frac(unit_of(), flow, on, people)[0] == pytest.approx(0.3)
    assert ah.minimum_oa_frac(unit_of(outdoor_air={"control": "position"}), flow, on, people)[0] == pytest.approx(0.2)
    by_people = unit_of(outdoor_air={"control": "people", "minimum_cfm": None})
    assert ah.minimum_oa_frac(by_people, flow, on, people)[0] == pytest.approx((0.06 * 12500 + 450) / 0.75 / 6000)


@pytest.mark.invariant
@pytest.mark.parametrize("control", ["flow", "position", "people"])
def test_outdoor_air_shut_when_unoccupied_and_never_above_the_dampers(control):
    unit = unit_of(outdoor_air={"control": control, "maximum_frac": 0.6})
    flow, people = np.array([0.0, 10.0, 500.0, 9000.0]), np.full(4, 300.0)
    assert np.all(ah.minimum_oa_frac(unit, flow, np.zeros(4), people) == 0.0)
    share = ah.minimum_oa_frac(unit, flow, np.ones(4), people)
    assert np.all((share >= 0) & (share <= 0.6))


@pytest.mark.crosscheck
def test_position_follows_supply_air_and_flow_does_not():
    """More supply air at a fixed position brings more outdoor air: what changes the sign of answers."""
    flow = np.array([4000.0, 8000.0])
    cfm = {control: flow * ah.minimum_oa_frac(unit_of(outdoor_air={"control": control}), flow, np.ones(2), np.zeros(2))
           for control in ("flow", "position")}  # fmt: skip
    assert cfm["flow"] == pytest.approx([1800.0, 1800.0])
    assert cfm["position"] == pytest.approx([800.0, 1600.0])


@pytest.mark.crosscheck
def test_required_outdoor_air():
    on, people = one(1.0, 450.0)
    assert ah.required_oa_cfm(unit_of(outdoor_air={"required_cfm": 1900}), on, people) == pytest.approx(
        1900.0
    )  # whatever the minimum is
    by_people = unit_of(outdoor_air={"control": "people"})
    assert ah.required_oa_cfm(by_people, on, people) == pytest.approx((0.06 * 12500 + 450) / 0.75)
    assert ah.required_oa_cfm(by_people, np.zeros(1), people) == 0.0


# --- economizers --------------------------------------------------------------------------------


def allowed(kind, oat, w_out=0.008, return_f=75.0, w_return=0.009, **economizer):
    unit = unit_of(economizer={"type": kind, **economizer})
    return bool(ah.economizer_allowed(unit, *one(oat, w_out, return_f, w_return))[0])


@pytest.mark.published
def test_fixed_dry_bulb_limit_of_the_code():
    """90.1 table 6.5.1.1.3: off above 65 degF in 1A to 4A (the default)."""
    assert allowed("fixed_dry_bulb", 65.0) and not allowed("fixed_dry_bulb", 65.01)


@pytest.mark.published
def test_fixed_enthalpy_limit_of_the_code():
    """90.1: off above 28 Btu/lb or the dry-bulb cap of 75 degF. At 70 degF, 28 Btu/lb is W 0.01023
    by h = 0.240 t + W (1061 + 0.444 t)."""
    limits = {"high_limit_f": 75}
    w = (28.0 - 0.24 * 70.0) / (1061.0 + 0.444 * 70.0)
    assert allowed("fixed_enthalpy", 70.0, w - 1e-6, **limits)
    assert not allowed("fixed_enthalpy", 70.0, w + 1e-6, **limits)
    assert not allowed("fixed_enthalpy", 75.1, 0.002, **limits)


@pytest.mark.crosscheck
def test_differential_types_compare_with_return_air():
    assert allowed("differential_dry_bulb", 74.9) and not allowed("differential_dry_bulb", 75.1)
    limits = {"high_limit_f": 80}
    assert allowed("differential_enthalpy", 74.0, 0.0085, **limits)
    assert not allowed("differential_enthalpy", 74.0, 0.0110, **limits)
    assert allowed("differential_enthalpy", 76.0, 0.0080, **limits)  # warmer, but of less enthalpy
    assert not allowed("differential_enthalpy", 81.0, 0.0010, **limits)
    assert not allowed("none", 50.0)


def mixed(oat, target=53.0, return_f=75.0, x0=0.2, open_=True, **changes):
    unit = unit_of(**changes)
    m = ah.mix(unit, np.array([open_]), *one(x0, oat, return_f, target))
    return m.oa_frac[0], m.mat_f[0], bool(m.economizing[0])


@pytest.mark.crosscheck
def test_mixing_by_hand():
    """(75 - 53)/(75 - 31) = 0.5; fully open between target and limit; minimum when not allowed."""
    assert mixed(31.0) == (pytest.approx(0.5), pytest.approx(53.0), True)
    assert mixed(60.0) == (1.0, 60.0, True)
    assert mixed(-40.0) == (pytest.approx(0.2), pytest.approx(75 - 0.2 * 115), False)
    assert mixed(60.0, open_=False) == (0.2, pytest.approx(72.0), False)
    assert mixed(60.0, outdoor_air={"maximum_frac": 0.7}) == (0.7, pytest.approx(64.5), True)


@pytest.mark.crosscheck
def test_not_integrated_economizer_works_alone_or_not_at_all():
    free = {"economizer": {"integrated": False}}
    assert mixed(52.0, **free)[0] == pytest.approx(22 / 23)
    assert mixed(54.0, **free)[0] == 0.2


@pytest.mark.invariant
def test_stuck_damper_stays():
    stuck = {"economizer": {"stuck_frac": 0.65}}
    for oat in (20.0, 50.0, 90.0):
        x, mat, economizing = mixed(oat, **stuck)
        assert x == 0.65 and mat == pytest.approx(75 + 0.65 * (oat - 75)) and not economizing


@pytest.mark.invariant
@law(
    25,
    100,
    oat=st.floats(-20, 110),
    target=st.floats(40, 66),
    room=st.floats(66, 82),
    x0=st.floats(0, 1),
    top=st.floats(0.1, 1),
)
def test_mixed_air_keeps_its_bounds_and_helps(oat, target, room, x0, top):
    """Within the dampers' range, between its two sources, and never colder than wanted by choice."""
    x, mat, _ = mixed(oat, target, room, x0, outdoor_air={"maximum_frac": top})
    assert x0 - 1e-12 <= x <= max(top, x0) + 1e-12
    assert min(oat, room) - 1e-9 <= mat <= max(oat, room) + 1e-9
    if x > x0 + 1e-9:
        assert mat >= min(target, room) - 1e-9 or oat >= target


@pytest.mark.invariant
@law(25, 100, oat=st.floats(-20, 65), target=st.floats(40, 66), x0=st.floats(0, 0.6))
def test_mixing_is_continuous_below_the_limit(oat, target, x0):
    assert mixed(oat + 1e-7, target, 75.0, x0)[0] == pytest.approx(mixed(oat, target, 75.0, x0)[0], abs=1e-6)
    assert mixed(oat, target + 1e-7, 75.0, x0)[0] == pytest.approx(mixed(oat, target, 75.0, x0)[0], abs=1e-6)


# --- moisture ---------------------------------------------------------------------------------

moist = st.fixed_dictionaries(
    {
        "flow": st.floats(500, 20000),
        "infiltration": st.floats(0, 1000),
        "x": st.floats(0, 1),
        "rh_out": st.floats(0.1, 1.0),
        "oat": st.floats(30, 95),
        "latent": st.floats(0, 60000),
        "entering": st.floats(50, 85),
        "drop": st.floats(0, 25),
        "drying": st.floats(0.3, 1.0),
        "pressure": st.floats(11.5, 14.8),
    }
)


@pytest.mark.crosscheck
@law(25, 100, moist)
def test_moisture_against_an_iterative_solution(v):
    """Room humidity ratio that closes the room balance, found by bracketing, with the coil law
    written anew: Wl = Wm - w max(Wm - Wc, 0)."""
    from scipy.optimize import brentq

    if v["x"] * v["flow"] + v["infiltration"] < 50.0:
        v = {**v, "infiltration": 50.0}
    unit = unit_of()
    p, fl = v["pressure"], 4840.0 * v["pressure"] / 14.696
    w_out = v["rh_out"] * float(saturation_humidity_ratio(v["oat"], p))
    leaving = v["entering"] - v["drop"]
    got = ah.moisture(
        unit, fl, *one(v["flow"], v["infiltration"], v["x"], w_out, v["latent"], v["entering"], leaving), p, v["drying"]
    )
    w_coil = 0.95 * float(saturation_humidity_ratio(leaving, p))
    wet = min(max(v["drop"] / 3.0, 0.0), 1.0) * v["drying"]

    def leaving_w(room):
        w_mixed = v["x"] * w_out + (1 - v["x"]) * room
        return w_mixed - wet * max(w_mixed - w_coil, 0.0)

    def excess(room):
        return v["flow"] * (leaving_w(room) - room) + v["infiltration"] * (w_out - room) + v["latent"] / fl

    ceiling = max(float(saturation_humidity_ratio(80.0, p)), w_out)
    room = brentq(excess, -0.001, 2.0, xtol=1e-15, rtol=1e-14)
    if room < ceiling - 1e-9 and w_out + v["latent"] / fl / (v["x"] * v["flow"] + v["infiltration"]) < ceiling:
        assert got.room[0] == pytest.approx(room, rel=1e-9)
        assert got.leaving[0] == pytest.approx(leaving_w(room), rel=1e-9)
    else:
        assert got.room[0] <= ceiling + 1e-12


@pytest.mark.invariant
@law(25, 100, moist)
def test_coil_never_adds_moisture(v):
    unit = unit_of()
    w_out = v["rh_out"] * float(saturation_humidity_ratio(v["oat"], v["pressure"]))
    got = ah.moisture(
        unit,
        4840.0,
        *one(v["flow"], v["infiltration"], v["x"], w_out, v["latent"], v["entering"], v["entering"] - v["drop"]),
        v["pressure"],
        v["drying"],
    )
    assert got.leaving[0] <= got.mixed[0] + 1e-15 and np.isfinite(got.room[0])


@pytest.mark.invariant
@law(25, 100, moist, st.sampled_from(["x", "oat", "latent", "entering", "drop", "flow", "infiltration"]))
def test_moisture_is_continuous(v, which):
    """Where the coil starts to work (drop 0), where it turns wet, and at the humidity ceiling."""
    unit = unit_of()
    if v["x"] * v["flow"] + v["infiltration"] < 50.0:
        v = {**v, "infiltration": 50.0}

    def latent_btuh(values):
        w_out = values["rh_out"] * float(saturation_humidity_ratio(values["oat"], values["pressure"]))
        got = ah.moisture(
            unit,
            4840.0,
            *one(
                values["flow"],
                values["infiltration"],
                values["x"],
                w_out,
                values["latent"],
                values["entering"],
                values["entering"] - values["drop"],
            ),
            values["pressure"],
            values["drying"],
        )
        return 4840.0 * values["flow"] * float(got.mixed[0] - got.leaving[0]), float(got.room[0])

    a, b = latent_btuh(v), latent_btuh({**v, which: v[which] + 1e-7 if which != "x" else min(v["x"] + 1e-7, 1.0)})
    assert b[1] == pytest.approx(a[1], abs=1e-6)
    assert b[0] == pytest.approx(a[0], abs=2.0)  # of up to a million Btu/h


@pytest.mark.invariant
def test_coil_load_fades_in_as_mixed_air_crosses_the_coil_temperature():
    """Humid mixed air a hair above the leaving temperature: no jump to full drying."""
    unit = unit_of()
    drop = np.linspace(0.0, 6.0, 601)
    rows = np.ones(601)
    got = ah.moisture(
        unit, 4840.0, 8000 * rows, 50 * rows, 0.5 * rows, 0.012 * rows, 20000 * rows, 55.0 + drop, 55.0 * rows, 14.696
    )
    latent = 4840.0 * 8000 * (got.mixed - got.leaving)
    assert latent[0] == 0.0
    assert np.abs(np.diff(latent)).max() < 0.01 * latent.max()
    assert np.all(got.wet_frac[drop >= 3.0] == 1.0)


@pytest.mark.crosscheck
def test_coil_load_against_the_enthalpy_form():
    """Sensible plus latent with 1.08 and 4840 against 4.5 cfm (h1 - h2), at standard pressure, in all
    cooling rows: within 2 %, since 4840 corresponds to 1076 Btu/lb and 1.08 leaves out the heat of vapour."""
    unit = unit_of(economizer={"type": "none"})
    c = random_conditions(400, 6)
    loads = zone_loads(unit, c)
    s = evaluate(unit, c, loads, np.full(400, 55.0), np.full(400, 1.5))
    h_in = enthalpy_btu_lb(s.coil_entering_f, s.mixed_humidity_ratio)
    h_out = enthalpy_btu_lb(s.coil_leaving_f, s.leaving_humidity_ratio)
    by_enthalpy = 4.5 * s.flow_cfm * (h_in - h_out) / 1000.0
    cooling = s.cooling_kbtuh > 0.02 * s.cooling_kbtuh.max()
    assert cooling.sum() > 100
    assert s.cooling_kbtuh[cooling] == pytest.approx(by_enthalpy[cooling], rel=0.02)


@pytest.mark.crosscheck
def test_saturated_coil_by_hand():
    """54 degF off the coil at 95 %: W = 0.95 x Wsat(54), all outdoor air, no infiltration: room W = Wc + L/(fl V)."""
    unit = unit_of()
    got = ah.moisture(unit, 4840.0, *one(5000.0, 0.0, 1.0, 0.016, 24200.0, 85.0, 54.0), 14.696)
    w_coil = 0.95 * float(saturation_humidity_ratio(54.0, 14.696))
    assert got.leaving[0] == pytest.approx(w_coil)
    assert got.room[0] == pytest.approx(w_coil + 24200.0 / (4840.0 * 5000.0))
    assert got.mixed[0] == pytest.approx(0.016)


@pytest.mark.invariant
def test_room_with_no_exchange_has_a_humid_answer():
    unit = unit_of()
    got = ah.moisture(unit, 4840.0, *one(5000.0, 0.0, 0.0, 0.005, 20000.0, 75.0, 75.0), 14.696)
    assert np.isfinite(got.room[0]) and got.room[0] == pytest.approx(float(saturation_humidity_ratio(80.0, 14.696)))


@pytest.mark.invariant
def test_conditions_builder_is_not_supersaturated():
    c = conditions_of(np.array([20.0, 60.0, 90.0]), 0.02)
    assert np.all(c.humidity_ratio <= saturation_humidity_ratio(c.oat_f, 14.696))


@pytest.mark.crosscheck
@pytest.mark.parametrize("infiltration_cfm", [0.3, 120.0])
def test_moisture_of_a_given_latent_load_closes_the_balances(infiltration_cfm):
    """Water in and out of the rooms and of the coil, also where hardly any outdoor air comes in; what the coil has not
    taken out leaves with the air."""
    fl, flow, share, w_out, latent, coil = 4840.0, 3000.0, 0.0 if infiltration_cfm < 1.0 else 0.2, 0.009, 9000.0, 8800.0
    got = ah.moisture_of_latent(fl, flow, infiltration_cfm, share, w_out, latent, coil, 1.0)
    assert got.mixed == pytest.approx(share * w_out + (1.0 - share) * got.room, rel=1e-12)
    assert fl * flow * (got.mixed - got.leaving) == pytest.approx(coil, rel=1e-9)
    rooms = fl * flow * (got.leaving - got.room) + fl * infiltration_cfm * (w_out - got.room) + latent
    assert rooms == pytest.approx(0.0, abs=1e-6 * latent)
