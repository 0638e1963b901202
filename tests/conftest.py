"""Settings shared by all tests."""

import dataclasses
import functools
import gc
import os
import shutil
import tempfile

# One thread for linear algebra, in programs that tests start as well: matrices are small here, and threads that wait
# for each other take a third more processor time. Before numpy is loaded.
for _name in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import pytest  # noqa: E402
from hypothesis import settings  # noqa: E402
from shared import FOLDER  # noqa: E402

from binestimator import parallel  # noqa: E402

# Workbooks and results are many small objects that live long: looking for garbage among them all the time is in vain.
gc.set_threshold(100_000, 50, 100)

# No deadline: a busy machine is not a failure. Derandomized: the same examples each run.
# The thorough profile draws new ones: pytest --hypothesis-profile=thorough
settings.register_profile("default", deadline=None, derandomize=True)
settings.register_profile("thorough", deadline=None, max_examples=3000)
settings.load_profile("default")

# Files that take longest, longest first. Files are handed out whole, since their tests share runs, and in this order,
# so that no worker is left with a long file while the others have nothing to do.
LONGEST = (
    "test_form",
    "test_live",
    "test_realised_files",
    "test_cli",
    "test_workbook",
    "test_accuracy",
    "test_estimate",
    "test_weather",
    "test_service",
    "test_as_run",
    "test_ranges",
    "test_strategies",
    "test_trail",
    "test_workbook_summary",
    "test_indicators",
    "test_quick",
    "test_edges",
    "test_selection",
    "test_floating",
    "test_money_sheet",
    "test_demos",
    "test_formula_gate",
    "test_cost_seeking",
    "test_inputs",
    "test_changed_inputs",
    "test_client",
    "test_tariffs",
    "test_bins",
    "test_trends_findings",
    "test_realised",
    "test_as_run_causes",
    "test_readme",
    "test_handover",
    "test_defaults",
    "test_weather_years",
)


def pytest_configure(config):
    """A folder that the workers share, for the time of the run (``shared.py``), and one thread for each worker."""
    if hasattr(config, "workerinput"):
        # Two threads take a tenth more processor time, and every core has a worker. Figures are the same to the last
        # digit (tested in test_estimate.py); programs that tests start go by the cores that there are.
        parallel.cores = lambda: 1
    else:
        os.environ[FOLDER] = tempfile.mkdtemp(prefix="binestimator-tests-")
        config.add_cleanup(lambda: shutil.rmtree(os.environ.pop(FOLDER), ignore_errors=True))


def pytest_collection_modifyitems(config, items):
    if hasattr(config, "workerinput"):  # a worker of several
        items.sort(key=lambda item: LONGEST.index(item.path.stem) if item.path.stem in LONGEST else len(LONGEST))


@pytest.fixture(scope="module", autouse=True)
def _runs_are_let_go(request):
    """Runs that a file keeps for its tests take hundreds of megabytes; no other file needs them."""
    yield
    for thing in vars(request.module).values():
        if hasattr(thing, "cache_clear") and thing.__module__ == request.module.__name__:
            thing.cache_clear()


@functools.lru_cache(maxsize=6)
def _parsed(parse, file_name, text):
    return parse(file_name, text.split("\n"))


@pytest.fixture(scope="module", autouse=True)
def _typical_years_are_parsed_once(request):
    """The same three years are read by hundreds of runs. Tests of reading itself parse each file.

    What a file is parsed to goes by its name and lines alone; arrays are the caller's own."""
    from binestimator.weather import year

    parse = year.parse

    def parse_once(file_name, lines):
        raw = _parsed(parse, file_name, "\n".join(lines))
        return dataclasses.replace(raw, columns={name: values.copy() for name, values in raw.columns.items()})

    with pytest.MonkeyPatch.context() as patch:
        if request.path.stem != "test_weather":
            patch.setattr(year, "parse", parse_once)
        yield
