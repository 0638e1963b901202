"""Formulas drawn from the model: they give what its functions give, and what has no formula is refused."""

import itertools
from types import SimpleNamespace

import numpy as np
import pytest

from binestimator import moist_air
from binestimator.errors import WorkbookError
from binestimator.inputs.schema import fields_of, record_type
from binestimator.model import air_handler, plant
from binestimator.model import fan as fans
from binestimator.named import Constant, Constants, decided, floats, named
from binestimator.workbook.live.formulas import Scope, line_through
from binestimator.workbook.live.rows.steps import STEPS
from binestimator.workbook.live.symbols import Drawing

ROWS = 400
RNG = np.random.default_rng(5)
OAT = RNG.uniform(-25.0, 115.0, ROWS)
CONDITIONS = {
    "oat_f": OAT,
    "oawb_f": OAT - RNG.uniform(0.0, 25.0, ROWS),
    "coil_entering_wb_f": RNG.uniform(45.0, 85.0, ROWS),
    "load": np.where(RNG.random(ROWS) < 0.1, 0.0, RNG.uniform(0.0, 4000.0, ROWS)),
    "enabled": (RNG.random(ROWS) < 0.8).astype(float),
    "flow_cfm": np.where(RNG.random(ROWS) < 0.05, 0.0, RNG.uniform(500.0, 20_000.0, ROWS)),
    "infiltration": RNG.uniform(0.0, 600.0, ROWS),
    "oa_min_frac": RNG.uniform(0.0, 0.4, ROWS),
    "oa_frac": RNG.uniform(0.0, 1.0, ROWS),
    "humidity_ratio": RNG.uniform(0.001, 0.02, ROWS),
    "latent": RNG.uniform(0.0, 90_000.0, ROWS),
    "entering": RNG.uniform(50.0, 85.0, ROWS),
    "leaving": RNG.uniform(20.0, 70.0, ROWS),
    "rat_f": RNG.uniform(68.0, 80.0, ROWS),
    "target_f": RNG.uniform(50.0, 65.0, ROWS),
    "return_w": RNG.uniform(0.004, 0.014, ROWS),
    "drying": RNG.uniform(0.5, 1.0, ROWS),
    "dsp_set": np.where(RNG.random(ROWS) < 0.05, 0.0, RNG.uniform(0.1, 2.0, ROWS)),
}


def drawing(**records):
    """A table with conditions, constants and inputs; the columns of steps are put into it as they are written."""
    scope, keys = Scope(), []
    for name, values in CONDITIONS.items():
        scope.put(name, name, values[:, None])
    for value in (*vars(plant).values(), *vars(air_handler).values(), *vars(moist_air).values(), *vars(fans).values()):
        if isinstance(value, Constant):
            scope.put(value.name, value.name, float(value))
        elif isinstance(value, Constants):
            for name, number in zip(value.names, value):
                scope.put(name, name, number)
    for curve in plant.curves().values():
        for value in (*curve.coefficients, *curve.x_range, *(curve.y_range or ())):
            scope.put(value.name, value.name, float(value))
        scope.put(f"q.{curve.name}.rated", "rated", float(plant.published._at_rating(curve.name)))
    for section, record in records.items():
        for name in record.__dataclass_fields__:
            value = getattr(record, name)
            if isinstance(value, (int, float)) and not isinstance(value, bool):
                scope.put(f"{section}.{name}", name, float(value))
            elif isinstance(value, tuple):
                points(scope, f"p.{section}_{name}", value)

    def column(key, label, unit, template, style):
        keys.append(key)
        scope.put(key, key, np.broadcast_to(scope.evaluate(template), (ROWS, 1)))

    return Drawing(scope, column, STEPS), keys


def points(scope, table, pairs):
    x, y = (np.array(axis, dtype=float) for axis in zip(*pairs))
    slopes = np.concatenate([[0.0], np.diff(y) / np.diff(x), [0.0]])
    scope.put(f"{table}.x", "x", np.array([[-1000.0, *x]]))
    scope.put(f"{table}.y", "y", np.array([[y[0], *y]]))
    scope.put(f"{table}.s", "s", np.array([slopes]))
    scope.put(f"{table}.y1", "y1", float(y[0]))


