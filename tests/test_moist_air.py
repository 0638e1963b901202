"""Moist air against handbook values, two reference libraries and its own laws."""

import csv
from pathlib import Path

import numpy as np
import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from binestimator import moist_air, units

PUBLISHED = Path(__file__).parent / "published" / "moist_air.csv"


def _from_wetbulb(function):
    def of(t_f, wb_f, p):
        return function(t_f, moist_air.humidity_ratio_from_wetbulb(t_f, wb_f, p), p)

    return of


COMPOSED = {
    "saturation_enthalpy": lambda t, p: moist_air.enthalpy_btu_lb(t, moist_air.saturation_humidity_ratio(t, p)),
    "dewpoint_from_wetbulb": _from_wetbulb(lambda t, w, p: moist_air.dewpoint_f(w, p)),
    "relative_humidity_from_wetbulb": _from_wetbulb(moist_air.relative_humidity_frac),
    "enthalpy_from_wetbulb": _from_wetbulb(lambda t, w, p: moist_air.enthalpy_btu_lb(t, w)),
    "specific_volume_from_wetbulb": _from_wetbulb(moist_air.specific_volume_ft3_lb),
}


def published_rows():
    with PUBLISHED.open(newline="", encoding="utf-8") as handle:
        return [pytest.param(row, id=f"{row['id']} [{row['source']}]") for row in csv.DictReader(handle)]


@pytest.mark.published
@pytest.mark.parametrize("row", published_rows())
def test_handbook_values(row):
    function = COMPOSED.get(row["function"]) or getattr(moist_air, row["function"])
    got = function(*(float(value) for value in row["arguments"].split()))
    relative = float(row["relative_tolerance"] or 0.0)
    absolute = float(row["absolute_tolerance"] or 0.0)
    assert got == pytest.approx(float(row["value"]), rel=relative, abs=absolute), row["tolerance_reason"]


GRID = [
    (t, rh, p)
    for t in (-10.0, 15.0, 31.0, 45.0, 60.0, 75.0, 95.0, 110.0)
    for rh in (0.05, 0.3, 0.6, 0.9, 1.0)
    for p in (10.0, 12.2, 14.696)
]


def _state(t, rh, p):
    pw = rh * moist_air.saturation_pressure_psia(t)
    return moist_air.humidity_ratio_from_vapour_pressure(pw, p)


def _near_freezing_wet_bulb(t, w, p):
    """Inside the band where a wet and a frozen wick both have a solution."""
    return abs(moist_air.wetbulb_f(t, w, p) - 32.0) < 2.0


@pytest.mark.crosscheck
def test_against_psychrolib():
    # The library uses the same relations; it rounds the molar mass ratio to 0.621945 too,
    # so only its iteration tolerance (0.001 degC on temperatures) is allowed for.
    psychrolib.SetUnitSystem(psychrolib.IP)
    compared = 0
    for t, rh, p in GRID:
        w = _state(t, rh, p)
        assert moist_air.saturation_pressure_psia(t) == pytest.approx(psychrolib.GetSatVapPres(t), rel=1e-6)
        assert w == pytest.approx(psychrolib.GetHumRatioFromRelHum(t, rh, p), rel=1e-6)
        assert moist_air.enthalpy_btu_lb(t, w) == pytest.approx(psychrolib.GetMoistAirEnthalpy(t, w), rel=1e-9)
        # abs: the library holds humidity ratios at 1e-7 or more
        assert moist_air.humidity_ratio_from_wetbulb(t, t - 2.0, p) == pytest.approx(
            psychrolib.GetHumRatioFromTWetBulb(t, t - 2.0, p), rel=1e-6, abs=1.1e-7
        )
        # gas constants differ in the seventh digit
        assert moist_air.specific_volume_ft3_lb(t, w, p) == pytest.approx(
            psychrolib.GetMoistAirVolume(t, w, p), rel=1e-5
        )
        dewpoint = psychrolib.GetTDewPointFromHumRatio(t, w, p)
        assert moist_air.dewpoint_f(w, p) == pytest.approx(dewpoint, abs=0.004)
        if not _near_freezing_wet_bulb(t, w, p):
            wetbulb = psychrolib.GetTWetBulbFromHumRatio(t, w, p)
            assert moist_air.wetbulb_f(t, w, p) == pytest.approx(wetbulb, abs=0.004)
            compared += 1
    assert compared > 80


