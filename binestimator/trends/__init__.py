"""Trend logs of a building's controls: what they say about the air handler as it runs.

The steps, each with a module of its own: ``tables`` (files of any layout), ``times`` (stamps of any form), ``cells``
(text to numbers), ``point_units`` (to the units of the program), ``points`` with two tables (kinds of points and the
words they are known by), ``point_map`` and ``draft`` (which column is which point), ``gather`` (samples to a common
time
base, in bounded memory, wrong ones counted and left out), ``quality`` (what the log is worth), findings
(``running``, ``setpoints``, ``outdoor_air``, ``coils``, ``fans``, ``terminals``, ``match``), ``fragment`` and ``merge``
(inputs with evidence), ``report`` (text), ``study`` (all of it in order).
"""
