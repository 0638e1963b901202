"""Workbooks read by openpyxl, sheet by sheet as they are asked for: reading a whole one takes seconds."""

import io
import zipfile
from functools import cached_property

import openpyxl
from openpyxl.worksheet.merge import MergedCellRange

if not __package__:  # loaded by name, as tests are
    from recalculation import members_of
else:
    from .recalculation import members_of

# Sheets of rows and zones are some hundred kilobytes and more; all others are read together.
LARGE_BYTES = 100_000
_EMPTY = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData/></worksheet>'


def _first_cell(area: MergedCellRange) -> None:
    area.start_cell = area.ws._cells.get((area.min_row, area.min_col)) or area.ws.cell(area.min_row, area.min_col)


# Borders of merged cells, which no test looks at, take half of the time of reading.
MergedCellRange._get_borders, MergedCellRange.format = _first_cell, lambda area: None


class Book:
    """A workbook in which a large sheet is read when it is first asked for.

    Parameters
    ----------
    content : bytes
    options
        Of ``openpyxl.load_workbook``, such as ``data_only``.
    """

    def __init__(self, content: bytes, **options):
        self.content, self.options = content, options
        self._members = members_of(content)
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            self._large = {n for n, part in self._members.items() if archive.getinfo(part).file_size > LARGE_BYTES}
        self._read = {}

    @property
    def sheetnames(self) -> list[str]:
        """Names of all sheets in order."""
        return list(self._members)

    @cached_property
    def small(self):
        """The workbook with its large sheets empty."""
        return self._opened(set(self._members) - self._large)

    @property
    def defined_names(self):
        """Names of the whole workbook."""
        return self.small.defined_names

    @property
    def worksheets(self) -> list:
        """All sheets in order, the large ones among them."""
        missing = self._large - set(self._read)
        if missing:
            made = self._opened(missing)
            self._read |= {name: made[name] for name in missing}
        return [self[name] for name in self._members]

    def __getitem__(self, name: str):
        if name not in self._large:
            return self.small[name]
        if name not in self._read:
            self._read[name] = self._opened({name})[name]
        return self._read[name]

    def only(self, *names: str):
        """The workbook with these sheets, and all others empty: quicker than all the small ones."""
        return self._opened(set(names))

    def _opened(self, names: set[str]):
        emptied = {part for name, part in self._members.items() if name not in names}
        relations = {part.replace("worksheets/", "worksheets/_rels/") + ".rels" for part in emptied}
        out = io.BytesIO()
        with zipfile.ZipFile(io.BytesIO(self.content)) as archive, zipfile.ZipFile(out, "w") as made:
            for name in archive.namelist():
                if name not in relations:
                    made.writestr(name, _EMPTY if name in emptied else archive.read(name))
        return openpyxl.load_workbook(out, **self.options)
