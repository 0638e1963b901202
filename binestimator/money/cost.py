"""Cost of carrying out a candidate, built up line by line: hours x rate, points, hardware, repairs, test, training.

Each line is a quantity that follows from the air handler times an amount for one of it, which is an input of section
``cost`` with a low, an expected and a high value. Which lines count follows from what the strategies of the candidate
need beyond those of the baseline. Amounts may be arrays of draws.
"""

from __future__ import annotations

from collections.abc import Mapping

from ..dataclass import dataclass

#: Levels of a cost and what the inputs of each end in: ``sat_demand_low_h``, ``sat_demand_h``, ``sat_demand_high_h``.
LEVELS = ("low", "expected", "high")
_ENDINGS = {"low": "_low", "expected": "", "high": "_high"}
RATE = "rate"
GIVEN, BUILD_UP, NONE = "given", "build_up", "none"
#: Marks of a line: who the amount is from.
ESTIMATORS, DEFAULT = "estimator's", "default"

_SAT_TABLES, _SAT_DEMAND = ("fixed", "outdoor_air"), ("demand", "cost_optimal", "cost_seeking")
_DSP_TABLES, _DSP_DEMAND = ("fixed", "outdoor_air", "airflow"), ("demand",)


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of a build-up.

    ``key`` · ``label`` in words · ``amount`` its input of section ``cost``, without unit and level · ``unit`` h or usd,
    of one of ``of``, the quantity · ``sat``, ``dsp`` strategies that need it where they differ from the baseline's;
    ``always`` any change.
    """

    key: str
    label: str
    amount: str
    unit: str
    of: str
    sat: tuple[str, ...] = ()
    dsp: tuple[str, ...] = ()
    always: bool = False


#: Quantities and what they are called.
QUANTITIES = {
    "air_handlers": "air handler",
    "zones": "zones",
    "rogue_zones": "rogue zones",
    "new_points": "new points",
    "stations": "stations",
    "once": "once",
}
LINES = (
    Line(
        key="sat_table",
        label="Programming of supply air temperature by a table",
        amount="sat_table",
        unit="h",
        of="air_handlers",
        sat=_SAT_TABLES,
    ),
    Line(
        key="sat_demand",
        label="Programming of supply air temperature by demand",
        amount="sat_demand",
        unit="h",
        of="air_handlers",
        sat=_SAT_DEMAND,
    ),
    Line(
        key="dsp_table",
        label="Programming of duct pressure by a table",
        amount="dsp_table",
        unit="h",
        of="air_handlers",
        dsp=_DSP_TABLES,
    ),
    Line(
        key="dsp_demand",
        label="Programming of duct pressure by demand",
        amount="dsp_demand",
        unit="h",
        of="air_handlers",
        dsp=_DSP_DEMAND,
    ),
    Line(
        key="zone_requests",
        label="Requests of the zones, once for both resets",
        amount="zone_requests",
        unit="h",
        of="zones",
        sat=_SAT_DEMAND,
        dsp=_DSP_DEMAND,
    ),
    Line(
        key="points",
        label="Points of zones that are not on the network yet",
        amount="point",
        unit="usd",
        of="new_points",
        sat=_SAT_DEMAND,
        dsp=_DSP_DEMAND,
    ),
    Line(
        key="airflow_station",
        label="Airflow station, with installation",
        amount="airflow_station",
        unit="usd",
        of="stations",
        dsp=("airflow",),
    ),
    Line(
        key="rogue_zones",
        label="Visits to rogue zones, with repair",
        amount="rogue_visit",
        unit="h",
        of="rogue_zones",
        sat=_SAT_DEMAND,
        dsp=_DSP_DEMAND,
    ),
    Line(
        key="test",
        label="Functional test",
        amount="test",
        unit="h",
        of="air_handlers",
        always=True,
    ),
    Line(
        key="training",
        label="Training of operators",
        amount="training",
        unit="h",
        of="once",
        always=True,
    ),
)


def input_name(stem: str, unit: str, level: str) -> str:
    """Input of section ``cost`` of an amount at a level."""
    ending = _ENDINGS[level]
    return f"{stem}{ending}_{unit}"


def lines_of(candidate, baseline) -> tuple[Line, ...]:
    """Lines that a candidate needs: those of strategies that differ from the baseline's.

    Parameters
    ----------
    candidate, baseline : Candidate
    """
    sat, dsp = candidate.sat != baseline.sat, candidate.dsp != baseline.dsp
    anything = sat or dsp or dict(candidate.overrides) != dict(baseline.overrides)
    return tuple(
        line
        for line in LINES
        if (line.always and anything)
        or (sat and candidate.sat.strategy in line.sat)
        or (dsp and candidate.dsp.strategy in line.dsp)
    )


def quantities_of(record, zones, marked_rogue, has_station) -> dict[str, dict[str, float]]:
    """Quantities of the lines by level.

    Parameters
    ----------
    record : record of section ``cost``
    zones : float
        Terminals, multipliers counted.
    marked_rogue : float
        Of these, terminals that the project marks as rogue: visited in any case.
    has_station : bool
        The supply airflow is measured already.

    Returns
    -------
    dict
        Quantity -> level -> number.
    """
    out: dict[str, dict[str, float]] = {name: {} for name in QUANTITIES}
    for level in LEVELS:
        share = getattr(record, input_name("rogue_share", "frac", level))
        out["air_handlers"][level] = out["once"][level] = 1.0
        out["zones"][level] = zones
        out["rogue_zones"][level] = max(share * zones, marked_rogue)
        out["new_points"][level] = record.new_points_per_zone * zones
        out["stations"][level] = 0.0 if has_station else 1.0
    return out


@dataclass(frozen=True, slots=True, kw_only=True)
class CostLine:
    """A line as it comes out: ``quantity`` and ``amount`` [h or USD] of one of it, ``usd`` their product with the rate
    where it is hours, each by level; ``mark`` who the amount is from."""

    key: str
    label: str
    of: str
    unit: str
    quantity: dict[str, float]
    amount: dict[str, float]
    usd: dict[str, float]
    mark: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildUp:
    """Cost of a candidate by lines. ``hours`` of work · ``subtotal_usd`` · ``contingency_usd`` · ``total_usd``, each by
    level · ``lacks`` what is not in it, in words; empty where nothing is known to be missing."""

    lines: tuple[CostLine, ...]
    hours: dict[str, float]
    subtotal_usd: dict[str, float]
    contingency_usd: dict[str, float]
    total_usd: dict[str, float]
    lacks: str


#: What is said where a candidate changes inputs besides its setpoints and no equipment is priced.
NO_HARDWARE = "the equipment or balancing of what it changes besides its setpoints (candidate.hardware_usd)"


def build_up(
    record, lines: tuple[Line, ...], quantities: Mapping, hardware_usd, marks: Mapping, lacks: str = ""
) -> BuildUp:
    """Cost of the lines of a candidate.

    Parameters
    ----------
    record : record of section ``cost``
        Arrays in place of numbers are allowed.
    lines : tuple of Line
        From :func:`lines_of`.
    quantities : mapping
        From :func:`quantities_of`.
    hardware_usd : float
        What the candidate's own equipment costs: a damper, larger terminals. [USD]
    marks : mapping
        Input of section ``cost``, and ``hardware_usd``, -> ``ESTIMATORS`` or ``DEFAULT``.
    lacks : str
        What is not in it, in words.

    Notes
    -----
    The candidate's hardware is the same at low, expected and high, since it is given; contingency lies on it as well.
    """
    found: list[CostLine] = []
    hours: dict[str, float] = {}
    for line in lines:
        names = {level: input_name(line.amount, line.unit, level) for level in LEVELS}
        amount = {level: getattr(record, names[level]) for level in LEVELS}
        quantity = dict(quantities[line.of])
        rate = {level: getattr(record, input_name(RATE, "usd_h", level)) for level in LEVELS}
        work = {level: quantity[level] * amount[level] for level in LEVELS}
        if line.unit == "h":
            for level in LEVELS:
                hours[level] = hours.get(level, 0.0) + work[level]
        own = [marks[name] for name in names.values()]
        found.append(
            CostLine(
                key=line.key,
                label=line.label,
                of=line.of,
                unit=line.unit,
                quantity=quantity,
                amount=amount,
                usd={level: work[level] * (rate[level] if line.unit == "h" else 1.0) for level in LEVELS},
                mark=ESTIMATORS if ESTIMATORS in own else DEFAULT,
            )
        )
    if hardware_usd:
        same = dict.fromkeys(LEVELS, hardware_usd)
        found.append(
            CostLine(
                key="hardware",
                label="Equipment of the option itself",
                of="once",
                unit="usd",
                quantity=dict.fromkeys(LEVELS, 1.0),
                amount=same,
                usd=same,
                mark=marks["hardware_usd"],
            )
        )
    subtotal = {level: sum((line.usd[level] for line in found), 0.0) for level in LEVELS}
    more = {level: subtotal[level] * getattr(record, input_name("contingency", "frac", level)) for level in LEVELS}
    return BuildUp(
        lines=tuple(found),
        hours={level: hours.get(level, 0.0) for level in LEVELS},
        subtotal_usd=subtotal,
        contingency_usd=more,
        total_usd={level: subtotal[level] + more[level] for level in LEVELS},
        lacks=lacks,
    )
