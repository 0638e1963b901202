"""A project: all inputs checked, defaults filled in, zones expanded, candidates resolved."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from dataclasses import field as dataclass_field
from typing import TYPE_CHECKING, Protocol

from binestimator.dataclass import dataclass
from binestimator.errors import Finding
from binestimator.inputs.given import Given
from binestimator.inputs.overrides import check_overrides
from binestimator.inputs.paths import item_path, known_path
from binestimator.inputs.problems import Problems
from binestimator.inputs.range_items import check_own_ranges
from binestimator.inputs.schema import (
    SECTIONS,
    SINGLE_SECTIONS,
    STRATEGY_SECTIONS,
    Field,
    Record,
    fields_of,
    is_used,
    record_type,
)
from binestimator.inputs.terms import NO_TERMS, Terms

if TYPE_CHECKING:
    _CandidateInputs = Record
else:
    _CandidateInputs = record_type("candidate")


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate(_CandidateInputs):
    """A pairing of a SAT strategy and a DSP strategy, with all its parameters.

    Parameters
    ----------
    id, name, cost_usd, incentive_usd, kind, maintenance_usd_yr, hardware_usd
        See section ``candidate`` of the inputs.
    sat, dsp : records of sections sat and dsp
        Resolved: no parameter that the strategy uses is ``None``, except
        ``points_unoccupied`` (``None``: as in occupied hours).
    overrides : dict
        Path -> value of other inputs that the candidate changes.
    """

    sat: Record
    dsp: Record
    overrides: Mapping[str, object] = dataclass_field(default_factory=dict, hash=False)

    @property
    def changed_service(self) -> tuple[str, ...]:
        """Paths of the overrides that change what the rooms are promised."""
        return tuple(path for path in self.overrides if known_path(path).field.role == "service")


#: Paths of inputs that no figure of a year depends on.
_MONEY_ONLY = re.compile(
    r"(life_cycle|cost|emissions)\.|prices\.currency$|candidate\[.*\]\.(maintenance_usd_yr|hardware_usd)$"
)


class Rebuild(Protocol):
    """A build of a project from what was given: :func:`binestimator.inputs.build.build_project`."""

    def __call__(
        self,
        given: Given,
        overrides: Mapping[str, object],
        problems: Problems,
        *,
        source_path: str,
        source_dir: str,
        try_candidates: bool,
        override_where: Mapping[str, str] | None = None,
        climate: str = "",
    ) -> Project: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Project:
    """All inputs of one estimate.

    Parameters
    ----------
    info, weather, calendar, schedule, building, room_setpoints, air_handler, outdoor_air, economizer, fan, \