def same(draw, drawn, found):
    """What a drawn result gives, beside the function's on arrays."""
    template = draw.template(drawn)
    given = 0.0 if template is None else draw.scope.evaluate(template)
    given = np.broadcast_to(given, (ROWS, 1))[:, 0]
    found = np.broadcast_to(np.asarray(found, dtype=float), ROWS)
    # As pytest.approx has it, which looks at one number after the other.
    bound = 1e-12 * np.maximum(np.abs(found), max(np.abs(found).max(), 1.0))
    close = (given == found) | (np.abs(given - found) <= bound)
    assert close.all(), (np.flatnonzero(~close)[:5], given[~close][:5], found[~close][:5])


CHILLERS = [
    {
        "chiller_set": name,
        "chilled_pump_control": pump,
        "below_minimum": below,
        "units": units,
        "other_load_tons": other,
    }
    for (name, pump, below), (units, other) in zip(
        itertools.product(fields_of("cooling")["chiller_set"].choices, ("constant", "variable"), ("cycle", "hold")),
        itertools.cycle([(1, 0.0), (3, 60.0), (2, 0.0)]),
    )
]
EXPANSION = [
    {"type": "direct_expansion", "units": units, "stages": 4, "rated_with_fan": fan, "below_minimum": below}
    for units, fan, below in itertools.product((1, 2, 5), (True, False), ("cycle", "hold"))
]


@pytest.mark.crosscheck
@pytest.mark.parametrize("options", [*CHILLERS, *EXPANSION, {"type": "purchased"}, {"type": "none"}], ids=str)
def test_drawn_formulas_of_cooling_give_what_the_model_gives(options):
    record = record_type("cooling")(**options | {"capacity_tons": 200.0})
    draw, keys = drawing(cooling=record)
    air = ("oat_f", "oawb_f", "coil_entering_wb_f")
    inputs, symbols = draw.inputs("cooling", record), [draw.name(key) for key in air]
    tons = draw.name("cooling.capacity_tons", low=1.0)
    arrays = [CONDITIONS[key] for key in air]
    if record.type != "purchased":
        capacity = plant.cooling_capacity_kbtuh(inputs, tons, *symbols)
        same(draw, capacity, plant.cooling_capacity_kbtuh(record, 200.0, *arrays))
    drawn = plant.cooling_power(inputs, tons, draw.name("load", low=0.0), 1.0, *symbols)
    found = plant.cooling_power(record, 200.0, CONDITIONS["load"], 1.0, *arrays)
    for name in ("compressor_kw", "pump_tower_kw", "purchased_kbtuh", "plr", "units_on", "unserved_kbtuh"):
        same(draw, getattr(drawn, name), getattr(found, name))
    assert len(set(keys)) == len(keys)


HEATING = [
    {"type": kind, "boiler_curve": curve, "minimum_plr_frac": least, "standing_loss_kbtuh": loss, "pump_control": pump}
    for kind, (curve, least, loss, pump) in itertools.product(
        ("boiler", "electric", "heat_pump", "purchased", "none"),
        [
            ("modulating", 0.1, None, "constant"),
            ("non_condensing", 0.0, 50.0, "variable"),
            ("modulating", 0.3, 0.0, "variable"),
        ],
    )
]


