"""Where the inputs of a project file are, and what is wrong with lines that are not TOML.

The standard reader stops at the first line that it cannot read, and names a place that may lie
lines below the mistake. Here the file is taken apart into statements (a table's heading, or a key with its
value), each is read on its own, and what cannot be read is explained in the words of the person
who wrote it. Used only when something is wrong: it is slower than the standard reader.
"""

from __future__ import annotations

import datetime
import re
import tomllib
from collections.abc import Iterator
from dataclasses import field as dataclass_field

from binestimator.dataclass import dataclass
from binestimator.inputs.hints import as_clock_hours, number_hint, plain_number, unit_suffixed
from binestimator.inputs.problems import MOST_LISTED, Problem, printable
from binestimator.inputs.schema import LIST_SECTIONS, SECTIONS, Field, fields_of

# Texts in quotes (of several lines first) and comments: where signs are no part of the layout.
QUOTED = re.compile(
    r'"""(?:[^"\\]|\\.|"(?!""))*+(?:"{3,5}+|\Z)'
    r"|'''(?:[^']|'(?!''))*+(?:'{3,5}+|\Z)"
    r'|"(?:[^"\\\n]|\\[^\n])*+"?+'
    r"|'[^'\n]*+'?+"
    r"|#[^\n]*+",
    re.DOTALL,
)
_STATEMENT = re.compile(r'\s*(?:"[^"]*"|[A-Za-z_][\w.-]*)\s*=')
_HEADING = re.compile(r"\s*\[{1,4}\s*[A-Za-z_]")
_KEY = re.compile(r'\s*("[^"]*"|[A-Za-z_][\w.-]*)[ \t]*')
_CURLY = dict.fromkeys("“”„‟«»＂″", '"') | dict.fromkeys("‘’‚‛′＇´`", "'")
_ODD_SPACES = {
    "\u00a0": "no-break space",
    "\u2007": "figure space",
    "\u202f": "narrow no-break space",
    "\u2009": "thin space",
    "\u200b": "zero-width space",
    "\u3000": "wide space",
    "\ufeff": "byte order mark",
}
_HEADINGS = (*SECTIONS, "override", "evidence", "status")
#: Tables whose keys are paths of inputs, in quotes.
_OF_PATHS = ("override", "evidence", "status")
_LONGEST_SHOWN = 90


@dataclass(slots=True)
class Outline:
    """Statements of a project file.

    Parameters
    ----------
    raw : dict
        As the TOML reader gives it, of the statements that can be read.
    lines : dict
        In the same layout, with the number of the line in place of each value; a table's own
        heading is under the empty key.
    problems : list of Problem
        What cannot be read, by line.
    """

    raw: dict = dataclass_field(default_factory=dict)
    lines: dict = dataclass_field(default_factory=dict)
    problems: list[Problem] = dataclass_field(default_factory=list)


def outline(text: str) -> Outline:
    """Take a project file apart.

    Parameters
    ----------
    text : str
        Content of the file, with ``\\n`` at the ends of lines.

    Returns
    -------
    Outline
    """
    found = Outline()
    table, lines = found.raw, found.lines
    section: tuple[str, ...] = ()
    for number, statement, closed in _statements(text):
        if len(found.problems) >= MOST_LISTED:
            break
        if _HEADING.match(statement) or statement.strip() in _HEADINGS:
            table, lines, section = _open_table(found, number, statement)
            continue
        try:
            values = tomllib.loads(statement)
        except (ValueError, RecursionError):
            key = _key_of(statement)
            what = _cause_in_path(statement) if section and section[-1] in _OF_PATHS else None
            _note(found, number, statement, *(what or _cause(statement, closed, _field_of(section, key))))
            if key in ("name", "id"):  # so that what belongs to it is not said to lack it
                table.setdefault(key, f"line{number}")
            continue
        _merge(found, number, statement, section, values, table, lines)
    return found


# ---------------------------------------------------------------- statements


def _statements(text: str) -> Iterator[tuple[int, str, bool]]:
    """(number of the first line, text, whether its brackets and quotes close) of each statement."""
    lines = text.split("\n")
    at = 0
    while at < len(lines):
        if not lines[at].strip() or lines[at].lstrip().startswith("#"):
            at += 1
            continue
        end, closed = at + 1, True
        if not _HEADING.match(lines[at]):
            end, closed = _end(lines, at)
        yield at + 1, "\n".join(lines[at:end]), closed
        at = end


