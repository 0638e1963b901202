"""Tables of trend logs: text files of any delimiter and encoding, and workbooks.

A file is looked at first: a part of its beginning, of its end and from between. That tells encoding, delimiter, decimal
sign, lines of heading (names, units, classes), columns of time, and whether each point has its column (wide) or each
line names its point (long). Then it is read in pieces of bounded size.

``table`` a table that was looked at, and its reading · ``headings`` what headings and first lines say ·
``text_files``, ``workbooks`` what is looked at of each.
"""

from .headings import BAD_STATUS
from .table import Table
from .text_files import look

__all__ = [
    "BAD_STATUS",
    "Table",
    "look",
]
