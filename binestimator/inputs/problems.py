"""Collects what is wrong with the inputs, so that a user sees all of it at once."""

from __future__ import annotations

import datetime
import reprlib

from binestimator.dataclass import dataclass
from binestimator.errors import InputError

#: A message lists at most this many problems; the rest are counted.
MOST_LISTED = 60

#: Marks the absence of a value where ``None`` is a value.
NOT_GIVEN = object()


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with the inputs.

    Parameters
    ----------
    where : str
        Path of the input, such as ``zone[Lobby].min_cfm``.
    text : str
        What is wrong; the value got; what is expected; what to do.
    """

    where: str
    text: str

    def __str__(self) -> str:
        return f"{self.where}: {self.text}" if self.where else self.text


class InputErrors(InputError):
    """An :class:`InputError` that also carries its single problems.

    Attributes
    ----------
    problems : tuple of Problem
        In the order in which they were found.
    """

    def __init__(self, title: str, problems: tuple[Problem, ...]):
        self.title, self.problems = title, problems
        listed = [f"  - {problem}" for problem in problems[:MOST_LISTED]]
        if len(problems) > MOST_LISTED:
            listed.append(f"  - and {len(problems) - MOST_LISTED} more")
        super().__init__("\n".join([title, *listed]))

    def __reduce__(self):
        """So that the error survives the way from another process."""
        return type(self), (self.title, self.problems)


def shown(value: object) -> str:
    """Value as a user would recognise it, shortened and on one line."""
    try:
        if isinstance(value, bool):
            return "true" if value else "false"
        if isinstance(value, str):
            return f'"{printable(value[:60])}' + ('"' if len(value) <= 60 else '..."')
        if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
            return str(int(value))
        if isinstance(value, (int, float)):
            text = repr(value)
            return text if len(text) <= 40 else text[:37] + "..."
        if value is None:
            return "nothing"
        if isinstance(value, dict):
            return "a table"
        if isinstance(value, (datetime.date, datetime.time)):
            return value.isoformat()
        if (
            isinstance(value, (list, tuple))
            and 0 < len(value) <= 6
            and all(isinstance(item, datetime.time) for item in value)
        ):
            return f"[{', '.join(item.isoformat() for item in value)}]"
        return printable(reprlib.repr(list(value) if isinstance(value, tuple) else value))
    except Exception:  # noqa: BLE001 - a value may refuse to be printed: whole numbers of thousands of digits
        return f"a value of type {type(value).__name__}"


def printable(text: str) -> str:
    """Text with everything that does not print as a character written as its code."""
    return text if text.isprintable() else "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in text)


def sentence(what: str, got: object = NOT_GIVEN, expected: str = "", do: str = "") -> str:
    """One problem as text: what is wrong; got; expected; what to do."""
    parts = [what]
    if got is not NOT_GIVEN:
        parts.append(f"got {shown(got)}")
    if expected:
        parts.append(f"expected {expected}")
    if do:
        parts.append(do)
    return "; ".join(parts)


class Problems:
    """Growing list of problems and the set of inputs that cannot be trusted.

    Parameters
    ----------
    in_cells : bool
        Values were typed into cells of a form: what is wrong with one is said in words that suit a cell.
    """

    def __init__(self, *, in_cells: bool = False) -> None:
        self.in_cells = in_cells
        self.items: list[Problem] = []
        self.bad: set[str] = set()
        self._seen: set[Problem] = set()

    def words(self, in_file: str, in_cell: str) -> str:
        """The words that suit where the values come from."""
        return in_cell if self.in_cells else in_file

    def add_text(self, where: str, text: str) -> None:
        """Add a finished text; an exact repetition is dropped."""
        problem = Problem(where, text)
        if problem not in self._seen:
            self._seen.add(problem)
            self.items.append(problem)

    def add(
        self,
        where: str,
        what: str,
        got: object = NOT_GIVEN,
        expected: str = "",
        do: str = "",
        involves: tuple[str, ...] = (),
    ) -> None:
        """Add a problem unless one of the inputs it follows from is itself wrong."""
        if any(path in self.bad for path in involves):
            return
        self.add_text(where, sentence(what, got, expected, do))

    def add_bad(self, where: str, text: str) -> None:
        """Add a problem of one input and distrust the input from then on."""
        self.bad.add(where)
        self.add_text(where, text)

    def __contains__(self, problem: Problem) -> bool:
        return problem in self._seen

    @property
    def crowded(self) -> bool:
        """So many problems that further ones need no suggestions (they are slow to look for)."""
        return len(self.items) > 2 * MOST_LISTED

    def raise_if_any(self, name: str) -> None:
        """Raise one :class:`InputErrors` that lists everything.

        Parameters
        ----------
        name : str
            What was read, usually the name of the project file.
        """
        if self.items:
            raise self.error(name)

    def error(self, name: str) -> InputErrors:
        """The error that lists everything, at least one problem."""
        count = len(self.items)
        noun = "problem" if count == 1 else "problems"
        return InputErrors(f"{name}: {count} {noun} in the inputs", tuple(self.items))
