"""What a project file or a form gave, before defaults and what follows; most of each, and the default candidates."""

from __future__ import annotations

from dataclasses import field as dataclass_field

from binestimator.dataclass import dataclass
from binestimator.inputs.schema import STRATEGY_SECTIONS

MOST = {"special": 50, "group": 50, "zone": 500, "candidate": 40, "peak_window": 10, "incentive": 10}
MOST |= {"energy_price": 30, "demand_charge": 10, "range": 35, "weather_year": 20}
#: Zones times candidates: what an estimate takes in time and memory grows with it.
MOST_ZONES_BY_CANDIDATES = 4_000

#: Candidates evaluated unless the project says otherwise: id -> (name, SAT strategy, DSP strategy).
DEFAULT_CANDIDATES = {
    "as_found": ("As found", "as_found", "as_found"),
    "sat_outdoor_air": ("SAT by outdoor air", "outdoor_air", "as_found"),
    "sat_demand": ("SAT by demand", "demand", "as_found"),
    "dsp_outdoor_air": ("DSP by outdoor air", "as_found", "outdoor_air"),
    "dsp_demand": ("DSP by demand", "as_found", "demand"),
    "sat_outdoor_air_dsp_demand": ("SAT by outdoor air, DSP by demand", "outdoor_air", "demand"),
    "sat_demand_dsp_demand": ("SAT and DSP by demand", "demand", "demand"),
    "sat_cost_optimal_dsp_demand": ("Cost-optimal SAT, DSP by demand", "cost_optimal", "demand"),
}


@dataclass
class Given:
    """What the user gave and nothing else: checked values in the layout of the project file.

    Parameters
    ----------
    sections : dict
        Section -> input -> value.
    specials, groups, zones, csv_zones : list of dict
        Input -> value; ``csv_zones`` are the lines of the zones file.
    library : dict
        ``sat`` and ``dsp`` -> strategy -> input -> value.
    candidates : list of dict
        Inputs of the candidate and, where given, ``baseline``, ``sat``, ``dsp``, ``override``.
    evidence : dict
        Path -> text.
    status : dict
        Path -> one of ``schema.STATUSES``.
    terms : dict
        Section of ``terms.csv`` -> list of tables: input -> value; of a section that occurs once a list of one.

    Notes
    -----
    Overrides of these (``[override]`` in the file) are kept by :class:`Project`.
    """

    sections: dict = dataclass_field(default_factory=dict)
    specials: list = dataclass_field(default_factory=list)
    groups: list = dataclass_field(default_factory=list)
    zones: list = dataclass_field(default_factory=list)
    csv_zones: list = dataclass_field(default_factory=list)
    library: dict = dataclass_field(default_factory=lambda: {part: {} for part in STRATEGY_SECTIONS})
    candidates: list = dataclass_field(default_factory=list)
    evidence: dict = dataclass_field(default_factory=dict)
    status: dict = dataclass_field(default_factory=dict)
    terms: dict = dataclass_field(default_factory=dict)


def nameless(place: int) -> str:
    """Stand-in for the name of a line that has none."""
    return f"#{place + 1}"
