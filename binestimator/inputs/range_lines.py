"""Uncertain inputs that draws are made of, as ``ranges.csv`` lists them."""

from __future__ import annotations

import csv
import functools
from importlib import resources

from binestimator.dataclass import dataclass
from binestimator.inputs.paths import known_path

#: What a drawn number does: a factor of the value (``scale``, ``people``, ``terminals``, ``share``, ``found_dsp``,
#: ``plant``, ``plant_inverse``, ``boiler``, ``price``, ``cost``, ``realisation``), a factor of its distance from 1
#: (``from_one``), or something added to it (``ADDED``).
ADDED = ("shift", "pattern", "found_sat", "weather")
#: Columns with the range for an input that is a default, that was stated, and that was measured.
RANGE_COLUMNS = ("", "stated_", "measured_")


@dataclass(frozen=True, slots=True, kw_only=True)
class RangeLine:
    """One line of ``ranges.csv``.

    ``ends`` low and high for an input that is a default, that was stated without evidence, and that was measured,
    trended or read off · ``used_when`` path and values, as in ``inputs.csv``, or the path of an input that has to be
    given · ``together`` name of the group that it is correlated in, with ``correlation`` of normal scores ·
    ``measure`` how to know the input better, empty where nothing can be done.
    """

    key: str
    label: str
    kind: str
    act: str
    paths: tuple[str, ...]
    used_when: str
    ends: tuple[tuple[float, float], ...]
    distribution: str
    together: str
    correlation: float
    source: str
    measure: str

    @property
    def base(self) -> float:
        """What leaves the input as it is."""
        return 0.0 if self.act in ADDED else 1.0


@functools.cache
def range_lines() -> dict[str, RangeLine]:
    """Lines of ``ranges.csv`` by their key.

    Raises
    ------
    ValueError
        A line contradicts itself: a mistake of the program.
    """
    text = resources.files(__package__).joinpath("ranges.csv").read_text(encoding="utf-8")
    out = {}
    for row in csv.DictReader(text.splitlines()):
        together, _, correlation = row["together"].partition(" ")
        line = RangeLine(
            key=row["key"],
            label=row["label"],
            kind=row["kind"],
            act=row["act"],
            paths=tuple(row["paths"].split()),
            used_when=row["used_when"],
            ends=tuple((float(row[f"{who}low"]), float(row[f"{who}high"])) for who in RANGE_COLUMNS),
            distribution=row["distribution"],
            together=together,
            correlation=float(correlation or 0.0),
            source=row["source"],
            measure=row["measure"],
        )
        for path in line.paths:
            known_path(path)  # raises for a line about no input
        if not all(low <= line.base <= high and low < high for low, high in line.ends):
            raise ValueError(f"ranges.csv: {row}")
        out[line.key] = line
    return out
