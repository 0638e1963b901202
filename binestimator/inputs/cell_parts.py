"""Parts of a workbook file, read from their XML in pieces: texts, styles, sheets.

Every count has a limit; what goes beyond it is refused.
"""

from __future__ import annotations

import re
from functools import lru_cache

from binestimator.dataclass import dataclass
from binestimator.inputs.problems import printable

#: Elements of one part, and cells with content of one sheet.
MOST_ELEMENTS = 800_000
MOST_CELLS = 150_000
MOST_MERGED = 5_000
DEEPEST = 24
LONGEST_TEXT = 32_767
LAST_ROW, LAST_COLUMN = 1_048_576, 16_384

_MAIN = (
    "http://schemas.openxmlformats.org/spreadsheetml/2006/main ",
    "http://purl.oclc.org/ooxml/spreadsheetml/main ",
)
_ADDRESS = re.compile(r"([A-Z]{1,3})([1-9]\d{0,6})", re.ASCII)
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,4})?", re.ASCII)
_WHOLE = re.compile(r"\d{1,9}", re.ASCII)
_ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")

#: What somebody may have typed into a cell.
TypedContent = str | float | bool


@dataclass(frozen=True, slots=True)
class Cell:
    """Content of a cell.

    Parameters
    ----------
    kind : str
        ``text, number, bool, date, error, formula``.
    value : str, float, bool or None
        ``None`` for dates and errors. Of a formula what the file says it gave, if it says so:
        good to show, never to be trusted as given.
    """

    kind: str
    value: TypedContent | None = None


class Refused(Exception):
    """Something that the file may not have; becomes an InputError with the name of the file."""


def refuse_doctype(*_) -> None:
    """For the parser: refuses what no workbook needs."""
    raise Refused(
        "declares a document type or entities, which no workbook needs and which could be used to exhaust memory"
    )


def short(text: str) -> str:
    """A text of the file for a message."""
    return printable(text if len(text) <= 60 else text[:57] + "...")


# ---------------------------------------------------------------- parts


class Reader:
    """Walks through a part element by element; counts elements and depth."""

    def __init__(self) -> None:
        self.depth = 0
        self._count = 0

    def start_element(self, name: str, attributes: dict[str, str]) -> None:
        self.depth += 1
        self._count += 1
        if self.depth > DEEPEST:
            raise Refused(f"elements are nested more than {DEEPEST} deep")
        if self._count > MOST_ELEMENTS:
            raise Refused(f"a part holds more than {MOST_ELEMENTS:,} elements; remove empty formatted rows and columns")
        self.start(name, attributes)

    def end_element(self, name: str) -> None:
        self.depth -= 1
        self.end(name)

    def start(self, name: str, attributes: dict[str, str]) -> None:
        pass

    def end(self, name: str) -> None:
        pass

    def characters(self, text: str) -> None:
        pass


class Attributes(Reader):
    """Collects attributes of elements of one name."""

    def __init__(self, element: str, attributes: tuple[str, ...]):
        super().__init__()
        self._element, self._wanted = " " + element, attributes
        self.found: list[tuple[str, ...]] = []

    def start(self, name, attributes):
        if name.endswith(self._element):
            self.found.append(tuple(attributes.get(wanted, "") for wanted in self._wanted))


@lru_cache(maxsize=256)
def local_name(name: str) -> str:
    """Name of an element of the main namespace without it; others get none."""
    for space in _MAIN:
        if name.startswith(space):
            return name[len(space) :]
    return ""


class _TextCollector(Reader):
    """Puts texts together from their runs; reading aids (``rPh``) are left out."""

    def __init__(self) -> None:
        super().__init__()
        self._pieces: list[str] | None = None
        self._length = 0
        self._aside = 0

    def begin_text(self) -> None:
        self._pieces, self._length, self._open = [], 0, False

    def text_start(self, local: str) -> None:
        if local == "rPh":
            self._aside += 1
        elif local == "t":
            self._open = not self._aside

    def text_end(self, local: str) -> None:
        if local == "rPh":
            self._aside -= 1
        elif local == "t":
            self._open = False

    def text_characters(self, text: str) -> None:
        if self._open and self._pieces is not None:
            self._length += len(text)
            if self._length > 8 * LONGEST_TEXT:
                raise Refused(f"a cell holds a text of more than {LONGEST_TEXT:,} characters")
            self._pieces.append(text)

    def finish_text(self) -> str:
        text = "".join(self._pieces or ())
        self._pieces = None
        return _unescaped(text)


