"""A project: all inputs checked, defaults filled in, zones expanded, candidates resolved."""

from __future__ import annotations

import functools
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from dataclasses import field as dataclass_field

from binestimator.errors import Finding
from binestimator.inputs.checks import check_all
from binestimator.inputs.defaults import default_in_force, rules
from binestimator.inputs.paths import InputPath, item_path, known_path, parse_path
from binestimator.inputs.problems import Problems, printable, sentence, shown
from binestimator.inputs.quick import quick_zones, spread_index_share
from binestimator.inputs.schema import (
    LIST_SECTIONS,
    SECTIONS,
    SINGLE_SECTIONS,
    STRATEGY_SECTIONS,
    Field,
    Record,
    check_value,
    did_you_mean,
    fields_of,
    is_used,
    record_type,
    used_when_text,
)

MOST = {"special": 50, "group": 50, "zone": 500, "candidate": 40}
#: Zones times candidates: what an estimate takes in time and memory grows with it.
MOST_ZONES_BY_CANDIDATES = 4_000
MOST_OVERRIDES = 500

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

# What a candidate may not override, by the role of the input: what is wrong, and what to do.
_NOT_OF_A_CANDIDATE = {
    "shared": ("all candidates share it", "change it for the whole project"),
    "building": (
        "it says what the building is, so that the saving would be that of another building",
        "estimate a second project file with that change",
    ),
    "assumption": (
        "it is an assumption of the estimate, so that the saving would be that of another assumption",
        "estimate a second project file with that change",
    ),
}
#: Pressure that a zone's run needs: a repair where zones are named, an assumption where all are meant.
_RUN_INPUTS = ("index_share", "survey_flow_cfm", "survey_damper_pct", "survey_dsp_inwc")
_SURVEY = ("survey_flow_cfm", "survey_damper_pct", "survey_dsp_inwc")


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate(record_type("candidate")):
    """A pairing of a SAT strategy and a DSP strategy, with all its parameters.

    Parameters
    ----------
    id, name, cost_usd, incentive_usd, kind
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Project:
    """All inputs of one estimate.

    Parameters
    ----------
    info, weather, calendar, schedule, building, air_handler, outdoor_air, economizer, fan, return_fan, cooling, \
