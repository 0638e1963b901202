"""What is wrong with a statement that is no TOML, in the words of the person who wrote it, and what to do about it."""

from __future__ import annotations

import re

from binestimator.inputs.hints import as_clock_hours, number_hint, plain_number, unit_suffixed
from binestimator.inputs.problems import printable
from binestimator.inputs.schema import Field
from binestimator.inputs.toml_statements import KEY, QUOTED, bare_of
from binestimator.inputs.toml_words import CURLY, LONGEST_SHOWN, parses

_ODD_SPACES = {
    "\u00a0": "no-break space",
    "\u2007": "figure space",
    "\u202f": "narrow no-break space",
    "\u2009": "thin space",
    "\u200b": "zero-width space",
    "\u3000": "wide space",
    "\ufeff": "byte order mark",
}
_QUOTES = ('"', "'")


def cause(statement: str, closed: bool, field: Field | None) -> tuple[str, str]:
    """What is wrong with a statement that cannot be read, and what to do about it."""
    first = statement.partition("\n")[0].strip()
    bare = bare_of(statement)
    if "=" not in bare.partition("\n")[0]:
        return _without_equals(first, bare)
    odd = next((character for character in bare if character in _ODD_SPACES), None)
    if odd:
        return f"a {_ODD_SPACES[odd]} (U+{ord(odd):04X}) where a plain space belongs", "delete it and type a space"
    if any(character in CURLY for character in bare):
        mended = "".join(CURLY.get(character, character) for character in first)
        return "typographic quotes", _write(mended, 'type straight quotes: "..."')
    key, _, value = first.partition("=")
    key, value = key.strip(), value.strip()
    if not KEY.fullmatch(key):
        return "the key before the equals sign is no name", "expected letters, digits and _, such as motor_hp = 40"
    if value.startswith("="):
        return "two equals signs", _write(f"{key} = {value.lstrip('= ')}", "write one")
    value = _without_comment(value)
    if not value:
        return "no value after the equals sign", "give the value, or remove the line so that the default counts"
    return _wrong_value(key, value, statement, closed, field)


def cause_in_path(statement: str) -> tuple[str, str] | None:
    """What is wrong with a line whose key is the path of an input, when it is the path."""
    first = statement.partition("\n")[0].strip()
    if re.match(r'"[^"]+"\s*[:=]', first) or any(character in CURLY for character in bare_of(first)):
        return None
    path, _, value = first.partition("=")
    path = path.strip().strip("\"'")
    if not value or "." not in path or '"' in path:
        return None
    return "the path of an input must be in quotes", _write(
        f'"{path}" = {_valued(value.strip())}', 'write "path" = value'
    )


def _without_equals(first: str, bare: str) -> tuple[str, str]:
    word = KEY.match(first)
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
    if any(character in CURLY for character in bare):
        return "typographic quotes", 'type straight quotes: "..."'
    return (
        "neither a heading in brackets nor a key with its value",
        "write key = value, such as motor_hp = 40; remarks begin with #",
    )


def _wrong_value(key: str, value: str, statement: str, closed: bool, field: Field | None) -> tuple[str, str]:
    bare = bare_of(value)
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
    if parses(f"{key} = {value.rstrip(';, ')}"):
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
            if parses(f"{key} = {value.rstrip(';, ')}"):
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
    bare = bare_of(statement.partition("=")[2])
    opening, closing = bare.count("["), bare.count("]")
    if value[0] == "(":
        return "a list in round brackets", _write(f"{key} = {value.replace('(', '[').replace(')', ']')}", "use [ and ]")
    if not closed or opening > closing:
        right = f"{key} = {value}{']' * (opening - closing)}"
        return f"a list without its closing bracket ({opening} [ and {closing} ])", (
            f"write {right}" if "\n" not in statement and parses(right) else "close it with ]"
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
    return f"write {printable(line)}" if len(line) <= 2 * LONGEST_SHOWN and parses(line) else otherwise


def _valued(text: str) -> str:
    """A value as it is when it can be read, else in quotes."""
    text = _without_comment(text).rstrip(";,").strip()
    if text and parses(f"x = {text}"):
        return text
    return f'"{text}"' if '"' not in text and "\\" not in text else f"'{text}'"


def _without_comment(value: str) -> str:
    """A value without the remark after it."""
    remark = next((match.start() for match in QUOTED.finditer(value) if match[0].startswith("#")), len(value))
    return value[:remark].strip()
