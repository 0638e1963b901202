"""The gate of every run: a formula that does not give the engine's value stops the workbook."""

import functools

import pytest
from books import Book
from builders import PLAIN, project_of
from builders import weather_of as builders_weather
from test_cli import run, write_project
from test_live import FLOATING, floated

from binestimator.errors import BinestimatorError, FormulaFault, WorkbookError
from binestimator.estimate import estimate
from binestimator.workbook.layout import CHECKS
from binestimator.workbook.live.formulas import Scope
from binestimator.workbook.live.pen import MOST_RESIDUAL
from binestimator.workbook.write import build_workbook, write_workbook

_ZONES = [dict(zone) for zone in PLAIN["zone"]]
_ZONES[0] |= {"sat_max_f": 58.0}
_ZONES[1] |= {"sat_max_f": 60.0, "rogue": "failed_sensor"}
# Every kind of column in one small project.
PROJECTS = {
    "demand": {
        "project": {"name": "Gate", "default_candidates": False},
        "bins": {"rows": "mean"},
        "zone": _ZONES,
        "limits": {"humidity": "room_dewpoint"},
        "heating": {"enabled_unoccupied": True},
        "fan": {"measured_cfm": 6000, "measured_total_inwc": 2.5, "measured_kw": 4.0},
        "outdoor_air": {"minimum_cfm": None},
        "candidate": [
            {"id": "as_found"},
            {
                "id": "both",
                "name": "Both by demand",
                "sat": {"strategy": "demand", "ignored_requests": 5, "override_frac": 0.2, "override_f": 55},
                "dsp": {"strategy": "demand", "ignored_requests": 2},
                "cost_usd": 9000,
                "incentive_usd": 1000,
            },
            {"id": "line", "name": "Line", "sat": "outdoor_air", "dsp": "airflow"},
        ],
    },
    "short": FLOATING["short"][0],
}


@functools.cache
def results_of(kind):
    if kind in FLOATING:
        return floated(kind)[1]
    return estimate(project_of(**PROJECTS[kind]), builders_weather("greensboro"))


def slip(monkeypatch, old, new):
    """Every template with ``old`` in it gets ``new``, in the text of the sheet and where it is evaluated alike."""
    touched = []

    def changed(template):
        if old in template:
            touched.append(template)
        return template.replace(old, new)

    for name in ("formula", "evaluate", "evaluate_by_row"):
        plain = getattr(Scope, name)
        monkeypatch.setattr(Scope, name, lambda self, text, *more, plain=plain: plain(self, changed(text), *more))
    return touched


# What is typed wrong, and the column or constant that the refusal has to name.
SLIPS = {
    "fan_pressure": ("demand", "{c.system}*{flow_cfm}^2,", "{c.system}*{flow_cfm},", "Fan total static"),
    "fan_power": ("demand", "({motor_load}+", "({motor_load}-", "Supply fan"),
    "pooled_pressure": ("demand", ">{p.dsp_left}+", ">{p.dsp_left}-", "Settled duct pressure, ask edge"),
    "pooled_pressure_release": ("demand", "*{c.release}>=", "*{c.ask}>=", "Settled duct pressure, release edge"),
    "pressure_request": ("demand", "^2*{z.kv}))", "*{z.kv}))", "Pressure of the second request"),
    "pooled_temperature": ("demand", ">{p.sat_left}+", ">{p.sat_left}+1+", "Settled supply air, ask edge"),
    "temperature_request": ("demand", "tc}+{k.third_f}", "tc}", "Supply air of the third request"),
    "zone_constant": ("demand", "{z.k}/{z.max_cfm}^2", "{z.k}/{z.max_cfm}", "Pressure over airflow² of an open damper"),
    "zone_word": ("demand", "{word.failed_sensor}", "{word.starved_branch}", "Always asks for colder air"),
    "zone_fallback": (
        "demand", "{group.minimum_flow_frac}", "{group.minimum_unoccupied_frac}", "Minimum airflow, occupied"),
    "unit_constant": ("demand", "MIN({z.sat_max_f})", "MAX({z.sat_max_f})", "Warmest supply air that zones"),
    "unit_fallback": ("demand", "({c.oa_area}+{c.oa_people})", "({c.oa_area})", "Required outdoor air"),
    "calibration": (
        "demand", "{fan.measured_kw}/{c.measured_drive_kw}", "{fan.measured_kw}", "Calibration of fan power"),
    "load": ("demand", "*({z.tco}-{z.tcu})", "*({z.tco}+{z.tcu})", "Cooling setpoint"),
    "bin_rows": ("demand", "{rows.oat_f}", "{rows.oawb_f}", "Outdoor dry bulb"),
    "humidity_limit": ("demand", "{h_t5}-{k.rankine}", "{h_t4}-{k.freezing}", "Warmest by room dew point"),
    "overrides": ("demand", "(1-{p.sat_override_frac})", "{p.sat_override_frac}", "Weight"),
    "sum_of_rows": ("demand", "SUMPRODUCT({weight},{column})/", "SUM({column})/", "Mean supply air of the year"),
    "idle_plant": ("demand", "+{idle}", "", "Pumps and tower of the year"),
    "year": ("demand", "{fan_kwh}+{cooling_kwh}", "{cooling_kwh}", "Electricity, "),
    "saving": ("demand", "{base}-{own}", "{own}-{base}", "Saving of "),
    "payback": ("demand", "MAX({outlay}-{incentive},0)", "MAX({outlay},0)", "Payback after incentive"),
    "inspector": ("demand", "{fs}*{v}*({th}-{satz})-{qh}", "{fs}*{v}*({th}-{satz})", "Reheat"),
    "ceiling": ("short", "MMULT({z.mult}*{z.open},", "MMULT({z.open},", "Root at the ceiling, round 1"),
    "floating_step": ("short", "_mat_f}-{s", "_mat_f}+{s", "Supply air that results"),
}  # fmt: skip


