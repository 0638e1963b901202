"""Errors and findings of the package.

Every error that a user can cause is a :class:`BinestimatorError` whose text is one
readable message: where, what is wrong, the value, what is allowed, what to do.
What is worth knowing but stops nothing is a :class:`Finding`, returned with the results
and printed in the workbook.
"""

from __future__ import annotations

from .dataclass import dataclass


class BinestimatorError(Exception):
    """Base of all errors that the package raises on purpose."""


class InputError(BinestimatorError, ValueError):
    """The project file or a value in it cannot be used. Lists all errors at once."""


class WeatherError(BinestimatorError):
    """The weather file cannot be read or is not a whole typical year."""


class WorkbookError(BinestimatorError):
    """The workbook or the results file cannot be written or read."""


class FormulaFault(Exception):
    """A formula of the workbook does not give the engine's value: a fault of the program, not of a user."""


@dataclass(frozen=True, slots=True)
class Finding:
    """Something a reader of the results should know.

    Parameters
    ----------
    level : str
        ``info`` (good to know), ``check`` (a plausibility check that needs an explanation) or
        ``caution`` (may hurt someone or something).
    where : str
        Input, sheet or part of the model that it concerns.
    text : str
        One or two plain sentences.
    """

    level: str
    where: str
    text: str
