"""What texts of a hand-over are made from: the option, its unit and inputs, and where each value comes from."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from ..as_run.audit import dsp_tuning, sat_tuning
from ..as_run.seek import Seeker
from ..as_run.settings import TrimRespond
from ..dataclass import dataclass
from ..inputs.paths import known_path
from ..inputs.project import source_of
from ..inputs.schema import value_text
from ..model.system import supply_heating_mode
from ..results import CandidateResult, Results
from ..strategies.registry import dsp_strategy, sat_strategy, strategies_of

_DAYS = (("weekday", "weekdays"), ("saturday", "Saturdays"), ("sunday", "Sundays and holidays"))
# Characters of evidence that are told beside a value.
_MOST_SAID = 160
# Words in names of zones and groups that hint at spaces with requirements of their own (common practice, no source).
_CARE_WORDS = (
    "surg", "operating", "isolation", "patient", "exam", "treatment", "steril", "pharm", "clinic", "dental", "imaging",
    "lab", "clean room", "cleanroom", "vivarium", "animal", "autopsy", "morgue", "specimen", "burn unit", "nursery",
)  # fmt: skip


@dataclass(frozen=True)
class Facts:
    """An option of a run.

    ``c`` the option · ``before`` the option that describes the controls as they were found, else the baseline.
    """

    results: Results
    c: CandidateResult

    @cached_property
    def before(self) -> CandidateResult:
        plain = [
            c
            for c in (self.results.baseline, *self.results.candidates)
            if all(s.changes_nothing for s in strategies_of(c.candidate)) and not c.candidate.overrides
        ]
        return plain[0] if plain else self.results.baseline

    @cached_property
    def project(self):
        """Inputs with what the option changes."""
        return self.results.runs[self.c.id].project

    @cached_property
    def unit(self):
        """Unit with what the option changes."""
        return self.results.runs[self.c.id].unit

    @property
    def sat(self):
        return self.c.candidate.sat

    @property
    def dsp(self):
        return self.c.candidate.dsp

    @cached_property
    def sat_way(self):
        return sat_strategy(self.sat)

    @cached_property
    def dsp_way(self):
        return dsp_strategy(self.dsp)

    @cached_property
    def sat_loop(self) -> TrimRespond | None:
        """Trim and respond of the supply air, None where it does not go by requests."""
        return sat_tuning(self.sat, self.project.as_run)

    @cached_property
    def seeker(self) -> Seeker | None:
        """How an estimate of cost moves the supply air loop as well, None where it does not."""
        return Seeker.of(self.unit, self.sat, self.project.as_run) if self.sat_way.seeks else None

    @cached_property
    def dsp_loop(self) -> TrimRespond | None:
        """Trim and respond of the duct pressure, None where it does not go by requests."""
        return dsp_tuning(self.unit, self.dsp, self.project.as_run)

    @property
    def listens(self) -> bool:
        """Whether requests of zones move a setpoint."""
        return self.sat_way.listens or self.dsp_way.listens

    @property
    def sat_moves(self) -> bool:
        """Whether the supply setpoint has more than one value."""
        low, high = self.sat_way.range(self.sat)
        return high > low

    @property
    def dsp_moves(self) -> bool:
        """Whether the duct pressure setpoint has more than one value."""
        return bool(self.dsp_way.moves(self.dsp))

    @property
    def humidity(self) -> str:
        """Humidity limit in force: none, outdoor_dewpoint or room_dewpoint. It binds resets alone."""
        return str(self.project.limits.humidity) if self.sat_way.resets else "none"

    @cached_property
    def cold_limit_f(self) -> float | None:
        """Warmest supply air that zones which must stay cold allow; it binds resets alone. [degF]"""
        warmest = float(np.min(self.unit.zones.sat_max_f))
        low, high = self.sat_way.range(self.sat)
        return max(warmest, low) if self.sat_way.resets and warmest < high else None

    @property
    def setback(self) -> bool:
        return bool(self.project.schedule.unoccupied_mode == "setback")

    @property
    def reheats(self) -> bool:
        return bool(np.any(self.unit.zones.has_reheat))

    @property
    def heating_mode(self) -> str:
        """What the heating coil of the air handler does: hold, own_setpoint or none."""
        return str(supply_heating_mode(self.unit))

    @property
    def economizer(self) -> bool:
        """Whether there is an economizer that moves."""
        e = self.project.economizer
        return bool(e.type != "none" and e.stuck_frac is None)

    @property
    def direct_expansion(self) -> bool:
        return bool(self.project.cooling.type == "direct_expansion")

    @property
    def cools(self) -> bool:
        return bool(self.project.cooling.type != "none")

    @cached_property
    def hours_text(self) -> str:
        """Occupied hours of the air handler in words."""
        said = []
        part_time = [group for group in self.project.groups if not group.always_on]
        for kind, words in _DAYS:
            own = getattr(self.project.schedule, f"{kind}_hours")
            pairs = [own] if own is not None else [getattr(g, f"{kind}_hours") for g in part_time]
            open_ = sorted({tuple(p) for p in pairs if len(p) == 2 and p[0] != p[1]})
            if own is None and not part_time:
                said.append(f"{words} all day")
            elif not open_:
                said.append(f"{words} closed")
            elif all(start < end for start, end in open_):
                said.append(f"{words} {_clock(open_[0][0])} to {_clock(max(end for _, end in open_))}")
            else:
                said.append(f"{words} {', '.join(f'{_clock(a)} to {_clock(b)}' for a, b in open_)}")
        times = {text.partition(" all day")[1] for text in said}
        return "day and night" if times == {" all day"} else "; ".join(said)

    @cached_property
    def care_names(self) -> list[str]:
        """Names of groups and zones that hint at healthcare, laboratories or the like."""
        names = [*(g.name for g in self.project.groups), *(z.name for z in self.project.zones)]
        known = {name.casefold(): name for name in reversed(names)}
        return [name for key, name in reversed(known.items()) if any(word in key for word in _CARE_WORDS)]

    def source(self, path: str) -> str:
        """Path of an input and where it comes from. ``sat.max_f`` and the like mean those of the option."""
        section = path.partition(".")[0]
        own = section in ("sat", "dsp")
        full = f"candidate[{self.c.id}].{path}" if own else path
        project = self.results.project
        field = known_path(full).field
        origin = project.origins.get(full, "given")
        if path in self.c.candidate.overrides:
            return f"{path}: changed by the option"
        if origin == "default":
            why = project.default_of(field)[1]
            return f"{path}: default" + (f", {why}" if why else "")
        if origin == "given":
            known = "; ".join(t for t in (project.statuses.get(full, ""), project.evidence.get(full, "")) if t)
            # The sheets of inputs have it in full.
            known = " ".join(known.split())
            known = known if len(known) <= _MOST_SAID else known[: _MOST_SAID - 3].rstrip() + "..."
            return f"{path}: given" + (f", {known}" if known else "")
        return f"{path}: {source_of(origin, field)}"

    def words(self, part: str) -> str:
        """The strategy of a part in one sentence, without overrides by hand."""
        return _ascii((self.sat_way if part == "sat" else self.dsp_way).say(getattr(self.c.candidate, part)))

    def before_words(self, part: str) -> str:
        """The same as found."""
        record = getattr(self.before.candidate, part)
        return (
            _ascii((sat_strategy if part == "sat" else dsp_strategy)(record).say(record))
            .removeprefix("as found")
            .lstrip(":, ")
        )

    def share(self, key: str) -> float:
        """Share of running hours of an hourly count, as estimated."""
        running = self.c.hourly["running_hours"]
        return self.c.hourly[key] / running if running > 0.0 else 0.0

    def changes(self) -> tuple[tuple[str, str, str], ...]:
        """Other inputs that the option changes: what, as found, new."""
        found = []
        for path, value in self.c.candidate.overrides.items():
            parsed = known_path(path)
            was = self._values_before(path, parsed)
            unit = f" {parsed.field.unit}" if parsed.field.unit else ""
            label = parsed.field.label or parsed.field.name.replace("_", " ")
            of = f" of {parsed.kind} {parsed.name}" if parsed.name is not None else ""
            said = lambda v, unit=unit: value_text(v) + (unit if isinstance(v, float) else "")
            found.append((f"{label}{of} ({path})", " / ".join(dict.fromkeys(map(said, was))) or "none", said(value)))
        return tuple(found)

    def _values_before(self, path: str, parsed) -> list:
        project = self.results.project
        if parsed.name is None:
            return [project.value_of(path)]
        things = {"group": project.groups, "zone": project.zones, "special": project.specials}.get(parsed.kind, ())
        places = parsed.matches([thing.name for thing in things])
        return [getattr(things[place], parsed.field.name) for place in places][:6]


def _ascii(text: str) -> str:
    return text.replace("°F", "degF")


def some(names: list[str], most: int = 8) -> str:
    """The first names of a list, and how many more there are."""
    left = len(names) - most
    return ", ".join(names[:most]) + (f" and {left} more" if left > 0 else "")


def _clock(hour: float) -> str:
    return f"{int(hour):02d}:{round(60 * (hour - int(hour))):02d}"