#: A column, a pool of requests, constants of zones and unit, loads, the year; the others as larger slices.
QUICK = ("fan_pressure", "pooled_pressure", "zone_constant", "unit_fallback", "load", "saving", "inspector")


@pytest.mark.invariant
@pytest.mark.parametrize("name", [pytest.param(n, marks=() if n in QUICK else pytest.mark.slow) for n in SLIPS])
def test_a_slip_in_a_formula_stops_the_workbook_and_names_the_column(name, monkeypatch, tmp_path):
    kind, old, new, label = SLIPS[name]
    results = results_of(kind)
    touched = slip(monkeypatch, old, new)
    with pytest.raises(FormulaFault) as caught:
        write_workbook(results, tmp_path / "a.xlsx")
    assert touched and f"“{label}" in str(caught.value), caught.value
    assert not list(tmp_path.iterdir())


@pytest.mark.invariant
@pytest.mark.parametrize("kind", ["demand", pytest.param("short", marks=pytest.mark.slow)])
def test_the_largest_residual_stands_on_the_checks(kind):
    content, pen = build_workbook(results_of(kind))
    sheet, label, residual = pen.worst
    # Sums of another order, and powers.
    assert 0.0 < residual < 1e-11
    lines = {line[0]: line[1] for line in Book(content).only(CHECKS)[CHECKS].values}
    assert lines["Largest residual"] == f"{residual:.1e}: “{label}” on “{sheet}”"
    assert lines["Compared with the run"] == f"{len(pen.residuals):,} columns and constants"


@pytest.mark.invariant
def test_the_command_ends_as_for_a_fault_of_its_own_and_leaves_earlier_files(monkeypatch, tmp_path, capsys):
    path, out = write_project(tmp_path, bins={"rows": "mean"}), tmp_path / "out"
    assert run(capsys, "estimate", path, "--out", out)[0] == 0
    before = {file.name: file.read_bytes() for file in out.iterdir()}
    slip(monkeypatch, ">{p.sat_left}+", ">{p.sat_left}+1+")
    code, _, err = run(capsys, "estimate", path, "--out", out)
    assert code == 3 and "Settled supply air, ask edge" in err and "no workbook is written" in err
    assert {file.name: file.read_bytes() for file in out.iterdir()} == before