def _end(lines: list[str], at: int) -> tuple[int, bool]:
    """Line after a statement, and whether it closes what it opens."""
    for mark in ('"""', "'''"):
        before, opened, after = lines[at].partition(mark)
        if opened and "=" in before and not before.partition("=")[2].strip():
            if mark in after:
                return at + 1, True
            for place in range(at + 1, len(lines)):
                if mark in lines[place]:
                    return place + 1, True
            return at + 1, False
    depth = _depth(lines[at])
    place = at + 1
    while depth > 0 and place < len(lines) and not _STATEMENT.match(lines[place]) and not _HEADING.match(lines[place]):
        depth += _depth(lines[place])
        place += 1
    if depth > 0:  # what follows may still be read: the list ends with its first line
        while place > at + 1 and not lines[place - 1].strip():
            place -= 1
    return place, depth <= 0


def _depth(line: str) -> int:
    bare = _bare(line)
    return bare.count("[") + bare.count("{") - bare.count("]") - bare.count("}")


def _bare(text: str) -> str:
    """Text with what is in quotes shortened to ``q`` and without comments."""
    return QUOTED.sub(lambda match: "" if match[0].startswith("#") else "q" + "\n" * match[0].count("\n"), text)


def _key_of(statement: str) -> str:
    match = _KEY.match(statement)
    return match[1].strip('"') if match else ""


def _field_of(section: tuple[str, ...], key: str) -> Field | None:
    """Input that a key under a heading means."""
    for name in (section[:1], section[1:2]):
        if name and name[0] in SECTIONS and key in fields_of(name[0]):
            return fields_of(name[0])[key]
    return None


# ---------------------------------------------------------------- putting together


def _open_table(found: Outline, number: int, statement: str):
    """Table that a heading opens, its lines, and its path; a table of no consequence when it cannot be read."""
    try:
        value: object = tomllib.loads(statement)
    except ValueError:
        names, known = _mended_heading(statement)
        right = _heading_text(names) if known else ""
        bare = _bare(statement).strip()
        if "[" not in bare and "]" not in bare:
            what = "a heading without brackets"
        elif bare.count("[") > bare.count("]"):
            what = "a heading without its closing bracket"
        elif bare.count("[") < bare.count("]"):
            what = "a heading with a bracket too many"
        elif set(bare) & set(_CURLY):
            what = "typographic quotes in a heading"
        else:
            what = "not the heading of a table"
        _note(
            found,
            number,
            statement,
            what,
            f"write {right}" if right else "write the name of a section in brackets, such as [fan]",
        )
        if not known:
            return {}, {}, ()
        many = names[0] in LIST_SECTIONS and len(names) == 1
    else:
        names, many = [], False
        while isinstance(value, dict) and value:
            ((name, value),) = value.items()
            names.append(name)
            if isinstance(value, list):
                many, value = True, value[0]
    table, lines = found.raw, found.lines
    for place, name in enumerate(names):
        last = place == len(names) - 1
        if last and many:
            if not isinstance(table.setdefault(name, []), list) or not isinstance(lines.setdefault(name, []), list):
                _twice(found, number, statement, names, lines[name])
                return {}, {}, ()
            table[name].append({})
            lines[name].append({"": number})
        below, below_lines = table.setdefault(name, {}), lines.setdefault(name, {})
        if isinstance(below, list):
            if last and not many:
                _twice(found, number, statement, names, below_lines)
                return {}, {}, ()
            below, below_lines = below[-1], below_lines[-1]
        if not isinstance(below, dict) or not isinstance(below_lines, dict):
            _twice(found, number, statement, names, below_lines)
            return {}, {}, ()
        if last and not many and "" in below_lines:
            _twice(found, number, statement, names, below_lines[""])
            return below, below_lines, tuple(names)
        table, lines = below, below_lines
    lines.setdefault("", number)
    return table, lines, tuple(names)


def _mended_heading(statement: str) -> tuple[list[str], bool]:
    bare = "".join(_CURLY.get(character, character) for character in statement)
    names = re.findall(r"[A-Za-z_][\w-]*", bare.partition("#")[0])
    return names, bool(names) and names[0] in _HEADINGS


def _heading_text(names: list[str]) -> str:
    text = ".".join(names)
    return f"[[{text}]]" if names[0] in LIST_SECTIONS and len(names) == 1 else f"[{text}]"