class TextsReader(_TextCollector):
    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []

    def start(self, name, attributes):
        local = local_name(name)
        if local == "si":
            self.begin_text()
        elif self._pieces is not None:
            self.text_start(local)

    def end(self, name):
        local = local_name(name)
        if local == "si" and self._pieces is not None:
            self.texts.append(self.finish_text())
        elif self._pieces is not None:
            self.text_end(local)

    def characters(self, text):
        if self._pieces is not None:
            self.text_characters(text)


class StylesReader(Reader):
    """Number formats of the cell styles."""

    def __init__(self) -> None:
        super().__init__()
        self.codes: dict[int, str] = {}
        self.ids: list[int] = []
        self._in_cells = False

    def start(self, name, attributes):
        local = local_name(name)
        if local == "numFmt" and self.depth == 3:
            self.codes[_whole(attributes.get("numFmtId"))] = attributes.get("formatCode", "")[:300]
        elif local == "cellXfs":
            self._in_cells = True
        elif local == "xf" and self._in_cells:
            self.ids.append(_whole(attributes.get("numFmtId")))

    def end(self, name):
        if local_name(name) == "cellXfs":
            self._in_cells = False


def _whole(text: str | None) -> int:
    return int(text) if text and _WHOLE.fullmatch(text) else 0


def shows_dates(code: str) -> bool:
    """Whether a number format shows a date or a time."""
    if re.search(r"\[(h+|m+|s+)\]", code, re.IGNORECASE):
        return True
    bare = re.sub(r'"[^"]*"|\[[^\]]*\]|\\.|_.|\*.', "", code.partition(";")[0])
    return re.search(r"[dmyhs]", bare.replace("General", ""), re.IGNORECASE) is not None