heating, preheat, limits, service, prices, remedies, bins, as_run : records
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

    Notes
    -----
    Two projects are equal when everything but the place of their files is.
    """

    info: Record
    weather: Record
    calendar: Record
    schedule: Record
    building: Record
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
    remedies: Record
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
    climate: str = ""

    def section(self, name: str) -> object:
        """Record of a section by its name in the project file."""
        return getattr(self, "info" if name == "project" else name)

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
        project = build_project(
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
        project = build_project(
            self.given,
            self.overrides,
            problems,
            source_path=self.source_path,
            source_dir=self.source_dir,
            try_candidates=False,
            climate=climate,
        )
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


# ---------------------------------------------------------------- overrides


def check_overrides(overrides: Mapping[str, object], problems: Problems, where: str) -> dict[str, object]:
    """Checked overrides: path as written -> value as the records hold it.

    Whether the names in a path exist is seen when the overrides are applied.
    """
    checked: dict[str, object] = {}
    if len(overrides) > MOST_OVERRIDES:
        problems.add_bad(where, sentence(f"too many: {len(overrides)}", expected=f"at most {MOST_OVERRIDES}"))
        return checked
    for path, raw in overrides.items():
        place = override_place(where, path)
        parsed, problem = parse_path(path)
        value = None
        if parsed is not None:
            problem = _cannot_override(parsed)
            if problem is None:
                value, problem = check_value(parsed.field, raw, in_cell=problems.in_cells)
        if problem is None:
            checked[path] = value
        else:
            problems.add_bad(place, problem)
    return checked


def override_place(where: str, path: object) -> str:
    """Place of an override in messages."""
    return f'{where}["{printable(path[:100]) if isinstance(path, str) else shown(path)}"]'


def _cannot_override(path: InputPath) -> str | None:
    name = path.field.name
    if (path.kind in LIST_SECTIONS and path.part is None and name in ("name", "id")) or path.field.path in (
        "project.zones_csv",
        "project.default_candidates",
    ):
        return sentence("this input cannot be overridden", do="change it in the project itself")
    if name == "strategy":
        return sentence("the strategy of a candidate cannot be overridden", do="list another candidate")
    return None


# ---------------------------------------------------------------- building a project


def build_project(
    given: Given,
    overrides: Mapping[str, object],
    problems: Problems,
    *,
    source_path: str,
    source_dir: str,
    try_candidates: bool,
    override_where: Mapping[str, str] | None = None,
    climate: str = "",
) -> Project:
    """Fill in, expand, resolve and check.

    Parameters
    ----------
    given : Given
        Not changed.
    overrides : mapping
        Checked overrides.
    problems : Problems
        Takes everything wrong; when it has any, the returned project must not be used.
    try_candidates : bool
        Also build the project of each candidate that overrides inputs, to check it.
    override_where : mapping, optional
        Path of an override -> its place in messages.
    climate : str
        Climate zone of the weather where it is known; what ``weather.climate_zone`` says goes before it.

    Returns
    -------
    Project
    """
    build = _Build(given, overrides, problems, override_where or {})
    sections = {section: build.single(section) for section in SINGLE_SECTIONS}
    if sections["weather"].climate_zone != "auto":
        climate = sections["weather"].climate_zone
    build.follow_choices(sections, climate)
    groups = build.items("group", given.groups)
    specials = build.items("special", given.specials)
    group_names = [group.name for group in groups]
    if not groups:
        problems.add(
            "group",
            "no profile group",
            expected=problems.words("at least one [[group]]", "at least one"),
            do=problems.words("add [[group]] with a name", "give one a name"),
        )
    building = sections["building"]
    if specials and building.floor_area_ft2 is None:
        problems.add(
            "special",
            "special zones without the quick description they are taken from",
            do="give building.floor_area_ft2, or " + problems.words("list them under [[zone]]", "list them as zones"),
            involves=("building.floor_area_ft2",),
        )
    build.group_exists("building.group", building.group, group_names)
    for special in specials:
        build.group_exists(item_path("special", special.name, "group"), special.group, group_names)
    zones = build.zones(building, specials, group_names)
    build.follow_zones(sum(zone.multiplier for zone in zones))
    candidates, baseline_id = build.candidates(sections)
    build.all_overrides_used()
    if len(zones) * len(candidates) > MOST_ZONES_BY_CANDIDATES:
        problems.add(
            "candidate",
            f"{len(zones)} zones times {len(candidates)} candidates are {len(zones) * len(candidates)}",
            expected=f"zones times candidates at most {MOST_ZONES_BY_CANDIDATES}, the default candidates counted",
            do="join alike zones by their multiplier, or list fewer candidates",
            involves=("zone", "candidate"),
        )

    project = Project(
        info=sections.pop("project"),
        **sections,
        specials=specials,
        groups=groups,
        zones=zones,
        candidates=candidates,
        baseline_id=baseline_id,
        origins=build.origins,
        evidence=build.about_inputs("evidence", given.evidence, try_candidates),
        statuses=build.about_inputs("status", given.status, try_candidates),
        overrides=dict(overrides),
        source_path=source_path,
        source_dir=source_dir,
        findings=(),
        given=given,
        defaults=build.defaults,
        climate=climate,
    )
    findings = check_all(project, problems, build.places)
    object.__setattr__(project, "findings", tuple(findings))  # before anyone else has seen the project
    if try_candidates:
        _try_candidates(project, problems)
    return project


def _try_candidates(project: Project, problems: Problems) -> None:
    """Check each candidate's overrides by building the project they make."""
    for candidate in project.candidates:
        where = item_path("candidate", candidate.id, "override")
        if not candidate.overrides:
            continue
        if candidate.kind == "reset" and not candidate.changed_service:
            problems.add(
                item_path("candidate", candidate.id, "kind"),
                "a candidate that overrides other inputs is not a reset only",
                candidate.kind,
                '"repair" or "companion"',
                "say which, so that its saving is told apart from the reset's",
            )
        _check_roles(project, candidate, where, problems)
        merged = {path: value for path, value in project.overrides.items() if path not in candidate.overrides}
        merged |= candidate.overrides
        changed = Problems()
        changed.bad |= problems.bad
        build_project(
            project.given,
            merged,
            changed,
            source_path="",
            source_dir=project.source_dir,
            try_candidates=False,
            override_where={path: override_place(where, path) for path in candidate.overrides},
            climate=project.climate,
        )
        for problem in changed.items:
            if problem.where.startswith(where):
                problems.add_text(problem.where, problem.text)
            elif problem not in problems:
                problems.add_text(where, f"with these values {problem}")


