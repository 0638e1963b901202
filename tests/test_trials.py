"""Settings tried side by side give what each gives by itself."""

import dataclasses

import numpy as np
import pytest
from builders import random_conditions, unit_of, zones_with

from binestimator.model import trials
from binestimator.model.loads import zone_loads
from binestimator.model.system import Floating, RowState, evaluate
from binestimator.model.trials import states_at

# Air that cannot be held both ways: no supply heating, and a plant too small.
UNIT = unit_of(
    zone=zones_with(heating_law="dual_maximum", heat_min_cfm=700),
    air_handler={"supply_heating": "none"},
    cooling={"capacity_tons": 9},
)
CONDITIONS = random_conditions(80, 3)
LOADS = zone_loads(UNIT, CONDITIONS)
SATS = [np.full(80, sat_f) for sat_f in (50.0, 55.0, 61.0, 68.0)]


def by_airflow(conditions, loads, sat_f):
    return 0.3 + 0.01 * np.asarray(sat_f)


def apart(one: RowState, other: RowState) -> float:
    """The largest difference of any column, as a share of its largest value."""
    worst = 0.0
    for f in dataclasses.fields(RowState):
        a, b = getattr(one, f.name), getattr(other, f.name)
        assert np.array_equal(np.isnan(a), np.isnan(b)), f.name
        worst = max(worst, float(np.nanmax(np.abs(a - b), initial=0.0) / max(np.nanmax(np.abs(b), initial=0.0), 1e-6)))
    return worst


@pytest.mark.crosscheck
@pytest.mark.parametrize("together", [1, 2, 3, 9])
def test_side_by_side_is_one_after_the_other(together, monkeypatch):
    monkeypatch.setattr(trials, "MOST_NUMBERS", together * LOADS.q_cool_btuh.size)
    shared, alone = Floating(80), Floating(80)
    found = list(states_at(UNIT, CONDITIONS, LOADS, [(s, None) for s in SATS], dsp_of_sat=by_airflow, floating=shared))
    assert len(found) == len(SATS)
    for sat, state in zip(SATS, found, strict=True):
        dsp = by_airflow(CONDITIONS, LOADS, sat)
        wanted = evaluate(UNIT, CONDITIONS, LOADS, sat, dsp, dsp_of_sat=by_airflow, floating=alone)
        assert apart(state, wanted) < 1e-9
    for own, other in ((shared.low_f, alone.low_f), (shared.high_f, alone.high_f)):
        assert np.isfinite(own).any(), "no row floats: nothing is shared"
        assert np.allclose(own, other, rtol=0.0, atol=1e-9, equal_nan=True)


@pytest.mark.crosscheck
def test_pressures_go_with_their_temperatures():
    pairs = [(sat, np.full(80, dsp)) for sat, dsp in zip(SATS, (0.4, 1.0, 1.5, 0.7), strict=True)]
    for (sat, dsp), state in zip(pairs, states_at(UNIT, CONDITIONS, LOADS, pairs), strict=True):
        assert np.array_equal(state.dsp_set_inwc, dsp) and np.array_equal(state.sat_set_f, sat)
        assert apart(state, evaluate(UNIT, CONDITIONS, LOADS, sat, dsp)) < 1e-9
