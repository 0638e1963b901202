"""Formulas of the workbook: from inputs and rows to the annual figures."""