@pytest.mark.crosscheck
@pytest.mark.parametrize("options", HEATING, ids=str)
@pytest.mark.parametrize("preheat", [None, "boiler", "electric", "heat_pump", "purchased", "gas_furnace"])
def test_drawn_formulas_of_heat_sources_give_what_the_model_gives(options, preheat):
    record = record_type("heating")(**options)
    second = record_type("preheat")(type=preheat or "same", efficiency_frac=0.92)
    draw, keys = drawing(heating=record, preheat=second)
    draw.scope.put("size", "size", 2000.0)
    inputs = draw.inputs("heating", record)
    if preheat is None:
        drawn, found = plant.heat_source(inputs), plant.heat_source(record)
    else:
        drawn, found = (
            plant.preheat_source(draw.inputs("preheat", second), inputs),
            plant.preheat_source(second, record),
        )
    names = ("load", "enabled", "oat_f")
    drawn = plant.heating_power(drawn, draw.name("size"), *(draw.name(key) for key in names))
    found = plant.heating_power(found, 2000.0, *(CONDITIONS[key] for key in names))
    for name in ("electric_kw", "fuel_thermh", "purchased_kbtuh", "pump_kw", "unserved_kbtuh"):
        same(draw, getattr(drawn, name), getattr(found, name))
    assert len(set(keys)) == len(keys)


@pytest.mark.crosscheck
@pytest.mark.parametrize("part, drying", [("", 1.0), ("s_", 1.0), ("o_", None)], ids=str)
@pytest.mark.parametrize("pressure", [14.696, 12.1])
def test_drawn_formulas_of_moisture_and_wet_bulb_give_what_the_model_gives(part, drying, pressure):
    record = record_type("air_handler")(design_cfm=20_000.0)
    draw, keys = drawing(air_handler=record)
    draw.scope.put("fl", "fl", 4840.0)
    draw.scope.put("pressure", "pressure", pressure)
    names = ("flow_cfm", "infiltration", "oa_frac", "humidity_ratio", "latent", "entering", "leaving")
    symbols, arrays = [draw.name(key) for key in names], [CONDITIONS[key] for key in names]
    drawn = air_handler.moisture(
        SimpleNamespace(air_handler=draw.inputs("air_handler", record)),
        draw.name("fl"),
        *symbols,
        draw.name("pressure"),
        draw.name("drying") if drying is None else drying,
        part,
    )
    found = air_handler.moisture(
        SimpleNamespace(air_handler=record),
        4840.0,
        *arrays,
        pressure,
        CONDITIONS["drying"] if drying is None else drying,
    )
    for name in ("room", "mixed", "leaving", "wet_frac"):
        same(draw, getattr(drawn, name), getattr(found, name))
    at = ("entering", "return_w")
    drawn = moist_air.wetbulb_two_step_f(*(draw.name(key) for key in at), draw.name("pressure"))
    same(draw, drawn, moist_air.wetbulb_two_step_f(*(CONDITIONS[key] for key in at), pressure))
    assert len(set(keys)) == len(keys)
    assert f"{part}room_humidity_ratio" in keys and "wb_2" in keys


@pytest.mark.crosscheck
@pytest.mark.parametrize("integrated", [True, False])
@pytest.mark.parametrize("kind", ["fixed_dry_bulb", "differential_dry_bulb", "fixed_enthalpy", "differential_enthalpy"])
def test_drawn_formulas_of_the_economizer_give_what_the_model_gives(kind, integrated):
    eco, oa = record_type("economizer")(type=kind, integrated=integrated), record_type("outdoor_air")(maximum_frac=0.9)
    draw, _ = drawing(economizer=eco, outdoor_air=oa)
    unit = SimpleNamespace(economizer=eco, outdoor_air=oa)
    unit_symbols = SimpleNamespace(
        economizer=draw.inputs("economizer", eco), outdoor_air=draw.inputs("outdoor_air", oa)
    )
    state, ends = ("oat_f", "humidity_ratio", "rat_f", "return_w"), ("oa_min_frac", "oat_f", "rat_f", "target_f")
    allowed = air_handler.economizer_allowed(unit, *(CONDITIONS[key] for key in state))
    drawn = air_handler.economizer_allowed(unit_symbols, *(draw.name(key) for key in state))
    assert 0.05 < np.mean(allowed) < 0.95
    same(draw, drawn, allowed)
    found = air_handler.mix(unit, allowed, *(CONDITIONS[key] for key in ends))
    drawn = air_handler.mix(unit_symbols, drawn, *(draw.name(key) for key in ends))
    for name in ("oa_frac", "mat_f", "economizing"):
        same(draw, getattr(drawn, name), getattr(found, name).astype(float))


