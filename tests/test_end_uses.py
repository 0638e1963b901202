"""Records of end uses: what they name exists wherever they are read."""

import dataclasses

import numpy as np
import pytest

from binestimator.end_uses import ELECTRIC, END_USES, KBTU_IN, PRICED, cost_rate_usd_h, site_kbtu
from binestimator.inputs.schema import fields_of, record_type
from binestimator.model.night import NightBlock
from binestimator.model.system import RowState
from binestimator.results import ANNUAL_KEYS, SAVING_KEYS
from binestimator.workbook.formats import END_USE_COLOURS
from binestimator.workbook.layout import CANDIDATE_COLUMNS


def names(record):
    return {field.name for field in dataclasses.fields(record)}


def test_records_name_what_exists():
    columns = {c.key: c for c in CANDIDATE_COLUMNS}
    for use in END_USES:
        assert set(use.rates) <= names(RowState) and {use.night} <= names(NightBlock) | {""}, use.key
        assert use.price in fields_of("prices") and use.unit in KBTU_IN and use.key.endswith("_" + use.unit.lower())
        assert columns[use.column].annual == use.key and columns[use.column].unit == use.rate_unit
        assert use.key in ANNUAL_KEYS and use.key in SAVING_KEYS and use.key in END_USE_COLOURS
    for attribute in ("key", "column", "keeps", "word"):
        assert len({getattr(use, attribute) for use in END_USES}) == len(END_USES), attribute
    assert len(set(END_USE_COLOURS.values())) == len(END_USES)
    assert len({rate for use in END_USES for rate in use.rates}) == sum(len(use.rates) for use in END_USES)


@pytest.mark.crosscheck
def test_cost_and_energy_of_records_by_hand():
    prices = record_type("prices")(
        electricity_usd_kwh=0.2, fuel_usd_therm=1.5, cooling_usd_kbtu=0.01, heat_usd_kbtu=0.03
    )
    rates = {rate: np.array([1.0, 2.0]) for use in END_USES for rate in use.rates}
    # Two fans, cooling, pumps, electric heat; fuel; purchased cooling and heat.
    assert cost_rate_usd_h(rates, prices) == pytest.approx([5 * 0.2 + 1.54, 2 * (5 * 0.2 + 1.54)])
    figures = {key: 10.0 for key, _, _ in PRICED}
    assert site_kbtu(figures) == pytest.approx(34.1214163 + 1000.0 + 20.0)
    assert [use.key for use in ELECTRIC] == ["fan_kwh", "cooling_kwh", "pump_tower_kwh", "heating_kwh"]
