"""Columns of a candidate's rows, a module a step of the calculation; ``candidate`` puts them in order."""