FANS = [
    {"part_load": part_load, "motor_in_airstream": inside, "minimum_speed_frac": least}
    for part_load, inside, least in itertools.product(("pressure", "published_curves"), (True, False), (0.0, 0.2, 0.5))
]


@pytest.mark.crosscheck
@pytest.mark.parametrize("resets", [True, False])
@pytest.mark.parametrize("options", FANS, ids=str)
def test_drawn_formulas_of_fans_and_leakage_give_what_the_model_gives(options, resets):
    records = {
        "fan": record_type("fan")(**options | {"motor_hp": 20.0}),
        "return_fan": record_type("return_fan")(type="return", design_inwc=0.8),
        "air_handler": record_type("air_handler")(design_cfm=20_000.0, leakage_frac=0.03),
    }
    draw, keys = drawing(**records)
    draw.scope.put("fs", "fs", 1.08)
    draw.scope.put("c.scale", "scale", 1.1)
    unit = SimpleNamespace(**records, design_cfm=20_000.0, motor_hp=20.0, fan_scale=1.1)
    symbols = SimpleNamespace(
        **{section: draw.inputs(section, record) for section, record in records.items()},
        design_cfm=draw.name("air_handler.design_cfm", low=1.0),
        motor_hp=draw.name("fan.motor_hp", low=0.0),
        fan_scale=draw.name("c.scale", low=0.0),
    )
    flow, dsp = draw.name("flow_cfm", low=0.0), draw.name("dsp_set")
    drawn = fans.supply_fan(symbols, flow, dsp, resets)
    found = fans.supply_fan(unit, CONDITIONS["flow_cfm"], CONDITIONS["dsp_set"], resets)
    for name in ("total_inwc", "dsp_inwc", "speed_frac", "kw", "heat_kw"):
        same(draw, getattr(drawn, name), getattr(found, name))
    rise = fans.temperature_rise_f(found.heat_kw, CONDITIONS["flow_cfm"], 1.08)
    same(draw, fans.temperature_rise_f(drawn.heat_kw, flow, draw.name("fs")), rise)
    same(draw, fans.secondary_fan_kw(symbols, flow), fans.secondary_fan_kw(unit, CONDITIONS["flow_cfm"]))
    same(draw, fans.leakage_cfm(symbols, dsp), fans.leakage_cfm(unit, CONDITIONS["dsp_set"]))
    standing = fans.standing_dsp_inwc(unit, CONDITIONS["flow_cfm"], CONDITIONS["dsp_set"])
    same(draw, fans.standing_dsp_inwc(symbols, flow, dsp), standing)
    assert np.any(found.kw == 0.0) and np.any(found.at_minimum) == (options["minimum_speed_frac"] > 0.0)
    assert len(set(keys)) == len(keys)


@pytest.mark.invariant
def test_a_formula_that_would_become_a_number_or_has_no_counterpart_is_refused():
    draw, _ = drawing()
    x = draw.name("load")
    for misuse in (bool, float, int, len, list, np.asarray):
        with pytest.raises(TypeError, match="a formula is no number"):
            misuse(x)
    with pytest.raises(TypeError, match="a formula is no number"):
        x[x > 0.0] = 1.0
    for misuse in (np.sin, np.sum, np.sort, np.add.reduce, lambda v: np.add(v, 1.0, dtype=float)):
        with pytest.raises(TypeError, match="has a formula|has no formula"):
            misuse(x)
    with pytest.raises(WorkbookError, match="unknown name"):
        draw.name("unheard_of")


@pytest.mark.invariant
def test_an_infinite_limit_limits_nothing_and_never_comes_into_a_formula():
    draw, _ = drawing()
    x = draw.name("load")
    assert np.minimum(x, np.inf).text == np.clip(x, -np.inf, np.inf).text == "{load}"
    assert np.where(x > np.inf, 1.0, x).text == "{load}"
    with pytest.raises(WorkbookError):
        draw.scope.evaluate(draw.template(x + np.inf))