@pytest.mark.slow
@pytest.mark.crosscheck
def test_against_a_real_gas_library():
    from CoolProp.HumidAirProp import HAPropsSI

    # CoolProp holds real-gas moist air: the enhancement of the saturation pressure alone is
    # 0.4 to 0.5 % of the humidity ratio; wet bulb and dew point move by less than 0.15 F.
    for t, rh, p in GRID:
        if t < 32.0:
            continue  # the library's ice relations start at other reference states
        kelvin = units.celsius_from_fahrenheit(t) + 273.15
        pascal = p * units.PSI_PA
        w = HAPropsSI("W", "T", kelvin, "P", pascal, "R", rh)
        assert _state(t, rh, p) == pytest.approx(w, rel=0.007)
        volume = HAPropsSI("Vda", "T", kelvin, "P", pascal, "W", w)
        assert moist_air.specific_volume_ft3_lb(t, w, p) == pytest.approx(
            volume * units.POUND_KG / units.FOOT_M**3, rel=0.002
        )
        dry_k = units.celsius_from_fahrenheit(0.0) + 273.15
        enthalpy = (
            (HAPropsSI("Hda", "T", kelvin, "P", pascal, "W", w) - HAPropsSI("Hda", "T", dry_k, "P", pascal, "W", 0.0))
            * units.POUND_KG
            / units.BTU_J
        )
        assert moist_air.enthalpy_btu_lb(t, w) == pytest.approx(enthalpy, rel=0.005)
        dewpoint = HAPropsSI("D", "T", kelvin, "P", pascal, "W", w)
        if units.fahrenheit_from_celsius(dewpoint - 273.15) > 32.0:
            assert moist_air.dewpoint_f(w, p) == pytest.approx(
                units.fahrenheit_from_celsius(dewpoint - 273.15), abs=0.2
            )
        if moist_air.wetbulb_f(t, w, p) > 34.0:
            wetbulb = HAPropsSI("B", "T", kelvin, "P", pascal, "W", w)
            assert moist_air.wetbulb_f(t, w, p) == pytest.approx(
                units.fahrenheit_from_celsius(wetbulb - 273.15), abs=0.15
            )


temperatures = st.floats(-40.0, 130.0)
humidities = st.floats(0.0, 1.0)
pressures = st.floats(9.0, 15.5)


@pytest.mark.invariant
@given(temperatures, st.floats(0.001, 1.0), pressures)
def test_dew_point_round_trip(t, rh, p):
    w = _state(t, rh, p)
    back = moist_air.humidity_ratio_from_dewpoint(moist_air.dewpoint_f(w, p), p)
    # the relations over ice and over water leave a gap of 0.01 % of pressure at 32 degF
    assert back == pytest.approx(w, rel=1e-4 if abs(moist_air.dewpoint_f(w, p) - 32) < 1e-6 else 1e-9)


@pytest.mark.invariant
@given(temperatures, humidities, pressures)
def test_wet_bulb_round_trip(t, rh, p):
    w = _state(t, rh, p)
    wetbulb = moist_air.wetbulb_f(t, w, p)
    assert wetbulb <= t
    if not _near_freezing_wet_bulb(t, w, p) and wetbulb < t:
        # 1e-10 lb/lb is less than 1e-6 F of wet bulb
        back = moist_air.humidity_ratio_from_wetbulb(t, wetbulb, p)
        assert back == pytest.approx(w, abs=1e-10)


@pytest.mark.invariant
@given(temperatures, humidities, pressures)
def test_dew_point_wet_bulb_dry_bulb_are_in_order(t, rh, p):
    w = _state(t, rh, p)
    wetbulb, dewpoint = moist_air.wetbulb_f(t, w, p), moist_air.dewpoint_f(w, p)
    # 0.01 F: the rounded coefficients of the wet-bulb equations do not close on saturation
    assert dewpoint - 0.01 <= wetbulb <= t


@pytest.mark.invariant
@given(temperatures, humidities, humidities, pressures)
def test_wet_bulb_rises_with_humidity(t, rh1, rh2, p):
    low, high = sorted((rh1, rh2))
    assert moist_air.wetbulb_f(t, _state(t, low, p), p) <= (moist_air.wetbulb_f(t, _state(t, high, p), p) + 1e-7)


@pytest.mark.invariant
@given(temperatures, temperatures)
def test_vapour_pressure_rises_with_temperature(t1, t2):
    low, high = sorted((t1, t2))
    assert moist_air.saturation_pressure_psia(low) <= moist_air.saturation_pressure_psia(high)


@pytest.mark.invariant
def test_continuity_at_freezing():
    below, at = moist_air.saturation_pressure_psia(np.array([32.0 - 1e-9, 32.0]))
    assert below < at < below * 1.0002  # the two relations of the handbook, 0.01 % apart
    for p in (10.0, 14.696):
        # across the whole band of wet and frozen wick no step exceeds the slope of the wick
        w = np.linspace(0.0, moist_air.saturation_humidity_ratio(45.0, p), 20001)
        wetbulb = moist_air.wetbulb_f(45.0, w, p)
        step = np.diff(wetbulb)
        assert step.min() > 0.0
        assert step.max() < 2.5 * np.median(step)
        # dew point: nothing but 32 between the two pressures
        dewpoint = moist_air.dewpoint_f(
            moist_air.saturation_humidity_ratio(32.0, p) * np.array([1 - 3e-4, 1 - 5e-5, 1 + 1e-4]), p
        )
        assert dewpoint == pytest.approx([32.0, 32.0, 32.0], abs=0.01)
        assert dewpoint[1] == 32.0


