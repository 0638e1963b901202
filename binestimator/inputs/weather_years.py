"""Other weather years that draws of ranges are made in, and how likely each is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import PurePath

from binestimator.inputs.problems import Problems

#: Shares that add up to more than this are a mistake, to less than this no rounding. [-]
_ROUNDING = 1e-9


def shares_of(records: Sequence) -> tuple[float, ...]:
    """Probability of the project's own year, and of each of the other years. They sum to 1.

    Parameters
    ----------
    records : sequence of records of section ``weather_year``
    """
    given = sum(one.share_frac for one in records if one.share_frac is not None)
    open_ = sum(one.share_frac is None for one in records)
    each = max(1.0 - given, 0.0) / (open_ + 1)
    return (each, *(each if one.share_frac is None else float(one.share_frac) for one in records))


def check_shares(records: Sequence, problems: Problems) -> None:
    """Probabilities that leave something for every year."""
    given = sum(one.share_frac for one in records if one.share_frac is not None)
    if given > 1.0 + _ROUNDING:
        problems.add(
            "weather_year", "probabilities of the years sum to more than 1", given, "share_frac of at most 1 in all"
        )
        return
    for one in records:
        if one.share_frac is None and given > 1.0 - _ROUNDING:
            problems.add(
                f"weather_year[{one.name}].share_frac",
                "is missing, and the other years leave nothing",
                do="give it, and the others less",
            )


def with_weather_years(project, options: Sequence[str]):
    """The project with further weather years, named by a file or by ``FILE=PROBABILITY``.

    Raises
    ------
    InputError
        They do not go together.
    """
    problems = Problems()
    tables = [dict(table) for table in project.given.terms.get("weather_year", [])]
    names = {str(table.get("name", "")).casefold() for table in tables}
    for option in options:
        file, equals, share = option.rpartition("=")
        values: dict[str, object] = {}
        if equals:
            try:
                values["share_frac"] = float(share)
            except ValueError:
                file = option
            else:
                if not 0.0 <= values["share_frac"] <= 1.0:  # type: ignore[operator]
                    problems.add("--weather-year", "no probability", share, "a number from 0 to 1 after the =")
                    continue
        else:
            file = option
        stem = PurePath(file).stem[:60] or file
        name, k = stem, 1
        while name.casefold() in names:
            k += 1
            name = f"{stem} {k}"
        names.add(name.casefold())
        tables.append({"name": name, "file": file, **values})
    problems.raise_if_any("weather years")
    given = replace(project.given, terms={**project.given.terms, "weather_year": tables})
    changed = project.rebuild(
        given,
        project.overrides,
        problems,
        source_path=project.source_path,
        source_dir=project.source_dir,
        try_candidates=False,
        climate=project.climate,
    )
    problems.raise_if_any("weather years")
    return changed
