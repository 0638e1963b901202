"""Estimates of supply air temperature and duct static pressure reset strategies.

The steps of an estimate from Python::

    import binestimator as be

    project = be.read_project("office.toml")
    weather = be.weather_of(project)
    results = be.estimate_project(project, weather)
    be.write_outputs(results, "output", "office")

Each is documented where it is defined. Names are loaded when they are first used, so that
importing the package takes no time.
"""

__version__ = "0.1.0"

# Public name -> module that defines it, and its name there where it differs: a function cannot
# share the name of a module of the package.
_PUBLIC = {
    "BinestimatorError": "errors",
    "Finding": "errors",
    "InputError": "errors",
    "Project": "inputs.project",
    "Results": "results",
    "Weather": "weather",
    "WeatherError": "errors",
    "WorkbookError": "errors",
    "compare_trends": "trends.match:compare_with_model",
    "estimate_project": "advice:estimate_and_advise",
    "find_weather": "weather",
    "merge_trends": "trends.merge:merge",
    "plan_measurement": "realised.planning",
    "project_from_mapping": "inputs.read",
    "read_map": "trends.map_file",
    "read_project": "inputs.read",
    "read_trends": "trends.study",
    "read_weather": "weather",
    "realised_savings": "realised.study:realised",
    "study_trends": "trends.study:study",
    "to_plain": "results",
    "trend_fragment": "trends.fragment:fragment_text",
    "weather_of": "steps",
    "weather_years_of": "steps",
    "with_ranges": "ranges.find",
    "write_outputs": "steps",
    "write_results_json": "workbook.write",
    "write_workbook": "workbook.write",
}

__all__ = ["__version__", *_PUBLIC]


def __getattr__(name: str):
    if name not in _PUBLIC:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    module, _, other = _PUBLIC[name].partition(":")
    return getattr(import_module(f"{__name__}.{module}"), other or name)


def __dir__() -> list[str]:
    return sorted({*globals(), *_PUBLIC})
