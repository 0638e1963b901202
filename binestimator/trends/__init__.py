"""Trend logs of a building's controls: what they say about the air handler as it runs.

The steps, each with a module of its own: ``tables`` (files of any layout), ``times`` (stamps of any form), ``cells``
(text to numbers), ``point_units`` (to the units of the program), ``points`` with two tables (kinds of points and the
words they are known by), ``series`` (columns, or lines that name a point), ``point_map``, ``draft`` and ``map_file``
(which series is which point), ``log`` and ``gather`` (samples on a common time base, in bounded memory), ``cleaning``
(wrong ones counted and left out), ``days`` and ``paces`` (slots, and what fills them), ``quality`` (what the log is
worth), findings
(``running``, ``setpoints``, ``outdoor_air``, ``coils``, ``fans``, ``terminals``, ``match``), ``fragment`` and ``merge``
(inputs with evidence), ``report`` (text), ``study`` (all of it in order).
"""