def _twice(found: Outline, number: int, statement: str, names: list[str], first: object) -> None:
    """A heading that is given twice or does not agree with what came before."""
    section = names[0]
    if section in LIST_SECTIONS and len(names) == 1:
        do = f"write [[{section}]] with double brackets each time, one for each {section}"
        what = f"{section} comes in numbers, and is written with single brackets here or above"
    else:
        do = f"put all its inputs under one [{'.'.join(names)}]"
        what = "the heading is given twice" + (f", first in line {first}" if isinstance(first, int) else "")
    _note(found, number, statement, what, do)


def _merge(
    found: Outline, number: int, statement: str, section: tuple[str, ...], values: dict, table: dict, lines: dict
) -> None:
    """Put the values of a statement into their table; a key given twice is noted."""
    for key, value in values.items():
        if key in table:
            if isinstance(value, dict) and isinstance(table[key], dict) and isinstance(lines.get(key), dict):
                _merge(found, number, statement, (*section, key), value, table[key], lines[key])
                continue
            first = lines.get(key)
            where = f" under {_heading_text(list(section))}" if section else ""
            _note(
                found,
                number,
                statement,
                f"{printable(key[:60])} is given twice{where}"
                + (f", first in line {first}" if isinstance(first, int) else ""),
                "remove one of the lines",
            )
            continue
        table[key] = value
        lines[key] = _numbered(value, number)


def _numbered(value: object, number: int) -> object:
    if isinstance(value, dict):
        return {key: _numbered(inner, number) for key, inner in value.items()} | {"": number}
    return number


def _note(found: Outline, number: int, statement: str, what: str, do: str) -> None:
    found.problems.append(Problem(f"line {number}", f"{what}; got {quoted_line(statement)}; {do}"))


def quoted_line(text: str) -> str:
    """First line of a text between accents, shortened, for a message."""
    line = printable(text.partition("\n")[0].strip().replace("\t", " "))
    more = "\n" in text or len(line) > _LONGEST_SHOWN
    return f"`{line[:_LONGEST_SHOWN]}{' ...' if more else ''}`"


# ---------------------------------------------------------------- causes


def _cause(statement: str, closed: bool, field: Field | None) -> tuple[str, str]:
    """What is wrong with a statement that cannot be read, and what to do about it."""
    first = statement.partition("\n")[0].strip()
    bare = _bare(statement)
    if "=" not in bare.partition("\n")[0]:
        return _without_equals(first, bare)
    odd = next((character for character in bare if character in _ODD_SPACES), None)
    if odd:
        return f"a {_ODD_SPACES[odd]} (U+{ord(odd):04X}) where a plain space belongs", "delete it and type a space"
    if any(character in _CURLY for character in bare):
        mended = "".join(_CURLY.get(character, character) for character in first)
        return "typographic quotes", _write(mended, 'type straight quotes: "..."')
    key, _, value = first.partition("=")
    key, value = key.strip(), value.strip()
    if not _KEY.fullmatch(key):
        return "the key before the equals sign is no name", "expected letters, digits and _, such as motor_hp = 40"
    if value.startswith("="):
        return "two equals signs", _write(f"{key} = {value.lstrip('= ')}", "write one")
    value = _without_comment(value)
    if not value:
        return "no value after the equals sign", "give the value, or remove the line so that the default counts"
    return _wrong_value(key, value, statement, closed, field)


def _cause_in_path(statement: str) -> tuple[str, str] | None:
    """What is wrong with a line whose key is the path of an input, when it is the path."""
    first = statement.partition("\n")[0].strip()
    if re.match(r'"[^"]+"\s*[:=]', first) or any(character in _CURLY for character in _bare(first)):
        return None
    path, _, value = first.partition("=")
    path = path.strip().strip("\"'")
    if not value or "." not in path or '"' in path:
        return None
    return "the path of an input must be in quotes", _write(
        f'"{path}" = {_valued(value.strip())}', 'write "path" = value'
    )


def _without_equals(first: str, bare: str) -> tuple[str, str]:
    word = _KEY.match(first)
    if "=" in first.partition("#")[2] and not first.startswith("#") and word:
        return "a # in the key, where it begins a remark", _write(first.replace("#", "", 1), "remove it")
    if first.startswith(("//", ";", "--", "/*", "%", "*", "!")):
        return "a remark without its sign", "begin remarks with #"
    if first[0] in "])}":
        return "a closing bracket without an opening one", "remove it, or open the list in a line above"
    if word and first[word.end() :].startswith(":"):
        key, _, value = first[: word.end()], ":", first[word.end() + 1 :]
        return "a colon after the key", _write(f"{key.strip()} = {_valued(value.strip())}", "write key = value")
    if word and first[0] == '"' and first[word.end() : word.end() + 1] not in ("", ",", "]"):
        return "no equals sign", _write(f"{word[1]} = {_valued(first[word.end() :].strip())}", 'write "path" = value')
    if first[0] in "[{(\"'-0123456789":
        return (
            "a line that belongs to no input",
            "write it after a key and an equals sign, such as points = [[50, 58], [70, 55]], or remove it",
        )
    if word and word.end() < len(first):
        return "no equals sign", _write(f"{word[1]} = {_valued(first[word.end() :].strip())}", "write key = value")
    if any(character in _CURLY for character in bare):
        return "typographic quotes", 'type straight quotes: "..."'
    return (
        "neither a heading in brackets nor a key with its value",
        "write key = value, such as motor_hp = 40; remarks begin with #",
    )


