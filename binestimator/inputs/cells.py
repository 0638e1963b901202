"""Cells of a workbook file from any source: nothing in it is trusted.

A workbook is a zip folder of XML parts. Its directory is judged before anything is unpacked,
parts are unpacked and parsed in pieces, nothing is kept but cells, and every count has a limit: a
file of any content ends in cells or in one :class:`InputError`, after bounded time and memory.

Refused: other kinds of file, encryption, macros, links to other files, document types and entities,
anything over the limits below. Formulas are not evaluated; that a cell has one is reported.

Notes
-----
The common spreadsheet library is not used here: reading only values, it does not tell a formula or
a merged cell from a typed value, it changes texts that hold its escape mark, and it reads
styles and names without a limit.

References
----------
ECMA-376, Office Open XML File Formats, part 1: SpreadsheetML (sheets 18.3, shared strings 18.4,
number formats 18.8.30, basic escapes 22.9.2.19); part 2: packages. From memory; checked against
files of three programs in the tests.
"""

from __future__ import annotations

import posixpath
import re
import struct
import zipfile
from dataclasses import dataclass
from pathlib import Path
from xml.parsers import expat

from binestimator.errors import InputError
from binestimator.inputs.files import readable_file

#: Largest workbook file, and largest size of all its parts unpacked. [bytes] What the program itself writes for the
#: largest project fits. Parts that are not asked for are never unpacked, so that their size costs nothing.
LARGEST_WORKBOOK = 100_000_000
LARGEST_UNPACKED = 1_000_000_000
#: Largest part that is read, by what it holds. [bytes]
LARGEST_PART = {"sheet": 30_000_000, "texts": 30_000_000, "styles": 4_000_000, "small": 1_000_000}
#: Text compresses some twenty times; a part of more than a megabyte packed tighter than this is refused.
MOST_PACKED = 250
_PACKED_FROM = 1_000_000
MOST_PARTS = 2_000
_LARGEST_DIRECTORY = 500_000
MOST_SHEETS = 250
#: Elements of one part, and cells with content of one sheet.
MOST_ELEMENTS = 800_000
MOST_CELLS = 150_000
MOST_MERGED = 5_000
#: Longest tag or comment of a part. [bytes]
LONGEST_TAG = 1_000_000
DEEPEST = 24
LONGEST_TEXT = 32_767
LAST_ROW, LAST_COLUMN = 1_048_576, 16_384

_MAIN = (
    "http://schemas.openxmlformats.org/spreadsheetml/2006/main ",
    "http://purl.oclc.org/ooxml/spreadsheetml/main ",
)
_RELATIONS = (
    "http://schemas.openxmlformats.org/officeDocument/2006/relationships ",
    "http://purl.oclc.org/ooxml/officeDocument/relationships ",
)
_ADDRESS = re.compile(r"([A-Z]{1,3})([1-9]\d{0,6})", re.ASCII)
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,4})?", re.ASCII)
_ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")
#: Built-in number formats that show dates or times.
_DATE_FORMATS = frozenset([*range(14, 23), *range(27, 37), *range(45, 48), *range(50, 59)])
_PIECE = 65_536

#: What a cell may hold.
Content = str | float | bool


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
    value: Content | None = None


@dataclass(frozen=True, slots=True)
class SheetCells:
    """Cells with content of a sheet.

    Parameters
    ----------
    name : str
    cells : dict
        (row, column), counted from 0, -> :class:`Cell`.
    merged : tuple
        Merged areas (first row, first column, last row, last column).
    """

    name: str
    cells: dict[tuple[int, int], Cell]
    merged: tuple[tuple[int, int, int, int], ...]