@pytest.mark.invariant
def test_formulas_are_kept_short_without_changing_a_value():
    draw, _ = drawing()
    x, y = draw.name("load", low=0.0), draw.name("oat_f")
    assert (1.0 * x + 0.0 - 0.0 * y).text == "{load}"
    assert np.maximum(x, 0.0).text == "{load}" and np.maximum(y, 0.0).text == "MAX({oat_f},0)"
    assert np.clip(x, 0.0, 9.0).text == "MIN({load},9)"
    # a test inside a branch in which its outcome is known
    assert np.where(y > 0.0, x / np.where(y > 0.0, y, 1.0), 0.0).text == "IF({oat_f}>0,{load}/{oat_f},0)"
    both = np.where((y > 0.0) & (y < 9.0), np.where(y < 9.0, x, y), 2.0)
    assert both.text == "IF(AND({oat_f}>0,{oat_f}<9),{load},2)"
    assert (x - (y - x)).text == "{load}-({oat_f}-{load})" and (x / (y * x)).text == "{load}/({oat_f}*{load})"
    assert (2.0 * (x + y)).text == "2*({load}+{oat_f})" and ((x + y) + x).text == "{load}+{oat_f}+{load}"


@pytest.mark.invariant
def test_a_step_has_one_column_and_one_formula():
    draw, keys = drawing()
    x = draw.name("load")
    assert draw.template(named(x + 1.0, "all_load") * named(x + 1.0, "all_load")) == "{all_load}*{all_load}"
    assert keys == ["all_load"] and np.all(draw.scope["all_load"] == CONDITIONS["load"][:, None] + 1.0)
    with draw.part("a_", ", first look"):
        assert draw.template(named(x + 1.0, "all_load")) == "{all_load}"
    with pytest.raises(WorkbookError, match="two formulas"):
        draw.template(named(x + 2.0, "all_load"))
    with draw.part("pre_", always=True):
        assert draw.template(named(x + 2.0, "all_load")) == "{pre_all_load}"


@pytest.mark.invariant
def test_a_constant_on_the_sheet_of_the_air_handler_has_the_value_that_the_model_gives():
    draw, _ = drawing()
    draw.scope.put("size", "size", 3.0)
    draw.scope.put("c.rated_kbtuh", "rated", 36.0)
    assert named(draw.name("size") * plant.KBTUH_PER_TON, "rated_kbtuh").text == "{c.rated_kbtuh}"
    with pytest.raises(WorkbookError, match="constant c.rated_kbtuh"):
        named(draw.name("size") * 11.0, "rated_kbtuh")


@pytest.mark.invariant
def test_names_and_casts_leave_numbers_as_they_are():
    values = np.array([1.0, 2.0])
    assert named(values, "key") is values and floats(values) is values and named(3.0, "key") == 3.0
    assert decided(np.float64(1.0) > 0.0) is True and isinstance(floats(1), np.ndarray)
    assert Constant(2.5, "k.some") * values == pytest.approx([2.5, 5.0]) and Constant(2.5, "k.some").name == "k.some"


@pytest.mark.crosscheck
@pytest.mark.parametrize("pairs", [((0.0, 1.0), (50.0, 3.0), (60.0, 2.0)), ((0.0, 1.7),)], ids=str)
def test_lines_through_points_of_inputs(pairs):
    draw, _ = drawing()
    points(draw.scope, "p.heating_cop_points", pairs)
    record = record_type("heating")(type="heat_pump", cop_points=pairs)
    cop = plant.heat_pump_cop(plant.heat_source(draw.inputs("heating", record)), draw.name("oat_f"))
    same(draw, cop, np.interp(OAT, *zip(*pairs)))
    assert line_through("{oat_f}", len(pairs), "p.heating_cop_points") in (cop.text, cop.of[0].text if cop.of else "")