def _wrong_value(key: str, value: str, statement: str, closed: bool, field: Field | None) -> tuple[str, str]:
    bare = _bare(value)
    if value[0] in "\"'":
        return _wrong_text(key, value, statement)
    word = value.rstrip(";,").strip()
    if re.fullmatch(r"true|false|yes|no|on|off|y|n", word, re.IGNORECASE):
        positive = word.casefold() in ("true", "yes", "on", "y")
        if field is not None and field.type == "choice" and {"yes", "no"} <= set(field.choices):
            right = '"yes"' if positive else '"no"'
        else:
            right = "true" if positive else "false"
        return "not written as true or false", _write(f"{key} = {right}", "write true or false in small letters")
    if re.search(r"\s[A-Za-z_][\w.-]*\s*=", bare) and bare[0] != "{":
        return "two inputs on one line", "give each a line of its own"
    if _parses(f"{key} = {value.rstrip(';, ')}"):
        return f"a sign at the end that does not belong there ({value[-1]})", f"write {key} = {value.rstrip(';, ')}"
    if value[0] in "[{(":
        return _wrong_list(key, value, statement, closed, field)
    listed = field is not None and field.type in ("hour_pair", "profile24", "date_list", "points")
    hours = (
        as_clock_hours(re.split(r"\s*(?:,|\bto\b|\s[-–]\s|(?<=\d)[-–](?=\d))\s*", word.strip("]"))) if listed else None
    )
    if listed and hours is not None:
        return (
            "a list without its brackets" if "]" not in word else "a list without its opening bracket",
            f"write {key} = [{hours}]",
        )
    if re.fullmatch(r"[+-]?[\d.,'’ \u00a0]*\d", word):
        return _wrong_number(key, word, field)
    number, unit = unit_suffixed(word)
    if unit:
        right, reason = number, "write the number alone"
        if unit == "%" and field is not None and field.name.endswith("_frac"):
            right, reason = f"{float(number) / 100:g}", "a share is written from 0 to 1"
        return f"a unit after the number; {reason}", _write(f"{key} = {right}", "write the number alone")
    if re.fullmatch(r"\d{1,2}:\d\d(:\d\d)?", word):
        return "a time of day without quotes", "write clock hours as numbers: 7.5 for half past seven"
    if word[0].isalpha() or word[0] in "_*./\\~&":
        if value[-1] in _QUOTES and value.count(value[-1]) == 1:
            return "a text without its opening quote", _write(f"{key} = {value[-1]}{value}", "begin it with a quote")
        return "a text without quotes", _write(f"{key} = {_valued(value)}", f'write {key} = "..."')
    return "a value that cannot be read", "write a number, true, false, a text in quotes or a list in brackets"


def _wrong_text(key: str, value: str, statement: str) -> tuple[str, str]:
    quote = value[0]
    if value.startswith(quote * 3):
        if statement.count(quote * 3) < 2:
            return "a text of several lines that is not closed", f"end it with {quote * 3}"
    else:
        inner = re.match(r'"((?:[^"\\]|\\.)*)"|\'([^\']*)\'', value)
        if inner is None:
            if quote == '"' and value.endswith('\\"'):
                return (
                    "a backslash before the closing quote, which takes the quote into the text",
                    _write(f'{key} = "{value[1:-2].replace(chr(92), "/")}/"', "write / for it"),
                )
            return "a text without its closing quote", _write(f"{key} = {value}{quote}", f"end it with {quote}")
        rest = value[inner.end() :].strip()
        if rest and not rest.startswith("#"):
            if _parses(f"{key} = {value.rstrip(';, ')}"):
                return (
                    f"a sign at the end that does not belong there ({value[-1]})",
                    f"write {key} = {value.rstrip(';, ')}",
                )
            if re.match(r"[A-Za-z_][\w.-]*\s*=", rest):
                return "two inputs on one line", "give each a line of its own"
            return "a text that goes on after its closing quote", _write(
                f"{key} = '{value[1:].rstrip(quote)}'" if quote == '"' else f'{key} = "{value[1:].rstrip(quote)}"',
                "take the quote inside the text out",
            )
    if "\\" in value and quote == '"':
        return (
            "a backslash in a text in double quotes, where it begins a special sign",
            _write(
                f"{key} = {value.replace(chr(92) * 2, '/').replace(chr(92), '/')}",
                "write / for it, or put the text in single quotes",
            ),
        )
    return "a text that cannot be read", "remove what does not print, and put the text in quotes"