def _check_roles(project: Project, candidate: Candidate, where: str, problems: Problems) -> None:
    """Refuse overrides of a candidate that make another project of it."""
    zones = [zone.name for zone in project.zones]
    specials = [special.name for special in project.specials]
    why, do = _NOT_OF_A_CANDIDATE["assumption"]
    repaired: set[str] = set()
    for path in candidate.overrides:
        parsed = known_path(path)
        role = (
            "shared" if parsed.kind == "candidate" else parsed.field.role
        )  # its strategies have inputs of role control
        if role in _NOT_OF_A_CANDIDATE:
            reason = _NOT_OF_A_CANDIDATE[role]
            problems.add(
                override_place(where, path), f"a candidate cannot change {parsed.field.path}: {reason[0]}", do=reason[1]
            )
        elif parsed.field.name in _RUN_INPUTS:
            if parsed.name is not None and parsed.name in (zones if parsed.kind == "zone" else specials):
                repaired.add(parsed.name)
            else:
                problems.add(
                    override_place(where, path),
                    f"a candidate cannot change {parsed.field.name} of zones by a pattern: {why}",
                    do=f"{do}, or name the zones that are repaired",
                )
    if len(zones) > 1 and repaired.issuperset(zones):
        problems.add(where, f"a candidate cannot change the pressure that every zone needs: {why}", do=do)
    if candidate.id == project.baseline_id and candidate.changed_service:
        problems.add(
            override_place(where, candidate.changed_service[0]),
            "the baseline cannot change what the rooms are promised: all others are judged by it",
            do="change it for the whole project",
        )


@functools.cache
def _named_fields(section: str) -> tuple[tuple[str, str, Field], ...]:
    """Name, path and field of each input of a section: projects are built by the dozen."""
    return tuple((name, field.path, field) for name, field in fields_of(section).items())


