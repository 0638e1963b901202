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
import struct
import zipfile
from pathlib import Path
from xml.parsers import expat

from binestimator.dataclass import dataclass
from binestimator.errors import InputError
from binestimator.inputs.cell_parts import (
    Attributes,
    Cell,
    Reader,
    Refused,
    SheetReader,
    StylesReader,
    TextsReader,
    refuse_doctype,
    short,
    shows_dates,
)
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
#: Longest tag or comment of a part. [bytes]
LONGEST_TAG = 1_000_000
_RELATIONS = (
    "http://schemas.openxmlformats.org/officeDocument/2006/relationships ",
    "http://purl.oclc.org/ooxml/officeDocument/relationships ",
)
#: Built-in number formats that show dates or times.
_DATE_FORMATS = frozenset([*range(14, 23), *range(27, 37), *range(45, 48), *range(50, 59)])
_PIECE = 65_536


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
            reader = SheetReader(self._texts, self._dates)
            self._parse(part, "sheet", reader)
        except BaseException as error:  # noqa: BLE001 - reported in our words, or raised again
            raise self._as_input_error(error, name) from None
        return SheetCells(name, reader.cells, tuple(reader.merged))

    # -- the folder

    def _as_input_error(self, error: BaseException, sheet: str = "") -> BaseException:
        place = f"{self.path.name}{f', sheet {sheet}' if sheet else ''}"
        if isinstance(error, Refused):
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
            raise Refused(f"holds {len(parts):,} parts; expected at most {MOST_PARTS:,}")
        self._parts: dict[str, zipfile.ZipInfo] = {}
        unpacked = 0
        for part in parts:
            name = part.filename.lstrip("/")
            if name.casefold() in self._parts:
                raise Refused(f"holds the part {short(name)} twice")
            self._parts[name.casefold()] = part
            if part.flag_bits & 0x41:
                raise Refused("is encrypted; save it without a password")
            if part.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
                raise Refused(
                    f"the part {short(name)} is packed in an unusual way; save it again in a spreadsheet program"
                )
            if part.file_size > _PACKED_FROM and part.file_size > MOST_PACKED * max(part.compress_size, 1):
                raise Refused(
                    f"the part {short(name)} would unpack to {part.file_size:,} bytes from {part.compress_size:,}; "
                    "no spreadsheet program packs so tightly"
                )
            unpacked += part.file_size
        if unpacked > LARGEST_UNPACKED:
            raise Refused(f"would unpack to {unpacked:,} bytes; expected at most {LARGEST_UNPACKED:,}")
        if any(
            "vbaproject" in name or name.endswith("xl/macrosheets") or name.startswith("xl/macrosheets/")
            for name in self._parts
        ):
            raise Refused("holds macros; save it as a workbook without macros (.xlsx)")
        if any(name.startswith("xl/externallinks/") for name in self._parts):
            raise Refused("holds links to other files; break them (replace them by their values) and save it again")
        if "encryptedpackage" in self._parts:
            raise Refused("is encrypted; save it without a password")
        if "xl/workbook.bin" in self._parts:
            raise Refused(f"is a binary workbook (.xlsb), which is not read; {_SAVE_AS}")
        if "[content_types].xml" not in self._parts:
            kind = self._kind_of_another()
            raise Refused(
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
            raise Refused(f"lacks the part {short(name)}; it is no workbook, or damaged")
        limit = LARGEST_PART[kind]
        if part.file_size > limit:
            raise Refused(f"the part {short(name)} has {part.file_size:,} bytes; expected at most {limit:,}")
        read = 0
        assert self._zip is not None, "opened at once"
        with self._zip.open(part) as stream:
            while piece := stream.read(_PIECE):
                read += len(piece)
                if read > limit:
                    raise Refused(f"the part {short(name)} has more than {limit:,} bytes")
                yield piece

    def _parse(self, name: str, kind: str, reader: Reader) -> None:
        parser = expat.ParserCreate(namespace_separator=" ")
        parser.buffer_text = True
        parser.StartDoctypeDeclHandler = refuse_doctype
        parser.EntityDeclHandler = refuse_doctype
        parser.StartElementHandler = reader.start_element
        parser.EndElementHandler = reader.end_element
        parser.CharacterDataHandler = reader.characters
        fed = 0
        for piece in self._unpacked(name, kind):
            parser.Parse(piece, False)
            fed += len(piece)
            # A tag is kept whole until it ends: millions of attributes would fill memory.
            if fed - parser.CurrentByteIndex > LONGEST_TAG:
                raise Refused(
                    f"the part {short(name)} has a tag of more than {LONGEST_TAG:,} bytes; no spreadsheet program "
                    "writes such"
                )
        parser.Parse(b"", True)

    # -- the outline

    def _relations(self, of: str) -> dict[str, tuple[str, str]]:
        """Relations of a part: id -> (end of the type, name of the part)."""
        folder, file = posixpath.split(of)
        name = posixpath.join(folder, "_rels", f"{file}.rels")
        reader = Attributes("Relationship", ("Id", "Type", "Target", "TargetMode"))
        self._parse(name, "small", reader)
        found = {}
        for id_, type_, target, mode in reader.found:
            if mode != "External":
                target = posixpath.normpath(posixpath.join("/", folder, target)).lstrip("/")
                found[id_] = (type_.rpartition("/")[2], target)
        return found

    def _read_outline(self) -> None:
        types = Attributes("Override", ("PartName", "ContentType"))
        self._parse("[Content_Types].xml", "small", types)
        if any("macroenabled" in type_.casefold() for _, type_ in types.found):
            raise Refused("is a workbook with macros; save it as a workbook without macros (.xlsx)")
        books = [target for type_, target in self._relations("").values() if type_ == "officeDocument"]
        if len(books) != 1:
            raise Refused(f"is an office document but not a workbook; {_SAVE_AS}")
        if not any("sheet.main" in type_ for name, type_ in types.found if name.lstrip("/") == books[0]):
            raise Refused(f"is an office document but not a workbook of sheets (.xlsx); {_SAVE_AS}")
        sheets = Attributes("sheet", ("name", *(relation + "id" for relation in _RELATIONS)))
        self._parse(books[0], "small", sheets)
        relations = self._relations(books[0])
        if not 0 < len(sheets.found) <= MOST_SHEETS:
            raise Refused(f"has {len(sheets.found):,} sheets; expected 1 to {MOST_SHEETS}")
        self._sheets: dict[str, str] = {}
        seen: set[str] = set()
        for name, *ids in sheets.found:
            type_, target = next((relations[id_] for id_ in ids if id_ in relations), ("", ""))
            if name.casefold() in seen:
                raise Refused(f'has two sheets called "{short(name)}"; rename one of them')
            seen.add(name.casefold())
            if type_ == "worksheet":
                self._sheets[name] = target
        by_type = dict(relations.values())
        self._texts_part, self._styles_part = by_type.get("sharedStrings"), by_type.get("styles")

    def _read_texts(self) -> list[str]:
        if self._texts_part is None:
            return []
        reader = TextsReader()
        self._parse(self._texts_part, "texts", reader)
        return reader.texts

    def _read_styles(self) -> list[bool]:
        """Whether cells of each style show dates."""
        if self._styles_part is None:
            return []
        reader = StylesReader()
        self._parse(self._styles_part, "styles", reader)
        return [id_ in _DATE_FORMATS or shows_dates(reader.codes.get(id_, "")) for id_ in reader.ids]


def _open(path: Path) -> zipfile.ZipFile:
    """The zip folder of a file after a look at its size and its end."""
    readable_file(path, "workbook", largest=LARGEST_WORKBOOK)
    with path.open("rb") as file:
        start = file.read(8)
        file.seek(max(path.stat().st_size - 66_000, 0))
        end = file.read(66_000)
    if start.startswith(b"\xd0\xcf\x11\xe0"):
        if _holds(path, "EncryptedPackage".encode("utf-16-le")):
            raise Refused("is encrypted; save it without a password")
        raise Refused(f"is a workbook of the old kind (.xls), which is not read; {_SAVE_AS}")
    if not start.startswith(b"PK\x03\x04"):
        if start.lstrip(b"\xef\xbb\xbf \r\n\t").startswith(b"<"):
            raise Refused(f"is a web page or XML file under the name of a workbook; {_SAVE_AS}")
        if (
            start
            and not start.startswith((b"\xff\xfe", b"PK"))
            and all(byte in b"\t\r\n" or 32 <= byte < 127 for byte in start)
        ):
            raise Refused(
                "is not a workbook but plain text; a project file ends in .toml, and a form is a workbook that a "
                "spreadsheet "
                "program saved as .xlsx"
            )
        raise Refused("is not a workbook; expected a file that a spreadsheet program saved as .xlsx")
    place = end.rfind(b"PK\x05\x06")
    if place < 0 or len(end) - place < 22:
        raise Refused("is not whole: its end is missing; copy or save it again")
    if b"PK\x06\x07" in end[:place][-20:]:
        raise Refused("is packed in a form for very large files; save it again in a spreadsheet program")
    (directory,) = struct.unpack_from("<I", end, place + 12)
    if directory > _LARGEST_DIRECTORY:
        raise Refused(f"has a directory of {directory:,} bytes; expected at most {_LARGEST_DIRECTORY:,}")
    return zipfile.ZipFile(path)


_SAVE_AS = "open it in a spreadsheet program and save it as .xlsx"


def _holds(path: Path, mark: bytes) -> bool:
    return mark in path.read_bytes()  # at most LARGEST_WORKBOOK
