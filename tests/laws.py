"""Laws over drawn examples of which each takes long: a few of them quickly, all of them as a larger slice."""

import pytest
from hypothesis import given, settings


def law(few: int, many: int, *drawn, **named):
    """Makes a test of a function of drawn values, that ``few`` examples have to keep, or ``many`` in the larger slice.

    Parameters
    ----------
    drawn, named
        Strategies for its arguments, as of ``hypothesis.given``.
    """

    def mark(body):
        @pytest.mark.parametrize("examples", [few, pytest.param(many, marks=pytest.mark.slow)])
        def test(examples):
            # The thorough profile draws more than any of these.
            count = max(examples, settings.default.max_examples) if settings.default.max_examples > 100 else examples
            settings(max_examples=count)(given(*drawn, **named)(body))()

        test.__name__, test.__qualname__ = body.__name__, body.__qualname__
        test.__doc__, test.__module__ = body.__doc__, body.__module__
        return test

    return mark
