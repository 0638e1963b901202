"""Results and bins as text for a terminal. Pure: results and width in, text out.

Plain ASCII apart from what the user's own files hold, so that every terminal can show it.

``line`` width, numbers, marks · ``compared`` the comparison and the review beside it · ``steps`` runs at time
steps · ``worth`` money, ranges, advice · ``bin_table`` the bins.
"""

from .bin_table import bins
from .compared import comparison, quick_check, reviewed
from .line import LEAST_WIDTH, WIDTH, tenths, whole

__all__ = [
    "LEAST_WIDTH",
    "WIDTH",
    "bins",
    "comparison",
    "quick_check",
    "reviewed",
    "tenths",
    "whole",
]
