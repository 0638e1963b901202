"""Sheets that all candidates with the same other inputs share: air handler, zones, loads row by row."""