def _wrong_list(key: str, value: str, statement: str, closed: bool, field: Field | None) -> tuple[str, str]:
    bare = _bare(statement.partition("=")[2])
    opening, closing = bare.count("["), bare.count("]")
    if value[0] == "(":
        return "a list in round brackets", _write(f"{key} = {value.replace('(', '[').replace(')', ']')}", "use [ and ]")
    if not closed or opening > closing:
        right = f"{key} = {value}{']' * (opening - closing)}"
        return f"a list without its closing bracket ({opening} [ and {closing} ])", (
            f"write {right}" if "\n" not in statement and _parses(right) else "close it with ]"
        )
    if closing > opening:
        right = f"{key} = {value[: len(value) - (closing - opening)]}"
        return f"a closing bracket too many ({opening} [ and {closing} ])", _write(right, "remove it")
    items = [part.strip() for part in value.strip("[] ").split(",")]
    hours = as_clock_hours(items) if field is None or field.type in ("hour_pair", "profile24") else None
    if hours is not None:
        return "times of day or hours that are no plain numbers", f"write clock hours as numbers: {key} = [{hours}]"
    if ";" in bare:
        return "semicolons in a list", _write(f"{key} = {value.replace(';', ',')}", "separate values by commas")
    words = [item for item in items if item and item[0].isalpha()]
    if words and field is not None and field.type == "date_list":
        return "a list of texts without quotes", 'write days in quotes, such as ["01-01", "12-25"]'
    if field is not None and field.type == "date_list":
        return "days without quotes", _write(
            f"{key} = [{', '.join(_valued(item) if item[:1] not in _QUOTES else item for item in items)}]",
            'write days such as ["01-01", "12-25"]',
        )
    if re.search(r"\d\s+[\d\[]|\]\s*\[", bare):
        return "values of a list without a comma between them", "separate them by commas, such as [[50, 58], [70, 55]]"
    return (
        "a list that cannot be read",
        "write numbers with commas between them, such as [7, 18]; texts are in quotes",
    )


_QUOTES = ('"', "'")


def _wrong_number(key: str, word: str, field: Field | None) -> tuple[str, str]:
    """A number with a decimal comma, separators of thousands or zeros in front."""
    plain = plain_number(word)
    if plain is None:
        return "more than one number", f"write one, such as {key} = 40; lists are in brackets"
    if plain == word:
        return "a number with too many digits", "write one of at most 15 digits"
    what = "a number that is not plain"
    if "," in word:
        what = "a comma in a number" if re.fullmatch(r"[+-]?\d{1,3}(,\d{3})+", word) else "a decimal comma"
    elif re.fullmatch(r"[+-]?0\d+(\.\d*)?", word):
        what = "a zero before the number"
    low, high = (None, None) if field is None else (field.low, field.high)
    return what, number_hint(word, f"write {key} =", low, high)[:200]


def _write(line: str, otherwise: str) -> str:
    """``write <line>`` when that can be read, else advice in general."""
    return f"write {printable(line)}" if len(line) <= 2 * _LONGEST_SHOWN and _parses(line) else otherwise


def _parses(line: str) -> bool:
    try:
        value = tomllib.loads(line)
    except (ValueError, RecursionError):
        return False
    return not any(isinstance(each, (datetime.time, datetime.date)) for each in value.values())


def _valued(text: str) -> str:
    """A value as it is when it can be read, else in quotes."""
    text = _without_comment(text).rstrip(";,").strip()
    if text and _parses(f"x = {text}"):
        return text
    return f'"{text}"' if '"' not in text and "\\" not in text else f"'{text}'"


def _without_comment(value: str) -> str:
    """A value without the remark after it."""
    remark = next((match.start() for match in QUOTED.finditer(value) if match[0].startswith("#")), len(value))
    return value[:remark].strip()
