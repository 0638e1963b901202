"""A small slice of ``python -m tests.robustness``: input of any kind ends in a result or in one clear message."""

import pytest
import robustness


@pytest.mark.invariant
@pytest.mark.parametrize(
    ("part", "count"),
    [
        ("projects", 20),
        ("weather", 2),
        ("workbooks", 2),
        pytest.param("projects", 60, marks=pytest.mark.slow),
        pytest.param("weather", 4, marks=pytest.mark.slow),
        pytest.param("workbooks", 15, marks=pytest.mark.slow),
        pytest.param("faults", 3, marks=pytest.mark.slow),
    ],
)
def test_a_slice_of_the_cases_keeps_the_rule(part, count):
    found, wrong = robustness.run(part, count, 2)
    assert wrong == [] and sum(found.values()) == count
