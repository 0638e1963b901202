"""Functional tests of an option: steps, and what has to be seen, with the numbers of the project.

``before`` sensors, changes, modes · ``requests`` what zones ask for · ``moves`` of loops and lines · ``supply_air`` ·
``duct_pressure`` · ``air_side`` economizer, direct expansion, freezing · ``failures`` of sensors · ``after`` the tests.
"""

from __future__ import annotations

from ..facts import Facts
from ..records import Names, Test
from .after import last_tests
from .air_side import air_side_tests
from .before import change_tests, mode_tests, sensor_test
from .duct_pressure import duct_pressure_tests
from .failures import failure_tests
from .requests import request_tests
from .supply_air import supply_air_tests


def tests_of(f: Facts, n: Names) -> list[Test]:
    """All functional tests, in the order in which they are done."""
    return [
        sensor_test(f, n),
        *change_tests(f, n),
        *mode_tests(f, n),
        *request_tests(f, n),
        *supply_air_tests(f, n),
        *duct_pressure_tests(f, n),
        *air_side_tests(f, n),
        *failure_tests(f, n),
        *last_tests(f, n),
    ]