class WorkbookFile:
    """Sheets of a workbook file, read one by one.

    Parameters
    ----------
    path : str or Path

    Raises
    ------
    InputError
        It is no workbook that can be used.

    Notes
    -----
    A context manager; it keeps the file open.
    """

    def __init__(self, path: str | Path):
        self.path = Path(path)
        self._zip: zipfile.ZipFile | None = None
        self._texts: list[str] | None = None  # read with the first sheet
        self._dates: list[bool] = []
        try:
            self._zip = _open(self.path)
            self._judge_directory()
            self._read_outline()
        except BaseException as error:  # noqa: BLE001 - reported in our words, or raised again
            self.close()
            raise self._as_input_error(error) from None

    def __enter__(self) -> WorkbookFile:
        return self

    def __exit__(self, *_) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        if self._zip is not None:
            self._zip.close()

    @property
    def sheet_names(self) -> list[str]:
        """Names of the sheets with cells, in order."""
        return list(self._sheets)

    def sheet(self, name: str) -> SheetCells:
        """Cells of a sheet.

        Raises
        ------
        InputError
            The sheet breaks a limit or is damaged.
        KeyError
            There is no such sheet.
        """
        part = self._sheets[name]
        try:
            if self._texts is None:
                self._texts = self._read_texts()
                self._dates = self._read_styles()
            reader = _SheetReader(self._texts, self._dates)
            self._parse(part, "sheet", reader)
        except BaseException as error:  # noqa: BLE001 - reported in our words, or raised again
            raise self._as_input_error(error, name) from None
        return SheetCells(name, reader.cells, tuple(reader.merged))

    # -- the folder

    def _as_input_error(self, error: BaseException, sheet: str = "") -> BaseException:
        place = f"{self.path.name}{f', sheet {sheet}' if sheet else ''}"
        if isinstance(error, _Refused):
            return InputError(f"{place}: {error}")
        if isinstance(error, InputError):
            return error
        if isinstance(error, expat.ExpatError):
            return InputError(f"{place}: damaged workbook: {error}; open it in a spreadsheet program and save it again")
        if isinstance(
            error, (zipfile.BadZipFile, NotImplementedError, EOFError, OSError, ValueError, struct.error)
        ) or (type(error).__module__ == "zlib"):
            return InputError(
                f"{place}: damaged workbook ({error}); open it in a spreadsheet program and save it again"
            )
        return error

    def _judge_directory(self) -> None:
        assert self._zip is not None, "opened at once"
        parts = self._zip.infolist()
        if len(parts) > MOST_PARTS:
            raise _Refused(f"holds {len(parts):,} parts; expected at most {MOST_PARTS:,}")
        self._parts: dict[str, zipfile.ZipInfo] = {}
        unpacked = 0
        for part in parts:
            name = part.filename.lstrip("/")
            if name.casefold() in self._parts:
                raise _Refused(f"holds the part {_short(name)} twice")
            self._parts[name.casefold()] = part
            if part.flag_bits & 0x41:
                raise _Refused("is encrypted; save it without a password")
            if part.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
                raise _Refused(
                    f"the part {_short(name)} is packed in an unusual way; save it again in a spreadsheet program"
                )
            if part.file_size > _PACKED_FROM and part.file_size > MOST_PACKED * max(part.compress_size, 1):
                raise _Refused(
                    f"the part {_short(name)} would unpack to {part.file_size:,} bytes from {part.compress_size:,}; "
                    "no spreadsheet program packs so tightly"
                )
            unpacked += part.file_size
        if unpacked > LARGEST_UNPACKED:
            raise _Refused(f"would unpack to {unpacked:,} bytes; expected at most {LARGEST_UNPACKED:,}")
        if any(
            "vbaproject" in name or name.endswith("xl/macrosheets") or name.startswith("xl/macrosheets/")
            for name in self._parts
        ):
            raise _Refused("holds macros; save it as a workbook without macros (.xlsx)")
        if any(name.startswith("xl/externallinks/") for name in self._parts):
            raise _Refused("holds links to other files; break them (replace them by their values) and save it again")
        if "encryptedpackage" in self._parts:
            raise _Refused("is encrypted; save it without a password")
        if "xl/workbook.bin" in self._parts:
            raise _Refused(f"is a binary workbook (.xlsb), which is not read; {_SAVE_AS}")
        if "[content_types].xml" not in self._parts:
            kind = self._kind_of_another()
            raise _Refused(
                f"is {kind}, which is not read; {_SAVE_AS}" if kind else f"is a packed file but no workbook; {_SAVE_AS}"
            )

    def _kind_of_another(self) -> str:
        """What a zip folder is that is no workbook of this kind, in words."""
        if "mimetype" in self._parts:
            type_ = b"".join(self._unpacked("mimetype", "small"))[:200].decode("ascii", "replace")
            if "opendocument.spreadsheet" in type_:
                return "an OpenDocument spreadsheet (.ods)"
            if "opendocument" in type_:
                return "an OpenDocument file that is no spreadsheet"
        return "a workbook of another program (.numbers)" if any(name.endswith(".iwa") for name in self._parts) else ""

    def _unpacked(self, name: str, kind: str):
        """Pieces of a part, never more than its kind may have."""
        part = self._parts.get(name.casefold())
        if part is None:
            raise _Refused(f"lacks the part {_short(name)}; it is no workbook, or damaged")
        limit = LARGEST_PART[kind]
        if part.file_size > limit:
            raise _Refused(f"the part {_short(name)} has {part.file_size:,} bytes; expected at most {limit:,}")
        read = 0
        assert self._zip is not None, "opened at once"
        with self._zip.open(part) as stream:
            while piece := stream.read(_PIECE):
                read += len(piece)
                if read > limit:
                    raise _Refused(f"the part {_short(name)} has more than {limit:,} bytes")
                yield piece

    def _parse(self, name: str, kind: str, reader: _Reader) -> None:
        parser = expat.ParserCreate(namespace_separator=" ")
        parser.buffer_text = True
        parser.StartDoctypeDeclHandler = _refuse_doctype
        parser.EntityDeclHandler = _refuse_doctype
        parser.StartElementHandler = reader.start_element
        parser.EndElementHandler = reader.end_element
        parser.CharacterDataHandler = reader.characters
        fed = 0
        for piece in self._unpacked(name, kind):
            parser.Parse(piece, False)
            fed += len(piece)
            # A tag is kept whole until it ends: millions of attributes would fill memory.
            if fed - parser.CurrentByteIndex > LONGEST_TAG:
                raise _Refused(
                    f"the part {_short(name)} has a tag of more than {LONGEST_TAG:,} bytes; no spreadsheet program "
                    "writes such"
                )
        parser.Parse(b"", True)

    # -- the outline

    def _relations(self, of: str) -> dict[str, tuple[str, str]]:
        """Relations of a part: id -> (end of the type, name of the part)."""
        folder, file = posixpath.split(of)
        name = posixpath.join(folder, "_rels", f"{file}.rels")
        reader = _Attributes("Relationship", ("Id", "Type", "Target", "TargetMode"))
        self._parse(name, "small", reader)
        found = {}
        for id_, type_, target, mode in reader.found:
            if mode != "External":
                target = posixpath.normpath(posixpath.join("/", folder, target)).lstrip("/")
                found[id_] = (type_.rpartition("/")[2], target)
        return found

    def _read_outline(self) -> None:
        types = _Attributes("Override", ("PartName", "ContentType"))
        self._parse("[Content_Types].xml", "small", types)
        if any("macroenabled" in type_.casefold() for _, type_ in types.found):
            raise _Refused("is a workbook with macros; save it as a workbook without macros (.xlsx)")
        books = [target for type_, target in self._relations("").values() if type_ == "officeDocument"]
        if len(books) != 1:
            raise _Refused(f"is an office document but not a workbook; {_SAVE_AS}")
        if not any("sheet.main" in type_ for name, type_ in types.found if name.lstrip("/") == books[0]):
            raise _Refused(f"is an office document but not a workbook of sheets (.xlsx); {_SAVE_AS}")
        sheets = _Attributes("sheet", ("name", *(relation + "id" for relation in _RELATIONS)))
        self._parse(books[0], "small", sheets)
        relations = self._relations(books[0])
        if not 0 < len(sheets.found) <= MOST_SHEETS:
            raise _Refused(f"has {len(sheets.found):,} sheets; expected 1 to {MOST_SHEETS}")
        self._sheets: dict[str, str] = {}
        seen: set[str] = set()
        for name, *ids in sheets.found:
            type_, target = next((relations[id_] for id_ in ids if id_ in relations), ("", ""))
            if name.casefold() in seen:
                raise _Refused(f'has two sheets called "{_short(name)}"; rename one of them')
            seen.add(name.casefold())
            if type_ == "worksheet":
                self._sheets[name] = target
        by_type = dict(relations.values())
        self._texts_part, self._styles_part = by_type.get("sharedStrings"), by_type.get("styles")

    def _read_texts(self) -> list[str]:
        if self._texts_part is None:
            return []
        reader = _TextsReader()
        self._parse(self._texts_part, "texts", reader)
        return reader.texts

    def _read_styles(self) -> list[bool]:
        """Whether cells of each style show dates."""
        if self._styles_part is None:
            return []
        reader = _StylesReader()
        self._parse(self._styles_part, "styles", reader)
        return [id_ in _DATE_FORMATS or _shows_dates(reader.codes.get(id_, "")) for id_ in reader.ids]


