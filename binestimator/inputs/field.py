"""What is known of one input, and what it allows in words."""

from __future__ import annotations

import re

from ..dataclass import dataclass

_LENGTHS = {"name": 80, "group": 80, "id": 31, "notes": 2000}
_LENGTH_TEXT, _LENGTH_PATH = 200, 400

_WORDS = {
    "sat": "SAT",
    "dsp": "DSP",
    "oat": "OAT",
    "cop": "COP",
    "csv": "CSV",
    "u": "U-factor",
    "shgc": "SHGC",
    "id": "short name",
}
_UNIT_SUFFIX = re.compile(r"_(inwc|psia|kbtuh|btuh|tons|frac|pct|ft2|cfm|deg|usd|hp|kw|ft|f|h)$")


@dataclass(frozen=True, slots=True)
class Field:
    """One input: a row of ``inputs.csv``.

    Parameters
    ----------
    section, name, role, type, unit : str
        See the module.
    low, high : float or None
        Allowed range, ends included. [unit]
    default : object
        Checked default; ``None`` when the input is required or may be left out.
    required : bool
        Has to be given.
    choices : tuple
        Allowed values of ``choice`` and ``choice_list`` (texts) and ``choice_float`` (numbers).
    earlier : tuple of (str, str)
        Names of choices in earlier versions, which are read as well, and what they are called now.
    used_when : tuple of (str, str, tuple of str)
        Alternatives (section, name, values) of which one must hold for the input to be used.
    description, source, label : str
        What it is, where the default comes from, and its name in plain words.
    """

    section: str
    name: str
    role: str
    type: str
    unit: str
    low: float | None
    high: float | None
    default: object
    required: bool
    choices: tuple
    earlier: tuple
    used_when: tuple
    description: str
    source: str
    label: str

    @property
    def path(self) -> str:
        """``section.name``."""
        return f"{self.section}.{self.name}"

    @property
    def bounds(self) -> tuple[float, float]:
        """Lowest and highest value that is allowed. [unit]

        Raises
        ------
        ValueError
            Its row has no range: one of a type that needs one is refused.
        """
        if self.low is None or self.high is None:
            raise ValueError(f"inputs.csv {self.path}: needs a range")
        return self.low, self.high

    @property
    def optional(self) -> bool:
        """May be ``None``: the text ``"none"`` unsets it."""
        return self.default is None and not self.required

    @property
    def max_length(self) -> int:
        """Longest text. [characters]"""
        return _LENGTH_PATH if self.type == "path" else _LENGTHS.get(self.name, _LENGTH_TEXT)

    @property
    def allowed(self) -> str:
        """What is allowed in a project file, in words."""
        return self.allowed_as(in_cell=False)

    def allowed_as(self, *, in_cell: bool) -> str:
        """What is allowed, in words: as it is written in a project file, or typed into a cell of a form."""
        unit = f" {self.unit}" if self.unit else ""
        span = f"{plain(self.low)} to {plain(self.high)}" if self.low is not None and self.high is not None else ""
        none = (", or the word none" if in_cell else ' or "none"') if self.optional else ""
        match self.type:
            case "text":
                return f"text of at most {self.max_length} characters"
            case "path":
                return f"a file name of at most {self.max_length} characters"
            case "bool":
                return "yes or no" if in_cell else "true or false"
            case "int":
                return f"a whole number {span}{unit}{none}"
            case "float":
                return span + unit
            case "optional_float":
                return f"{span}{unit}" + (none or (", or the word none" if in_cell else ' or "none"'))
            case "choice":
                return "one of " + ", ".join(choice if in_cell else f'"{choice}"' for choice in self.choices) + none
            case "choice_list":
                if in_cell:
                    return "any of " + ", ".join(self.choices) + ", separated by commas, or the words none of them"
                return (
                    "a list of any of "
                    + ", ".join(f'"{choice}"' for choice in self.choices)
                    + ", or [] for none of them"
                )
            case "choice_float":
                return "one of " + ", ".join(plain(choice) for choice in self.choices) + unit
            case "hour_pair":
                if in_cell:
                    return "two clock hours from 0 to 24 such as 7, 18, or the word closed"
                return "[start, end] in clock hours 0 to 24, or [] for closed"
            case "date_list":
                return (
                    "days such as 01-01, 12-25, or the words no days"
                    if in_cell
                    else 'a list of days such as ["01-01", "12-25"]'
                )
            case "profile12":
                return f"12 numbers, one for each month, each {span}" + (
                    ", with commas between them" if in_cell else ""
                )
            case "profile24":
                return f"24 numbers, one for each clock hour, each {span}" + (
                    ", with commas between them" if in_cell else ""
                )
            case "points":
                if in_cell:
                    return (
                        "a number in each cell of a point (or in one cell 50: 58, 70: 55), the first ascending and "
                        f"the second {span}"
                    )
                return f"a list of points [[x, y], ...] with x ascending and y {span}"
        raise AssertionError(self.type)


def label_of(name: str) -> str:
    """Name of an input in plain words, made from its key."""
    words = " ".join(_WORDS.get(word, word) for word in _UNIT_SUFFIX.sub("", name).split("_"))
    return words[:1].upper() + words[1:]


def plain(number: float) -> str:
    """A number as messages and documents print it."""
    return f"{number:.12g}" if abs(number) < 1e7 else f"{number:.0f}"
