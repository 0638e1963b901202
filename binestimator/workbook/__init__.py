"""The workbook of an estimate: formatted, printable, laid out so that each column can become a formula.

``strict`` is the only way to the spreadsheet library, ``layout`` the only place that knows
addresses, ``sheets`` holds one module a sheet, ``write`` puts files in place.
"""

from .write import workbook_bytes, write_results_json, write_workbook

__all__ = ["workbook_bytes", "write_results_json", "write_workbook"]