def _open(path: Path) -> zipfile.ZipFile:
    """The zip folder of a file after a look at its size and its end."""
    readable_file(path, "workbook", largest=LARGEST_WORKBOOK)
    with path.open("rb") as file:
        start = file.read(8)
        file.seek(max(path.stat().st_size - 66_000, 0))
        end = file.read(66_000)
    if start.startswith(b"\xd0\xcf\x11\xe0"):
        if _holds(path, "EncryptedPackage".encode("utf-16-le")):
            raise _Refused("is encrypted; save it without a password")
        raise _Refused(f"is a workbook of the old kind (.xls), which is not read; {_SAVE_AS}")
    if not start.startswith(b"PK\x03\x04"):
        if start.lstrip(b"\xef\xbb\xbf \r\n\t").startswith(b"<"):
            raise _Refused(f"is a web page or XML file under the name of a workbook; {_SAVE_AS}")
        if (
            start
            and not start.startswith((b"\xff\xfe", b"PK"))
            and all(byte in b"\t\r\n" or 32 <= byte < 127 for byte in start)
        ):
            raise _Refused(
                "is not a workbook but plain text; a project file ends in .toml, and a form is a workbook that a "
                "spreadsheet "
                "program saved as .xlsx"
            )
        raise _Refused("is not a workbook; expected a file that a spreadsheet program saved as .xlsx")
    place = end.rfind(b"PK\x05\x06")
    if place < 0 or len(end) - place < 22:
        raise _Refused("is not whole: its end is missing; copy or save it again")
    if b"PK\x06\x07" in end[:place][-20:]:
        raise _Refused("is packed in a form for very large files; save it again in a spreadsheet program")
    (directory,) = struct.unpack_from("<I", end, place + 12)
    if directory > _LARGEST_DIRECTORY:
        raise _Refused(f"has a directory of {directory:,} bytes; expected at most {_LARGEST_DIRECTORY:,}")
    return zipfile.ZipFile(path)