@pytest.mark.invariant
def test_a_residual_is_a_share_of_the_columns_scale_and_a_number_that_is_none_is_refused():
    from binestimator.workbook.live.pen import Pen

    class Work:
        book = None

    pen = Pen(Work())
    pen.compare("S", "a", [[1.0, 1000.0 + 2e-5]], [[1.0, 1000.0]], "A")
    assert pen.residuals[("S", "a")] == pytest.approx(2e-8, rel=1e-3)  # the rounding of 1000.00002
    pen.compare("S", "b", [0.0, 5.0], [float("nan"), 5.0])
    with pytest.raises(FormulaFault, match="“A”.*gives 1.001"):
        pen.compare("S", "a", [[1.001, 1000.0]], [[1.0, 1000.0]], "A")
    with pytest.raises(FormulaFault):
        pen.compare("S", "c", [float("nan"), 5.0], [1.0, 5.0])
    # Single numbers go another way.
    pen.compare("S", "d", 1000.0 + 2e-5, 1000.0)
    assert pen.residuals[("S", "d")] == pytest.approx(2e-8, rel=1e-3)
    pen.compare("S", "e", 0.0, float("nan"))
    assert ("S", "e") not in pen.residuals
    for found, wanted in ((1.001, 1.0), (float("nan"), 1.0), ([[float("inf")]], 1.0), (1.0, [1.001])):
        with pytest.raises(FormulaFault, match="“S”, “f”"):
            pen.compare("S", "f", found, wanted)
    assert MOST_RESIDUAL == 1e-7 and not issubclass(FormulaFault, BinestimatorError)


@pytest.mark.invariant
def test_templates_that_share_their_code_keep_their_own_names():
    """``{a}-{b}`` and ``{b}-{a}`` are one shape, ``{a}-{a}`` and ``{a}-{b}`` are two."""
    scope = Scope()
    for name, value in (("a", 5.0), ("b", 3.0), ("c.x", 2.0)):
        scope.put(name, f"${name[0].upper()}$1", value)
    inner = Scope(scope)
    inner.put("b", "$B$9", 1.0)
    for own, template, value, text in (
        (scope, "{a}-{b}", 2.0, "$A$1-$B$1"),
        (scope, "{b}-{a}", -2.0, "$B$1-$A$1"),
        (scope, "{a}-{a}", 0.0, "$A$1-$A$1"),
        (scope, "{c.x}*({b}-{c.x})^2", 2.0, "$C$1*($B$1-$C$1)^2"),
        (inner, "{a}-{b}", 4.0, "$A$1-$B$9"),
    ):
        assert own.evaluate(template) == value and own.formula(template) == text
    for template in ("{a}-{d}", "{a}.__class__", "{a}+exec", "{a}[0]"):
        with pytest.raises(WorkbookError):
            scope.evaluate(template)


@pytest.mark.crosscheck
@pytest.mark.parametrize("ignored", [0.3, *(pytest.param(i, marks=pytest.mark.slow) for i in (0.6, 0.7))])
def test_requests_of_fractional_weight_that_sum_to_the_ignored_ones_are_ignored_by_both(ignored):
    """Tenths do not add up to the last digit, and engine and formulas add them in another order."""
    zones = [
        {
            "name": f"Room {k}",
            "area_ft2": 1500,
            "ua_btuh_f": 150 + 10 * k,
            "glass_south_ft2": 100,
            "max_cfm": 1200 + 60 * k,
            "reheat_kbtuh": 60,
            "index_share": 1.0 - 0.1 * k,
            "importance": 0.1,
        }
        for k in range(6)
    ]
    both = {part: {"strategy": "demand", "ignored_requests": ignored} for part in ("sat", "dsp")}
    results = estimate(
        project_of(
            project={"name": "Tenths", "default_candidates": False},
            bins={"rows": "mean"},
            zone=zones,
            candidate=[{"id": "as_found"}, {"id": "both", "name": "Both", **both}],
        ),
        builders_weather("greensboro"),
    )
    _, pen = build_workbook(results)
    assert ("2 Both", "sat_ask") in pen.residuals and ("2 Both", "dsp_ask") in pen.residuals


@pytest.mark.crosscheck
def test_a_standing_loss_that_is_given_is_in_the_formulas():
    """More than the capacity, some, and none at all, each with a source of its own in the supply heating coil."""
    own = lambda loss: {"override": {"heating.standing_loss_kbtuh": loss}, "kind": "companion"}
    results = estimate(
        project_of(
            project={"name": "Loss", "default_candidates": False},
            bins={"rows": "mean"},
            heating={"type": "boiler", "standing_loss_kbtuh": 600.0, "capacity_kbtuh": 500.0},
            preheat={"type": "gas_furnace"},
            candidate=[
                {"id": "as_found"},
                {"id": "some", "name": "Some", "sat": "as_found", "dsp": "as_found", **own(40.0)},
                {"id": "none", "name": "None", "sat": "as_found", "dsp": "as_found", **own(0.0)},
            ],
        ),
        builders_weather("greensboro"),
    )
    _, pen = build_workbook(results)
    assert max(pen.residuals.values()) < 1e-9
    above, some, none = (c.hourly["fuel_therm"] for c in results.candidates)
    assert above > 1.5 * some > 1.5 * none > 0.0