@pytest.mark.crosscheck
@pytest.mark.parametrize("p", [10.0, 11.3, 13.0, 14.7])
def test_two_step_wet_bulb(p):
    t = np.linspace(35.0, 110.0, 301)[:, None]
    w = _state(t, np.linspace(0.0, 1.0, 101)[None, :], p)
    exact = moist_air.wetbulb_f(t, w, p)
    error = moist_air.wetbulb_two_step_f(t, w, p) - exact
    # bounds as stated in the function
    assert np.abs(error[exact >= 34.0]).max() < 2e-4
    below = error[exact < 34.0]
    assert below.min() > -2e-4
    assert below.max() < 1.6


@pytest.mark.invariant
def test_dry_and_oversaturated_air():
    assert moist_air.dewpoint_f(0.0, 14.7) == pytest.approx(moist_air.LOWEST_F, abs=1e-9)
    assert moist_air.wetbulb_f(70.0, 0.05, 14.7) == 70.0
    assert moist_air.relative_humidity_frac(70.0, 0.05, 14.7) > 1.0
    assert moist_air.saturation_humidity_ratio(220.0, 14.7) == np.inf
    assert moist_air.humidity_ratio_from_wetbulb(100.0, 30.0, 14.7) == 0.0


@pytest.mark.invariant
def test_scalars_equal_arrays():
    t = np.array([[-12.0, 20.0, 31.9], [32.0, 33.0, 95.0]])
    w = _state(t, np.array([[0.1, 0.5, 1.0], [0.9, 0.4, 0.6]]), 13.9)
    calls = {
        "saturation_pressure_psia": (t,),
        "saturation_humidity_ratio": (t, 13.9),
        "humidity_ratio_from_dewpoint": (t - 3.0, 13.9),
        "humidity_ratio_from_wetbulb": (t, t - 3.0, 13.9),
        "wetbulb_f": (t, w, 13.9),
        "wetbulb_two_step_f": (t + 45.0, w, 13.9),
        "humidity_ratio_from_vapour_pressure": (w, 13.9),
        "dewpoint_f": (w, 13.9),
        "vapour_pressure_psia": (w, 13.9),
        "relative_humidity_frac": (t, w, 13.9),
        "enthalpy_btu_lb": (t, w),
        "specific_volume_ft3_lb": (t, w, 13.9),
        "pressure_at_elevation_psia": (t * 30.0,),
    }
    for name, arguments in calls.items():
        function = getattr(moist_air, name)
        whole = function(*arguments)
        assert whole.shape == t.shape, name
        for index in np.ndindex(t.shape):
            single = function(*(a[index] if isinstance(a, np.ndarray) else a for a in arguments))
            assert np.ndim(single) == 0, name
            assert single == pytest.approx(whole[index], rel=1e-12, abs=1e-12), name


@pytest.mark.invariant
def test_air_factors_scale_with_pressure():
    assert moist_air.sensible_factor_btuh_cfm_f(14.696) == pytest.approx(1.08)
    assert moist_air.latent_factor_btuh_cfm_lblb(14.696) == pytest.approx(4840.0)
    # common practice, no source: about 17 % less at 5000 ft
    ratio = moist_air.sensible_factor_btuh_cfm_f(moist_air.pressure_at_elevation_psia(5000.0)) / 1.08
    assert ratio == pytest.approx(0.832, abs=0.001)  # printed to three digits


@pytest.mark.crosscheck
def test_units_agree_with_each_other():
    # rounded values as printed in handbooks, from memory; tolerance: their last digit
    assert units.BTU_PER_WH == pytest.approx(3.412142, abs=1e-6)
    assert units.KW_PER_TON == pytest.approx(3.516853, abs=1e-6)
    assert units.HORSEPOWER_KW == pytest.approx(0.7457, abs=1e-5)
    assert units.PSI_PA == pytest.approx(6894.757, abs=1e-3)
    assert units.BTUH_FT2_PER_WM2 == pytest.approx(0.316998, abs=1e-6)
    assert units.celsius_from_fahrenheit(units.fahrenheit_from_celsius(21.7)) == pytest.approx(21.7)
    # 1.08 and 4.5 of standard air agree with each other
    assert units.SENSIBLE_BTUH_CFM_F == pytest.approx(0.24 * units.MASS_LBH_CFM)
