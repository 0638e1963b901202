"""Draws of a unit: what drawn inputs make of it, and draws side by side as further rows of the model.

A draw changes inputs of a project; the unit that follows is worked out for many draws at once by
``model.build.build_unit`` itself, on arrays. :func:`spread` makes it a unit whose numbers differ by row, so that draws
are further rows of every function of the model: no surrogate, and no code of their own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace

import numpy as np

from ..dataclass import dataclass
from ..hours import Conditions
from ..inputs.paths import known_path
from ..inputs.range_lines import RangeLine
from ..model.build import Columns, build_unit
from ..model.loads import zone_loads
from ..model.terminals import open_flow_cfm
from ..model.unit import Found, Sizes, Unit, field_of, number, with_fields
from ..moist_air import (
    dewpoint_f,
    humidity_ratio_from_vapour_pressure,
    saturation_pressure_psia,
    vapour_pressure_psia,
    wetbulb_f,
)
from .lines import Drawn, overridden

#: Factors and differences of draws: key of a line -> basis -> (D,).
Factors = Mapping[str, Mapping[str, np.ndarray]]

# Step of the sequence that says which rooms are busier: fractional parts of its multiples spread evenly (golden ratio).
_GOLDEN = (5.0**0.5 - 1.0) / 2.0
# Fields that the airflow through an open damper follows from.
_OPENING = ("zones.max_cfm", "zones.index_share", "index_dsp_inwc")
_APERTURE = "zones.aperture_ft2"
# Share of saturation that a warmer hour keeps at most. [-]
_MOST_SATURATED = 1.0


def factors_of(drawn: tuple[Drawn, ...], shares: Mapping[str, np.ndarray]) -> dict[str, dict[str, np.ndarray]]:
    """Factors and differences of draws from shares (D,) of each line: inputs of other bases move along with it."""
    return {
        one.key: {basis: each.quantile(shares[one.key]) for basis, each in one.distributions.items()} for one in drawn
    }


def base_factors(drawn: tuple[Drawn, ...], count: int = 1) -> dict[str, dict[str, np.ndarray]]:
    """Factors and differences that leave all inputs as they are."""
    return {one.key: {basis: np.full(count, one.line.base) for basis in one.distributions} for one in drawn}


def taken(factors: Factors, index) -> dict[str, dict[str, np.ndarray]]:
    """Those of some of the draws."""
    return {key: {basis: values[index] for basis, values in by_basis.items()} for key, by_basis in factors.items()}


def joined_factors(first: Factors, second: Factors) -> dict[str, dict[str, np.ndarray]]:
    """Draws of the keys of the first, and those of the second after them."""
    return {
        key: {basis: np.concatenate([values, second[key][basis]]) for basis, values in by_basis.items()}
        for key, by_basis in first.items()
    }


def room_pattern(project) -> np.ndarray:
    """How far the internal gains of each zone line lie from the mean of its group, for a spread of 1. (Z,) in about
    [-1, 1]

    Which rooms are busier is not known: lines of a group get evenly spread numbers in their order, less their mean by
    gain, so that the gains of the whole group stay.
    """
    group = np.array([zone.group for zone in project.zones])
    weight = np.array([zone.area_ft2 * zone.gain_multiplier * zone.multiplier for zone in project.zones])
    out = np.zeros(len(group))
    for name in set(group):
        here = np.flatnonzero(group == name)
        raw = 2.0 * ((0.5 + np.arange(len(here)) * _GOLDEN) % 1.0) - 1.0
        total = weight[here].sum()
        out[here] = raw - (raw @ weight[here] / total if total > 0.0 else 0.0)
    return out


@dataclass(frozen=True, slots=True, kw_only=True)
class Draws:
    """Some draws of a site: the unit that follows and what of the conditions is drawn.

    ``base`` unit of the run · ``unit`` with one more axis (D, ...) in front of what is drawn · ``fields`` drawn, by
    path · ``people`` (D, G) factors of the people present · ``warmer_f`` (D,) [degF].
    """

    base: Unit
    unit: Unit
    fields: tuple[str, ...]
    people: np.ndarray | None
    warmer_f: np.ndarray | None
    count: int

    def over_rows(self, conditions: Conditions) -> tuple[Unit, Conditions]:
        """Unit and conditions of all draws one after the other, (D R) rows each."""
        return self.unit_over_rows(len(conditions)), self.conditions(conditions)

    def unit_over_rows(self, rows: int, by_zone: bool = False) -> Unit:
        """Unit of all draws one after the other, so many rows each; ``by_zone`` with the rows of a zone side by side in
        memory (as ``ZoneLoads.by_zone``), which is slower where single rows are picked."""
        tiled = lambda values: (
            np.repeat(values.T, rows, axis=1).T if by_zone and values.ndim == 2 else np.repeat(values, rows, axis=0)
        )
        by_row = tuple(path for path in self.fields if path != _APERTURE)
        unit = with_fields(self.base, {path: tiled(field_of(self.unit, path)) for path in by_row})
        if _APERTURE in self.fields:  # of draws: by row it would be the largest of all
            unit = with_fields(unit, {_APERTURE: self.unit.zones.aperture_ft2})
        unit = replace(unit, by_row=by_row, counts=False)
        if any(path in _OPENING for path in self.fields):
            unit = replace(unit, open_cfm=tiled(open_flow_cfm(self.unit)), by_row=(*by_row, "open_cfm"))
        return unit

    def conditions(self, conditions: Conditions) -> Conditions:
        """Conditions of all draws one after the other."""
        rows = len(conditions)
        index = np.repeat(np.arange(self.count), rows)
        tiled = conditions if self.count == 1 else conditions.take(np.tile(np.arange(rows), self.count))
        if self.people is not None:
            by_row = self.people[index]
            tiled = replace(
                tiled, people_frac=tiled.people_frac * by_row, people_gain_frac=tiled.people_gain_frac * by_row
            )
        return tiled if self.warmer_f is None else warmer(tiled, self.warmer_f[index])

    def alone(self, draw: int) -> Unit:
        """The unit of one draw, as an ordinary one."""
        values = {}
        for path in self.fields:
            value = field_of(self.unit, path)[draw]
            values[path] = number(value) if np.ndim(value) == 0 else value
        return with_fields(self.base, values)

    def part(self, part: slice) -> Draws:
        """Some of the draws."""
        pick = lambda values: None if values is None else values[part]
        unit = with_fields(self.unit, {path: field_of(self.unit, path)[part] for path in self.fields})
        count = len(range(*part.indices(self.count)))
        return replace(self, unit=unit, people=pick(self.people), warmer_f=pick(self.warmer_f), count=count)


def warmer(conditions: Conditions, shift_f) -> Conditions:
    """Conditions whose outdoor air is warmer by so much, at the relative humidity that it has.

    Parameters
    ----------
    shift_f : ndarray (R,)
        Rise of the outdoor dry bulb; 0 leaves a row as it is. [degF]
    """
    p = conditions.pressure_psia
    oat = conditions.oat_f + shift_f
    saturated = np.minimum(
        vapour_pressure_psia(conditions.humidity_ratio, p) / saturation_pressure_psia(conditions.oat_f), _MOST_SATURATED
    )
    ratio = humidity_ratio_from_vapour_pressure(saturated * saturation_pressure_psia(oat), p)
    moved = shift_f != 0.0

    def kept(new, old) -> np.ndarray:
        return np.where(moved, new, old)

    return replace(
        conditions,
        oat_f=oat,
        humidity_ratio=kept(ratio, conditions.humidity_ratio),
        oawb_f=kept(wetbulb_f(oat, ratio, p), conditions.oawb_f),
        oa_dewpoint_f=kept(dewpoint_f(ratio, p), conditions.oa_dewpoint_f),
    )


def draws_of(project, base: Unit, sizes: Sizes, drawn: tuple[Drawn, ...], factors: Factors, candidate) -> Draws:
    """Draws of the unit of a site.

    Parameters
    ----------
    project : Project
        With what the site's candidates change.
    base : Unit
        Of the run.
    sizes : Sizes
        Where an input is not given; arrays of draws where they follow from what is drawn (:func:`sizes_that_follow`).
    drawn : tuple of Drawn
    factors : mapping
        Of D draws.
    candidate : Candidate
        One of the site: what it overrides is not drawn.
    """
    count = len(next(iter(next(iter(factors.values())).values()))) if factors else 1
    changed, zones, groups, people, warmer_f, found = _changes(project, base, drawn, factors, candidate, count)
    unit = replace(build_unit(changed, sizes, zones, groups), found=found)
    return Draws(base=base, unit=unit, fields=_drawn_fields(base, unit), people=people, warmer_f=warmer_f, count=count)


def _changes(project, base: Unit, drawn, factors: Factors, candidate, count: int):
    """What draws change: the project with arrays in its sections, inputs of zones and of groups, and the rest."""
    sections: dict[str, dict[str, np.ndarray]] = {}
    zones: dict[str, np.ndarray] = {}
    groups: dict[str, np.ndarray] = {}
    people = warmer_f = None
    found: dict[str, np.ndarray] = {}
    pattern = None
    columns = {"zone": Columns(project.zones, {}), "group": Columns(project.groups, {})}
    for one in drawn:
        act = one.line.act
        if one.nested or act == "share":
            continue
        by_basis = factors[one.key]
        if act == "weather":
            warmer_f = by_basis[one.basis]
            continue
        if act in ("found_sat", "found_dsp"):
            found["sat_shift_f" if act == "found_sat" else "dsp_factor"] = by_basis[one.basis]
            continue
        for path in one.line.paths:
            items = [item for item in one.items if item.pattern == path and not overridden(candidate, item)]
            if not items:
                continue
            parsed = known_path(path)
            kind, field = parsed.kind, parsed.field
            if kind not in columns:
                (item,) = items
                values = _new(one.line, item.value, by_basis[one.basis_of(item)])
                sections.setdefault(kind, {})[field.name] = np.clip(values, field.low, field.high)
                continue
            places = np.array([item.place for item in items])
            factor = np.stack([by_basis[one.basis_of(item)] for item in items], axis=1)
            if act == "people":
                people = np.ones((count, len(project.groups))) if people is None else people
                # Nobody is there twice: the largest share of people of a group is 1 at most.
                for item in items:
                    least = max(other.value for other in one.items if other.place == item.place)
                    people[:, item.place] = np.minimum(by_basis[one.basis_of(item)], 1.0 / least)
                continue
            into = zones if kind == "zone" else groups
            old = into.get(field.name)
            if old is None:
                old = np.tile(columns[kind].given(field.name), (count, 1))
            start = old[:, places]
            if act == "pattern":
                pattern = room_pattern(project) if pattern is None else pattern
                new = start * (1.0 + factor * pattern[places])
            elif act == "terminals":
                # Sized terminals are NaN here and stay so: their sizes follow.
                new = start * factor
            else:
                new = _new(one.line, start, factor)
            old[:, places] = np.clip(new, field.low, field.high)
            into[field.name] = old
    changed = replace(project, **{name: replace(project.section(name), **values) for name, values in sections.items()})
    return changed, zones, groups, people, warmer_f, Found(**found)


def _new(line: RangeLine, value, factor):
    """Values of an input at draws."""
    if line.act == "shift":
        return value + factor
    if line.act == "from_one":
        return 1.0 - (1.0 - value) * factor
    return value * factor


def _drawn_fields(base: Unit, unit: Unit) -> tuple[str, ...]:
    """Paths of the fields of a unit that have one more axis than in the base."""
    out = []
    for f in fields(Unit):
        one, other = getattr(base, f.name), getattr(unit, f.name)
        if is_dataclass(one) and not isinstance(one, type):
            out += [
                f"{f.name}.{g.name}"
                for g in fields(one)
                if isinstance(getattr(other, g.name), np.ndarray)
                and np.ndim(getattr(other, g.name)) > _axes(getattr(one, g.name))
            ]
        elif isinstance(other, np.ndarray) and other.ndim > _axes(one):
            out.append(f.name)
    return tuple(out)


def _axes(value) -> int:
    return value.ndim if isinstance(value, np.ndarray) else 0


def sizes_that_follow(
    project, base: Unit, sizes: Sizes, drawn: tuple[Drawn, ...], factors: Factors, candidate, full: Conditions
) -> Sizes:
    """Sizes that were not given, as the drawn loads make them. Arrays of draws

    Parameters
    ----------
    candidate : Candidate
        The baseline, whose draws size for all.
    full : Conditions
        Occupied rows with all internal gains on, by which terminals are sized.

    Notes
    -----
    Terminals in the proportion in which their largest need changes over these rows, times the draw of terminal sizes;
    reheat coils as minimum airflow and conductance change what they take at the coldest row without gains; fan, motor
    and plant in the proportion of the terminals' airflow, heat sources in that of the coils. Assumption: a building
    whose loads are not what the estimate takes was still sized for them.
    """
    count = len(next(iter(next(iter(factors.values())).values()))) if factors else 1
    changed, zones, groups, people, warmer_f, _ = _changes(project, base, drawn, factors, candidate, count)
    # What is in the air on a design day does not follow the year that is drawn, and designers count everybody in.
    draws = Draws(
        base=base,
        unit=build_unit(changed, sizes, zones, groups),
        fields=(),
        people=None,
        warmer_f=None,
        count=count,
    )
    draws = replace(draws, fields=_drawn_fields(base, draws.unit))
    sized = np.array([zone.max_cfm is None for zone in project.zones])
    factor = np.ones((count, len(sized)))
    for one in drawn:
        if one.line.act == "terminals":
            for item in one.items:
                if item.value is None:
                    factor[:, item.place] = factors[one.key][one.basis_of(item)]
    zone_max = np.tile(sizes.zone_max_cfm, (count, 1))
    if sized.any() and len(full):
        handler = project.air_handler

        def need(unit, conditions, draws_count):
            loads = zone_loads(unit, conditions)
            drop = np.maximum(loads.cool_f - base.air_handler.design_sat_f - handler.duct_gain_f, 1.0)
            cfm = loads.q_cool_btuh / (loads.fs * drop)
            return cfm.reshape(draws_count, len(full), -1).max(axis=1)

        before = need(base, full, 1)
        step = max(1, _ROWS_AT_ONCE // max(len(full) * len(sized), 1))
        after = np.concatenate(
            [need(*draws.part(slice(k, k + step)).over_rows(full), min(step, count - k)) for k in range(0, count, step)]
        )
        ratio = np.where(before > 0.0, np.maximum(after, 0.0) / np.where(before > 0.0, before, 1.0), 1.0)
        zone_max = np.where(sized, zone_max * ratio * factor, zone_max)
    given = np.array([np.nan if zone.max_cfm is None else zone.max_cfm for zone in project.zones])
    before_cfm = np.where(sized, sizes.zone_max_cfm, given) @ base.zones.multiplier
    after_cfm = np.where(sized, zone_max, draws.unit.zones.max_cfm) @ base.zones.multiplier
    more = after_cfm / before_cfm
    coil = _coil_ratio(project, base, draws.unit, zone_max, full)
    reheat = sizes.zone_reheat_btuh * coil
    heat = (reheat @ base.zones.multiplier) / max(float(sizes.zone_reheat_btuh @ base.zones.multiplier), 1e-9)
    heat = np.where(np.isfinite(heat) & (heat > 0.0), heat, 1.0)
    return replace(
        sizes,
        zone_max_cfm=zone_max,
        zone_reheat_btuh=reheat,
        design_cfm=sizes.design_cfm * more,
        motor_hp=sizes.motor_hp * more,
        cooling_tons=sizes.cooling_tons * more,
        heating_kbtuh=sizes.heating_kbtuh * heat,  # type: ignore[arg-type]  # of draws
    )


# Rows times zones that sizes are looked for in at once.
_ROWS_AT_ONCE = 250_000


def _coil_ratio(project, base: Unit, unit: Unit, zone_max, full: Conditions) -> np.ndarray:
    """What reheat coils take at the coldest row without gains, over the same in the run. (D, Z)"""
    coldest = float(full.oat_f.min()) if len(full) else 0.0

    def take(of, ua, minimum):
        z = of.zones
        drop = z.heat_occupied_f - of.air_handler.design_sat_f
        return 1.08 * minimum * np.maximum(drop, 0.0) + ua * np.maximum(z.heat_occupied_f - coldest, 0.0)

    before = take(base, base.zones.ua_btuh_f, base.zones.min_cfm)
    sized = np.array([zone.max_cfm is None for zone in project.zones])
    share = np.where(sized, zone_max / unit.zones.max_cfm, 1.0)
    after = take(base, unit.zones.ua_btuh_f, unit.zones.min_cfm * share)
    return np.where(before > 0.0, after / np.where(before > 0.0, before, 1.0), 1.0) + 0.0 * zone_max
