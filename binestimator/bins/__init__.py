"""Groups of like hours, and the few rows that represent them.

Hours are grouped by outdoor-temperature bin and running mode. Two ways to represent the
hours of a group: :func:`mean_rows` (one row at mean conditions, the classic bin method)
and :func:`representative_rows` (a few real hours with weights). The second exists because
the model is not linear: the mean of max(0, x), of a clipped flow and of a cube differ from
the same functions of the mean, so mean rows put reheat and fan energy low.

Representative rows are found in two steps, with numpy alone and always with a feasible
answer, since the hours with their own weights satisfy every condition:

1. *Recombination* in each group: hours are removed and their weight moved to others along
   null vectors of the moment matrix, which leaves hours, temperature, moisture and the
   group's principal directions of the match columns exact and no weight negative, with as
   many hours left as there are moments (Caratheodory's theorem, by pivoting).
2. *Elimination* over the year, down to the row limit: the hour goes whose removal, when all
   other weights move to make up for it, adds least to the squared error that is expected:
   of the match columns over the year and in each rate period, of strategies that differ from
   those columns here and there (below), and of what no column shows (unevenness of weights).
   Hours, temperature and moisture of each group stay exact; a step that would make a weight
   negative stops at zero.

A strategy that is not among the match columns follows one setting in some hours and another
in others, and like hours get like settings. Its cost less that of the mean setting is taken
for a random combination of the ways in which settings differ (*variation*), whose factors
are the more alike the nearer two hours are (*place*): covariance v_i . v_j exp(-distance).
The expected squared error of weights is then a quadratic form, as in Bayesian quadrature. Where
cost jumps with a setting, as where mechanical cooling stops at once, an hour is on one side or
the other by itself, and what counts is the square of its own weight (*jump*).

References
----------
C. Litterer and T. Lyons, High order recombination and an application to cubature on Wiener
space, Annals of Applied Probability 22 (2012), section 3 (recombination by blocks; from
memory). B. Hassibi and D. Stork, Second order derivatives for network pruning: optimal
brain surgeon, NIPS 1992 (removal at least squared error with all others readjusted; from
memory). A. O'Hagan, Bayes-Hermite quadrature, Journal of Statistical Planning and Inference 29
(1991) (weights of least expected squared error under a covariance; from memory). The
combination is this project's.
"""

from .groups import group_keys, mean_rows, split_groups
from .rows import (
    EXACT_TOLERANCE,
    MAX_ROWS,
    METHOD_MOMENTS,
    METHOD_REPRESENTATIVE,
    RESERVED_ROWS,
    RowSelection,
    representative_rows,
)
from .tables import bin_table, row_table

__all__ = [
    "EXACT_TOLERANCE",
    "MAX_ROWS",
    "METHOD_MOMENTS",
    "METHOD_REPRESENTATIVE",
    "RESERVED_ROWS",
    "RowSelection",
    "bin_table",
    "group_keys",
    "mean_rows",
    "representative_rows",
    "row_table",
    "split_groups",
]