class SheetReader(_TextCollector):
    """Cells and merged areas of a sheet."""

    def __init__(self, texts: list[str], dates: list[bool]):
        super().__init__()
        self._shared, self._dates = texts, dates
        self.cells: dict[tuple[int, int], Cell] = {}
        self.merged: list[tuple[int, int, int, int]] = []
        self._row = self._column = -1
        self._cell: tuple[str, str | None] | None = None
        self._formula = False
        self._value: list[str] | None = None
        self._inline: str | None = None
        self._text: str | None = None
        self._in_rows = False

    def start(self, name, attributes):
        if self._pieces is not None:
            self.text_start(local_name(name))
            return
        local = local_name(name)
        if self._cell is not None:
            if local == "v":
                self._value = []
            elif local == "f":
                self._formula = True
            elif local == "is":
                self.begin_text()
        elif local == "c" and self._in_rows:
            self._place_cell(attributes)
        elif local == "row" and self._in_rows:
            self._place_row(attributes)
        elif local == "sheetData" and self.depth == 2:
            self._in_rows = True
        elif local == "mergeCell":
            if len(self.merged) >= MOST_MERGED:
                raise Refused(f"has more than {MOST_MERGED:,} merged areas")
            self.merged.append(_area(attributes.get("ref", "")))

    def _place_row(self, attributes) -> None:
        row = attributes.get("r")
        self._row = self._row + 1 if row is None else _whole(row) - 1
        self._column = -1
        if not 0 <= self._row < LAST_ROW:
            raise Refused(f"has a row {short(str(row))} that no sheet has")

    def _place_cell(self, attributes) -> None:
        address = attributes.get("r")
        if address is None:
            self._column += 1
            row = max(self._row, 0)
        else:
            row, self._column = _position(address)
        self._cell = (attributes.get("t", "n"), attributes.get("s"))
        self._at = (row, self._column)
        if self._column >= LAST_COLUMN:
            raise Refused("has more columns than a sheet has")
        self._formula, self._inline, self._text = False, None, None

    def characters(self, text):
        if self._pieces is not None:
            self.text_characters(text)
        elif self._value is not None:
            self._value.append(text)
            self._length += len(text)
            if self._length > 8 * LONGEST_TEXT:
                raise Refused(f"a cell holds a text of more than {LONGEST_TEXT:,} characters")

    def end(self, name):
        local = local_name(name)
        if self._pieces is not None:
            if local == "is":
                self._inline = self.finish_text()
            else:
                self.text_end(local)
        elif self._cell is not None:
            if local == "v" and self._value is not None:
                self._text, self._value, self._length = "".join(self._value), None, 0
            elif local == "c":
                self._finish_cell(*self._cell)
        elif local == "sheetData":
            self._in_rows = False

    def _finish_cell(self, kind: str, style: str | None) -> None:
        self._cell = None
        cell = self._content(kind, style)
        if cell is None:
            return
        if len(self.cells) >= MOST_CELLS:
            raise Refused(f"holds more than {MOST_CELLS:,} cells with content")
        if self._at in self.cells:
            raise Refused(f"holds the cell {address_of(*self._at)} twice")
        self.cells[self._at] = cell

    def _content(self, kind: str, style: str | None) -> Cell | None:
        if self._formula:
            self._formula = False
            given = self._content(kind, style)
            return Cell("formula", None if given is None else given.value)
        if kind == "inlineStr":
            return Cell("text", self._inline) if self._inline else None
        text = self._text
        if text is None or text == "":
            return None
        if kind == "s":
            place = _whole(text)
            if place >= len(self._shared) or not text.strip().isdigit():
                raise Refused(f"the text of cell {address_of(*self._at)} is missing")
            return Cell("text", self._shared[place]) if self._shared[place] else None
        if kind == "str":
            return Cell("text", _unescaped(text))
        if kind == "b":
            return Cell("bool", text.strip() not in ("0", "false"))
        if kind == "e":
            return Cell("error")
        if kind == "d":
            return Cell("date")
        number = float(text) if _NUMBER.fullmatch(text.strip()) else float("inf")
        if number in (float("inf"), float("-inf")):
            return Cell("error")
        number_format = _whole(style)
        if number_format < len(self._dates) and self._dates[number_format]:
            return Cell("date")
        return Cell("number", number)


def _unescaped(text: str) -> str:
    """Text with the format's own escapes (``_x000A_``) resolved."""
    if "_x" not in text:
        return text
    text = _ESCAPED.sub(lambda found: chr(int(found[1], 16)), text)
    if any("\ud800" <= character <= "\udfff" for character in text):  # escaped halves of one character
        text = text.encode("utf-16", "surrogatepass").decode("utf-16", "replace")
    return text


# ---------------------------------------------------------------- addresses


def _position(address: str) -> tuple[int, int]:
    """Row and column, counted from 0, of an address such as ``B7``."""
    found = _ADDRESS.fullmatch(address)
    if not found:
        raise Refused(f'has a cell "{short(address)}" that no sheet has')
    column, row = _column(found[1]), int(found[2])
    if row > LAST_ROW or column > LAST_COLUMN:
        raise Refused(f'has a cell "{short(address)}" that no sheet has')
    return row - 1, column - 1


@lru_cache(maxsize=1024)
def _column(letters: str) -> int:
    """Column counted from 1 by its letters."""
    column = 0
    for letter in letters:
        column = 26 * column + ord(letter) - 64
    return column


def _area(text: str) -> tuple[int, int, int, int]:
    first, _, last = text.replace("$", "").partition(":")
    return (*_position(first), *_position(last or first))


def address_of(row: int, column: int) -> str:
    """Address such as ``B7`` of a cell counted from 0."""
    name = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        name = chr(65 + rest) + name
    return f"{name}{row + 1}"