_SAVE_AS = "open it in a spreadsheet program and save it as .xlsx"


def _holds(path: Path, mark: bytes) -> bool:
    return mark in path.read_bytes()  # at most LARGEST_WORKBOOK


class _Refused(Exception):
    """Something that the file may not have; becomes an InputError with the name of the file."""


def _refuse_doctype(*_) -> None:
    raise _Refused(
        "declares a document type or entities, which no workbook needs and which could be used to exhaust memory"
    )


def _short(text: str) -> str:
    from binestimator.inputs.problems import printable

    return printable(text if len(text) <= 60 else text[:57] + "...")


# ---------------------------------------------------------------- parts


class _Reader:
    """Walks through a part element by element; counts elements and depth."""

    def __init__(self) -> None:
        self.depth = 0
        self._count = 0

    def start_element(self, name: str, attributes: dict[str, str]) -> None:
        self.depth += 1
        self._count += 1
        if self.depth > DEEPEST:
            raise _Refused(f"elements are nested more than {DEEPEST} deep")
        if self._count > MOST_ELEMENTS:
            raise _Refused(
                f"a part holds more than {MOST_ELEMENTS:,} elements; remove empty formatted rows and columns"
            )
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


class _Attributes(_Reader):
    """Collects attributes of elements of one name."""

    def __init__(self, element: str, attributes: tuple[str, ...]):
        super().__init__()
        self._element, self._wanted = " " + element, attributes
        self.found: list[tuple[str, ...]] = []

    def start(self, name, attributes):
        if name.endswith(self._element):
            self.found.append(tuple(attributes.get(wanted, "") for wanted in self._wanted))


def _local(name: str) -> str:
    """Name of an element of the main namespace without it; others get none."""
    for space in _MAIN:
        if name.startswith(space):
            return name[len(space) :]
    return ""


class _TextCollector(_Reader):
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
                raise _Refused(f"a cell holds a text of more than {LONGEST_TEXT:,} characters")
            self._pieces.append(text)

    def finish_text(self) -> str:
        text = "".join(self._pieces or ())
        self._pieces = None
        return _unescaped(text)


class _TextsReader(_TextCollector):
    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []

    def start(self, name, attributes):
        local = _local(name)
        if local == "si":
            self.begin_text()
        elif self._pieces is not None:
            self.text_start(local)

    def end(self, name):
        local = _local(name)
        if local == "si" and self._pieces is not None:
            self.texts.append(self.finish_text())
        elif self._pieces is not None:
            self.text_end(local)

    def characters(self, text):
        if self._pieces is not None:
            self.text_characters(text)