class _Build:
    """State of one build: origins, places and which overrides have met an input."""

    def __init__(self, given: Given, overrides: Mapping[str, object], problems: Problems, where: Mapping[str, str]):
        self.given, self.problems = given, problems
        self.origins: dict[str, str] = {}
        self.defaults: dict[str, tuple[object, str]] = {}
        self.places: dict[str, str] = {}
        self._names: dict[str, list[str]] = {kind: [] for kind in LIST_SECTIONS}
        self._overrides: list[tuple[InputPath, object, str, str]] = []
        self._met: set[str] = set()
        for path, value in overrides.items():
            parsed = known_path(path)
            self._overrides.append((parsed, value, where.get(path, override_place("override", path)), path))

    # -- records

    def record(self, section: str, values: Mapping, prefix: str, derived: frozenset[str] = frozenset()):
        """Record of given values over defaults; notes origins and what is missing."""
        problems, filled = self.problems, {}
        origins, defaults = self.origins, self.defaults
        for name, field_path, field in _named_fields(section):
            path = f"{prefix}.{name}"
            if name in values:
                filled[name] = values[name]
                origins[path] = "derived" if name in derived else "given"
                continue
            in_force = defaults.get(field_path)
            filled[name] = field.default if in_force is None else in_force[0]
            origins[path] = "default"
            if field.required and path not in problems.bad:
                problems.add_bad(
                    path,
                    sentence(
                        "is missing",
                        expected=field.allowed_as(in_cell=problems.in_cells),
                        do=f"give it: {field.description}",
                    ),
                )
        return record_type(section)(**filled)

    def single(self, section: str):
        """Record of a section that occurs once."""
        values = dict(self.given.sections.get(section, {}))
        for parsed, value, _, path in self._overrides:
            if parsed.kind == section:
                values[parsed.field.name] = value
                self._met.add(path)
        return self.record(section, values, section)

    def follow_choices(self, sections: dict, climate: str) -> None:
        """Put defaults that follow from other inputs into the records of sections that occur once, in place."""
        facts = {"climate": climate or None}

        def value_of(path: str):
            section, _, name = path.partition(".")
            return facts[path] if path in facts else getattr(sections[section], name)

        for path in rules():
            section, _, name = path.partition(".")
            if section in sections:
                self.defaults[path] = default_in_force(path, value_of)
                if self.origins[path] == "default":
                    sections[section] = replace(sections[section], **{name: self.defaults[path][0]})
            elif section in LIST_SECTIONS:  # of groups and zones, which are still to be made
                self.defaults[path] = default_in_force(path, facts.get)

    def follow_zones(self, zones: int) -> None:
        """Defaults of strategies that follow from the number of terminals, for the candidates to come."""
        for path in rules():
            if path.partition(".")[0] in STRATEGY_SECTIONS:
                self.defaults[path] = default_in_force(path, {"zones": zones}.get)

    def items(self, kind: str, given: list[dict]) -> tuple:
        """Records of a section that is a list."""
        lines = [dict(values) for values in given]
        self._name_lines(kind, lines)
        self._override_lines(kind, lines)
        return tuple(self.record(kind, values, f"{kind}[{values['name']}]") for values in lines)

    def _name_lines(self, kind: str, lines: list[dict]) -> None:
        """Give lines without a usable name a stand-in and refuse names given twice."""
        if len(lines) > MOST[kind]:
            self.problems.add(
                kind,
                f"too many: {len(lines)}",
                expected=f"at most {MOST[kind]}",
                do="join alike zones by their multiplier" if kind == "zone" else "",
            )
            del lines[MOST[kind] :]
        seen: dict[str, str] = {}
        for place, values in enumerate(lines):
            if "name" not in values:
                values["name"] = nameless(place)
                path = item_path(kind, values["name"], "name")
                if path not in self.problems.bad:
                    field = fields_of(kind)["name"]
                    self.problems.add_bad(path, sentence("is missing", expected=field.allowed, do="give each a name"))
            name = values["name"]
            if name.casefold() in seen:
                self.problems.add(
                    f"{kind}[{name}]",
                    f'the name is given twice ("{seen[name.casefold()]}" and "{name}")',
                    expected="unique names, also without regard to case",
                    do="rename one of them",
                )
            if kind == "group" and name.casefold() == "none":
                self.problems.add(f"group[{name}]", 'a group cannot be called "none"', do="rename it")
            seen[name.casefold()] = name
        self._names[kind] = [values["name"] for values in lines]

    def _override_lines(self, kind: str, lines: list[dict]) -> list[set[str]]:
        """Apply overrides to lines in place; returns the inputs changed in each."""
        changed: list[set[str]] = [set() for _ in lines]
        for parsed, value, where, path in self._overrides:
            if parsed.kind != kind:
                continue
            places = parsed.matches(self._names[kind])
            for place in places:
                lines[place][parsed.field.name] = value
                changed[place].add(parsed.field.name)
            self._met.add(path)
            if not places:
                self._no_match(where, kind, parsed.name)
        return changed

    def _no_match(self, where: str, kind: str, name: str | None) -> None:
        self.problems.add(
            where,
            f'there is no {kind} "{printable(name or "")}"',
            do="" if self.problems.crowded else did_you_mean(name, self._names[kind]),
            involves=(kind,),
        )

    def all_overrides_used(self) -> None:
        """Refuse overrides that no part of the build took (never expected)."""
        for _, _, where, path in self._overrides:
            if path not in self._met:
                self.problems.add(where, "the override has no effect")

    def group_exists(self, path: str, name: str | None, names: list[str]) -> None:
        """Refuse a reference to a group that is not there."""
        if name is not None and names and name not in names:
            self.problems.add(
                path,
                "no such profile group",
                name,
                ", ".join(f'"{group}"' for group in names[:8]),
                did_you_mean(name, names),
                involves=(path,),
            )

    # -- zones

    def zones(self, building, specials: tuple, group_names: list[str]) -> tuple:
        """Zones of the quick description and of the lists, with groups and index shares."""
        first = group_names[0] if group_names else None
        complete = [special for special in specials if special.area_ft2 is not None]
        quick = quick_zones(building, complete, first, self.problems)
        lines = [{name: value for name, value in zone.values.items() if value is not None} for zone in quick]
        derived = [set(values) for values in lines]
        explicit = [dict(values) for values in (*self.given.zones, *self.given.csv_zones)]
        if not explicit and building.floor_area_ft2 is None:
            self.problems.add(
                "zone",
                "no zone",
                expected="at least one",
                do="give building.floor_area_ft2 for zones from the quick description"
                + self.problems.words(
                    ", list [[zone]], or name a zones_csv file under [project]", ", or list zones here"
                ),
                involves=("building.floor_area_ft2", "project.zones_csv", "zone"),
            )
        lines += explicit
        derived += [set() for _ in explicit]
        self._name_lines("zone", lines)
        lacking = [_lacks_share(values) for values in lines]
        overridden = self._override_lines("zone", lines)
        for values, made, changed in zip(lines, derived, overridden, strict=False):
            made -= changed
            if values.get("group") is None and first is not None:
                values["group"] = first
                made.add("group")
        for places, keys, counts in (
            (range(len(quick)), [zone.nearness for zone in quick], [zone.values["multiplier"] for zone in quick]),
            (
                range(len(quick), len(lines)),
                [(place,) for place in range(len(lines) - len(quick))],
                [1] * (len(lines) - len(quick)),
            ),
        ):
            self._spread(lines, derived, lacking, list(places), keys, counts, building.index_share_low)
        zones = []
        for values, made in zip(lines, derived, strict=False):
            prefix = f"zone[{values['name']}]"
            if "group" not in made:  # else it comes from the quick description, which is checked itself
                self.group_exists(f"{prefix}.group", values.get("group"), group_names)
            zones.append(self.record("zone", values, prefix, frozenset(made)))
        return tuple(zones)

    def _spread(
        self, lines, derived, lacking, places: list[int], keys: list[tuple], counts: list[int], low: float
    ) -> None:
        """Fill in index shares along one list of zones.

        Zones that lacked a share before overrides keep their place in the spread, so that
        overriding one zone's share moves no other zone's.
        """
        spread = [
            (place, key, count)
            for place, key, count in zip(places, keys, counts, strict=False)
            if lacking[place] or _lacks_share(lines[place])
        ]
        shares = spread_index_share([key for _, key, _ in spread], low, [count for *_, count in spread])
        for (place, *_), share in zip(spread, shares, strict=True):
            if _lacks_share(lines[place]):
                lines[place]["index_share"] = share
                derived[place].add("index_share")

    # -- candidates

    def candidates(self, sections: Mapping) -> tuple[tuple[Candidate, ...], str]:
        """Candidates in order, and the id of the baseline."""
        given, problems = self.given.candidates, self.problems
        listed: dict[str, dict] = {}
        for place, values in enumerate(given):
            candidate_id = values.get("id", nameless(place))
            if candidate_id in listed:
                problems.add(
                    f"candidate[{candidate_id}]",
                    "the id is given twice",
                    expected="unique ids",
                    do="rename one of them",
                )
            listed[candidate_id] = values
        ids = list(listed)
        if sections["project"].default_candidates:
            ids = [*DEFAULT_CANDIDATES, *(each for each in ids if each not in DEFAULT_CANDIDATES)]
        if not ids:
            problems.add(
                "candidate",
                "no candidate",
                expected=problems.words("at least one [[candidate]]", "at least one"),
                do="list candidates or "
                + problems.words("set project.default_candidates = true", "answer yes to project.default_candidates"),
            )
        if len(ids) > MOST["candidate"]:
            problems.add(
                "candidate", f"too many: {len(ids)}", expected=f"at most {MOST['candidate']}, the default ones counted"
            )
            ids = ids[: MOST["candidate"]]
        self._names["candidate"] = ids
        candidates = tuple(self._candidate(each, listed.get(each, {}), sections) for each in ids)
        self._candidate_overrides_met(candidates)
        marked = [each for each in ids if listed.get(each, {}).get("baseline")]
        if len(marked) > 1:
            problems.add(
                "candidate",
                "more than one baseline",
                ", ".join(marked),
                problems.words("baseline = true at most once", "yes at most once"),
            )
        default = "as_found" if "as_found" in ids and sections["project"].default_candidates else None
        return candidates, (marked or [default or (ids[0] if ids else "")])[0]

    def _overrides_of(self, candidate_id: str, part: str | None) -> list[tuple[Field, object, str, str]]:
        return [
            (parsed.field, value, where, path)
            for parsed, value, where, path in self._overrides
            if parsed.kind == "candidate"
            and parsed.part == part
            and parsed.matches(self._names["candidate"])
            and self._names["candidate"].index(candidate_id) in parsed.matches(self._names["candidate"])
        ]

    def _candidate_overrides_met(self, candidates) -> None:
        for parsed, _, where, path in self._overrides:
            if parsed.kind == "candidate" and path not in self._met:
                self._met.add(path)
                if not parsed.matches(self._names["candidate"]):
                    self._no_match(where, "candidate", parsed.name)
                else:
                    self.problems.add(
                        where,
                        f"{parsed.field.name} has no effect: it counts when {used_when_text(parsed.field)}",
                        do="remove it",
                    )

    def _candidate(self, candidate_id: str, listed: dict, sections: Mapping) -> Candidate:
        prefix = f"candidate[{candidate_id}]"
        own = {name: value for name, value in listed.items() if name in fields_of("candidate")}
        default = DEFAULT_CANDIDATES.get(candidate_id)
        for field, value, _, path in self._overrides_of(candidate_id, None):
            own[field.name] = value
            self._met.add(path)
        filled = {"id": candidate_id, **({"name": default[0]} if default else {}), **own}
        record = self.record("candidate", filled, prefix)
        for name in filled:
            if name not in own:
                self.origins[f"{prefix}.{name}"] = "default"
        parts = {
            part: self._strategy(
                candidate_id, part, listed.get(part, {}), default[1 + place] if default else None, sections
            )
            for place, part in enumerate(STRATEGY_SECTIONS)
        }
        values = {name: getattr(record, name) for name in fields_of("candidate")}
        return Candidate(**values, **parts, overrides=dict(listed.get("override", {})))

    def _strategy(self, candidate_id: str, part: str, inline: dict, default: str | None, sections: Mapping):
        """Record of a strategy: library, then the candidate's own values, then what the project says."""
        prefix = item_path("candidate", candidate_id, part)
        strategy = inline.get("strategy", default)
        if strategy is None:
            if prefix not in self.problems.bad and f"{prefix}.strategy" not in self.problems.bad:
                choices = fields_of(part)["strategy"].allowed_as(in_cell=self.problems.in_cells)
                do = self.problems.words(f'write {part} = "as_found"', "choose one")
                self.problems.add_bad(prefix, sentence("is missing", expected=choices, do=do))
            strategy = "as_found"
        values = {"strategy": strategy}
        for name, value in self.given.library[part].get(strategy, {}).items():
            values[name] = value
            self.places[f"{prefix}.{name}"] = f"{part}.{strategy}.{name}"
        for name, value in inline.items():
            values[name] = value
            self.places[f"{prefix}.{name}"] = f"{prefix}.{name}"
        for field, value, where, path in self._overrides_of(candidate_id, part):
            if is_used(field, lambda section, name: strategy):
                values[field.name] = value
                self.places[f"{prefix}.{field.name}"] = where
                self._met.add(path)
        resolved = {
            name: value for name, value in resolved_inputs(part, values, sections).items() if values.get(name) is None
        }
        record = self.record(part, values | resolved, prefix, frozenset(resolved))
        if "strategy" not in inline:
            self.origins[f"{prefix}.strategy"] = "default"
        return record

    # -- evidence and status

    def about_inputs(self, table: str, given: Mapping[str, str], strict: bool) -> dict[str, str]:
        """Evidence or status by the full path of each input it is about.

        What is about nothing is refused when ``strict``; else, with overrides that may have
        made the zones anew, it is left out.
        """
        texts: dict[str, str] = {}
        for path, text in given.items():
            parsed = known_path(path)
            where = override_place(table, path)
            if parsed.kind in LIST_SECTIONS:
                names = self._names[parsed.kind]
                places = parsed.matches(names)
                if not places and strict:
                    self._no_match(where, parsed.kind, parsed.name)
                texts |= {item_path(parsed.kind, names[place], parsed.tail): text for place in places}
            else:
                texts[parsed.field.path] = text
        return texts