return_fan, cooling, heating, preheat, limits, service, prices, life_cycle, cost, emissions, remedies, rogue_zones, \
bins, as_run : records
        One for each section (``info`` is section ``project``); attributes as in the inputs reference.
    specials, groups, zones : tuple of records
        Zones are complete: those of the quick description, then those of the project file, then
        those of the zones file. Each has its group, and ``index_share`` unless a damper survey
        takes its place.
    candidates : tuple of Candidate
    baseline_id : str
        Candidate the others are compared with.
    origins : dict
        Path of each input -> ``given``, ``default`` or ``derived``.
    evidence : dict
        Path -> text of the user.
    statuses : dict
        Path -> how the user came to the value; see :meth:`status_of`.
    overrides : dict
        Path -> value that overrides the given value.
    source_path : str
        Name of the project file without its folder; empty when not read from a file.
    source_dir : str
        Folder that relative file names start from.
    findings : tuple of Finding
        What is unlikely or given without effect.
    given : Given
        What the user gave; the project can be written from it again.
    defaults : dict
        Path of each input of ``inputs.defaults`` -> (value, source): what counts where it is not given. Of
        strategies ``sat.ignored_requests``, the same for all candidates.
    climate : str
        Climate zone of 90.1, such as ``4A``; empty while it is not known (see :meth:`in_climate`).
    terms : Terms
        Of utilities and programmes: peak windows, incentives.
    rebuild : callable
        What it was built by, to build it again with other overrides or in a climate.

    Notes
    -----
    Two projects are equal when everything but the place of their files is.
    """

    info: Record
    weather: Record
    calendar: Record
    schedule: Record
    building: Record
    room_setpoints: Record
    specials: tuple
    groups: tuple
    zones: tuple
    air_handler: Record
    outdoor_air: Record
    economizer: Record
    fan: Record
    return_fan: Record
    cooling: Record
    heating: Record
    preheat: Record
    limits: Record
    service: Record
    prices: Record
    life_cycle: Record
    cost: Record
    emissions: Record
    remedies: Record
    rogue_zones: Record
    bins: Record
    as_run: Record
    candidates: tuple[Candidate, ...]
    baseline_id: str
    origins: dict[str, str] = dataclass_field(hash=False, repr=False)
    evidence: dict[str, str] = dataclass_field(hash=False, repr=False)
    statuses: dict[str, str] = dataclass_field(hash=False, repr=False)
    overrides: dict[str, object] = dataclass_field(hash=False)
    source_path: str = dataclass_field(compare=False)
    source_dir: str = dataclass_field(compare=False)
    findings: tuple[Finding, ...]
    given: Given = dataclass_field(hash=False, repr=False)
    defaults: dict[str, tuple[object, str]] = dataclass_field(hash=False, repr=False)
    rebuild: Rebuild = dataclass_field(compare=False, hash=False, repr=False)
    climate: str = ""
    terms: Terms = NO_TERMS

    def section(self, name: str) -> object:
        """Record of a section by its name in the project file."""
        return getattr(self, "info" if name == "project" else name)

    def value_of(self, path: str) -> object:
        """Value of an input that occurs once, by its path such as ``fan.motor_hp``."""
        section, _, name = path.partition(".")
        return getattr(self.section(section), name)

    def candidate(self, candidate_id: str) -> Candidate:
        """Candidate by id.

        Raises
        ------
        KeyError
            When there is none.
        """
        for candidate in self.candidates:
            if candidate.id == candidate_id:
                return candidate
        raise KeyError(candidate_id)

    @property
    def baseline(self) -> Candidate:
        """Candidate the others are compared with."""
        return self.candidate(self.baseline_id)

    @property
    def estimate_origins(self) -> tuple[str, ...]:
        """Origins of the inputs that the estimate of a year rests on: without those of the life cycle, of cost lines
        and of emissions, which are placeholders until somebody prices the work."""
        return tuple(origin for path, origin in self.origins.items() if not _MONEY_ONLY.match(path))

    def status_of(self, path: str) -> str:
        """How the value of an input was obtained.

        Parameters
        ----------
        path : str
            Full path, as in ``origins``.

        Returns
        -------
        str
            One of ``schema.STATUSES``: that of the user, else ``default`` for a default; empty
            for values that were given, or follow from others, without saying how.
        """
        return self.statuses.get(path) or ("default" if self.origins.get(path) == "default" else "")

    def checksum(self) -> str:
        """Short checksum of all inputs in force, for pages and files: the same inputs, the same text."""
        text = repr([(path, value) for path, _, value, *_ in self.effective_rows()]) + repr(
            [(candidate.id, dict(candidate.overrides)) for candidate in self.candidates]
        )
        text += repr(self.terms.given) if self.terms.given else ""
        return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:8]

    def with_overrides(self, overrides: Mapping[str, object], *, in_cells: bool = False) -> Project:
        """Project with some inputs changed, checked and resolved again from what was given.

        Parameters
        ----------
        overrides : mapping
            Path -> value: ``fan.motor_hp``, ``group.<name or *>.lights_w_ft2``,
            ``zone.<name or pattern>.max_cfm``, ``special...``, ``candidate.<id or *>.sat.max_f``.
            ``"none"`` unsets an optional input. Values follow one another, later ones win, also
            over the overrides the project already has. Inputs of the quick description make the
            zones anew; a zone's ``index_share`` changes no other zone's.
        in_cells : bool
            The values were typed into cells of a form: what is wrong is said in words that suit a cell.

        Raises
        ------
        InputError
            Lists everything that does not fit. Overrides of the candidates are not tried again.
        """
        problems = Problems(in_cells=in_cells)
        checked = check_overrides(overrides, problems, "override")
        merged = {path: value for path, value in self.overrides.items() if path not in checked} | checked
        project = self.rebuild(
            self.given,
            merged,
            problems,
            source_path=self.source_path,
            source_dir=self.source_dir,
            try_candidates=False,
            climate=self.climate,
        )
        problems.raise_if_any("overrides")
        return project

    def in_climate(self, climate: str) -> Project:
        """The project with the defaults that suit a climate.

        Parameters
        ----------
        climate : str
            Climate zone of 90.1, as of the weather file; ``weather.climate_zone`` goes before it.

        Raises
        ------
        InputError
            A default of that climate does not go with what was given.
        """
        if self.weather.climate_zone != "auto" or climate == self.climate:
            return self
        problems = Problems()
        project = self.rebuild(
            self.given,
            self.overrides,
            problems,
            source_path=self.source_path,
            source_dir=self.source_dir,
            try_candidates=False,
            climate=climate,
        )
        if not problems.items:
            check_own_ranges(project, problems)
        problems.raise_if_any(f"climate zone {climate}")
        return project

    def effective_rows(self) -> list[tuple]:
        """All inputs in reading order, for a sheet of inputs.

        Returns
        -------
        list of tuple
            ``(path, label, value, unit, low, high, origin, source, description, evidence)``.
            ``value`` as in the records; ``low`` and ``high`` ``None`` without a range; ``source``
            of a default is the schema's, of another value how it came about. Of candidates only
            the parameters that their strategies use.
        """
        rows: list[tuple] = []
        for section in SECTIONS:
            if section in SINGLE_SECTIONS:
                for field in fields_of(section).values():
                    self._add_row(rows, field.path, field, getattr(self.section(section), field.name))
            elif section in ("special", "group", "zone"):
                for record in getattr(self, f"{section}s"):
                    for field in fields_of(section).values():
                        path = item_path(section, record.name, field.name)
                        self._add_row(rows, path, field, getattr(record, field.name))
        for candidate in self.candidates:
            for field in fields_of("candidate").values():
                path = item_path("candidate", candidate.id, field.name)
                self._add_row(rows, path, field, getattr(candidate, field.name))
            for part in STRATEGY_SECTIONS:
                record = getattr(candidate, part)
                for field in fields_of(part).values():
                    if is_used(field, lambda section, name, record=record: getattr(record, name)):
                        path = item_path("candidate", candidate.id, f"{part}.{field.name}")
                        self._add_row(rows, path, field, getattr(record, field.name))
        return rows

    def default_of(self, field: Field) -> tuple[object, str]:
        """What counts where an input is not given, and where that comes from."""
        return self.defaults.get(field.path, (field.default, field.source))

    def _add_row(self, rows: list[tuple], path: str, field: Field, value: object) -> None:
        origin = self.origins[path]
        source = self.default_of(field)[1] if origin == "default" else source_of(origin, field)
        rows.append(
            (
                path,
                field.label,
                value,
                field.unit,
                field.low,
                field.high,
                origin,
                source,
                field.description,
                self.evidence.get(path, ""),
            )
        )


def source_of(origin: str, field: Field) -> str:
    """Where a value comes from that is no default: the user, or other inputs."""
    if origin == "given":
        return "given"
    if field.section == "zone":
        if field.name == "index_share":
            return "spread evenly from building.index_share_low to 1: assumption"
        return "first profile group" if field.name == "group" else "quick description of the building"
    return "from the limits and design values of the project"