class _StylesReader(_Reader):
    """Number formats of the cell styles."""

    def __init__(self) -> None:
        super().__init__()
        self.codes: dict[int, str] = {}
        self.ids: list[int] = []
        self._in_cells = False

    def start(self, name, attributes):
        local = _local(name)
        if local == "numFmt" and self.depth == 3:
            self.codes[_whole(attributes.get("numFmtId"))] = attributes.get("formatCode", "")[:300]
        elif local == "cellXfs":
            self._in_cells = True
        elif local == "xf" and self._in_cells:
            self.ids.append(_whole(attributes.get("numFmtId")))

    def end(self, name):
        if _local(name) == "cellXfs":
            self._in_cells = False


def _whole(text: str | None) -> int:
    return int(text) if text and re.fullmatch(r"\d{1,9}", text, re.ASCII) else 0


def _shows_dates(code: str) -> bool:
    """Whether a number format shows a date or a time."""
    if re.search(r"\[(h+|m+|s+)\]", code, re.IGNORECASE):
        return True
    bare = re.sub(r'"[^"]*"|\[[^\]]*\]|\\.|_.|\*.', "", code.partition(";")[0])
    return re.search(r"[dmyhs]", bare.replace("General", ""), re.IGNORECASE) is not None


class _SheetReader(_TextCollector):
    """Cells and merged areas of a sheet."""

    def __init__(self, texts: list[str], dates: list[bool]):
        super().__init__()
        self._shared, self._dates = texts, dates
        self.cells: dict[tuple[int, int], Cell] = {}
        self.merged: list[tuple[int, int, int, int]] = []
        self._row = self._column = -1
        self._cell: tuple[str, int] | None = None
        self._formula = False
        self._value: list[str] | None = None
        self._inline: str | None = None
        self._text: str | None = None
        self._in_rows = False

    def start(self, name, attributes):
        if self._pieces is not None:
            self.text_start(_local(name))
            return
        local = _local(name)
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
                raise _Refused(f"has more than {MOST_MERGED:,} merged areas")
            self.merged.append(_area(attributes.get("ref", "")))

    def _place_row(self, attributes) -> None:
        row = attributes.get("r")
        self._row = self._row + 1 if row is None else _whole(row) - 1
        self._column = -1
        if not 0 <= self._row < LAST_ROW:
            raise _Refused(f"has a row {_short(str(row))} that no sheet has")

    def _place_cell(self, attributes) -> None:
        address = attributes.get("r")
        if address is None:
            self._column += 1
            row = max(self._row, 0)
        else:
            row, self._column = _position(address)
        self._cell = (attributes.get("t", "n"), _whole(attributes.get("s")))
        self._at = (row, self._column)
        if self._column >= LAST_COLUMN:
            raise _Refused("has more columns than a sheet has")
        self._formula, self._inline, self._text = False, None, None

    def characters(self, text):
        if self._pieces is not None:
            self.text_characters(text)
        elif self._value is not None:
            self._value.append(text)
            self._length += len(text)
            if self._length > 8 * LONGEST_TEXT:
                raise _Refused(f"a cell holds a text of more than {LONGEST_TEXT:,} characters")

    def end(self, name):
        local = _local(name)
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

    def _finish_cell(self, kind: str, style: int) -> None:
        self._cell = None
        cell = self._content(kind, style)
        if cell is None:
            return
        if len(self.cells) >= MOST_CELLS:
            raise _Refused(f"holds more than {MOST_CELLS:,} cells with content")
        if self._at in self.cells:
            raise _Refused(f"holds the cell {address_of(*self._at)} twice")
        self.cells[self._at] = cell

    def _content(self, kind: str, style: int) -> Cell | None:
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
                raise _Refused(f"the text of cell {address_of(*self._at)} is missing")
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
        if style < len(self._dates) and self._dates[style]:
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
        raise _Refused(f'has a cell "{_short(address)}" that no sheet has')
    column = 0
    for letter in found[1]:
        column = 26 * column + ord(letter) - 64
    row = int(found[2])
    if row > LAST_ROW or column > LAST_COLUMN:
        raise _Refused(f'has a cell "{_short(address)}" that no sheet has')
    return row - 1, column - 1


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
