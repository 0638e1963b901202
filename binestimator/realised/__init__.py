"""After the work: what trend logs of the time before and after a reset say was saved, and how long to measure.

``hours`` (a log to hours with their energy), ``spread`` (how measured hours scatter about weather, day by day),
``compare`` (both periods brought to the typical year, with an interval), ``year`` (the claim in the hours of the
typical
year, and the model at measured setpoints), ``changes`` (what else differs between both periods), ``defeated`` (what
kept
the reset from acting), ``plan`` (points, interval and weeks that prove a saving), ``study`` (all of it in order),
``report`` (text and plain data).
"""