def nameless(place: int) -> str:
    """Stand-in for the name of a line that has none."""
    return f"#{place + 1}"


def _lacks_share(values: Mapping) -> bool:
    return values.get("index_share") is None and any(values.get(name) is None for name in _SURVEY)


def resolved_inputs(part: str, values: Mapping, sections: Mapping) -> dict[str, object]:
    """What a strategy takes from the project where the user gave nothing.

    Notes
    -----
    Lines: as_found is flat at the design value; outdoor-air SAT falls from the warmest at 60 degF
    to the coldest at 70 degF outdoors (Guideline 36 5.16.2.2); outdoor-air DSP rises from midway
    between the limits at 50 degF to the highest at 90 degF, airflow DSP from the lowest at 30 % to
    the highest at 100 % of design airflow (assumptions).
    """
    limits, strategy = sections["limits"], values["strategy"]
    if part == "sat":
        design = sections["air_handler"].design_sat_f
        low, high = limits.sat_min_f, limits.sat_max_f
        unit, lines = "f", {"outdoor_air": ((60.0, high), (70.0, low))}
    else:
        design = sections["fan"].design_dsp_inwc
        low = limits.dsp_min_inwc
        high = design if limits.dsp_max_inwc is None else limits.dsp_max_inwc
        unit = "inwc"
        lines = {
            "outdoor_air": ((50.0, (low + high) / 2), (90.0, high)),
            "airflow": ((30.0, low), (100.0, high)),
        }
    lines["as_found"] = ((0.0, design), (100.0, design))
    resolved = {f"setpoint_{unit}": design, f"min_{unit}": low, f"max_{unit}": high, f"override_{unit}": design}
    if strategy in lines:
        resolved["points"] = lines[strategy]
    return resolved
