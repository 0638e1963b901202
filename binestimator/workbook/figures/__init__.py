"""Figures and sentences that the sheets show and that are not in the results as such.

Pure functions of the results; the formulas of the sheets say the same.

``amounts`` rounded money, shares, costs by end use · ``words`` for options, setpoints, inputs · ``ranged`` how sure
figures are · ``presented`` the option of the first page and its sentences · ``value`` from cheap to expensive ·
``holdbacks`` what keeps options from a rank.
"""

from .amounts import (
    bin_claims,
    check_counts,
    cost_by_end_use,
    in_percent,
    money,
    money_step,
    percent,
    rounded,
    runs_at_all,
    same_line,
    step_for,
    use_step,
    used_end_uses,
    when_text,
)
from .holdbacks import DEFEATS_FRAC, holdback_lines, holdbacks, risk_lines
from .presented import advised, answer, basis_text, failing_text, key_figures, known_text, today, what_moves
from .ranged import drawn, driver_lines, sure_lines
from .value import bound_text, value_lines
from .words import DSP_WORDS, SAT_WORDS, number_of, options, plain_words, setpoint_words, with_numbers

__all__ = [
    "DEFEATS_FRAC",
    "DSP_WORDS",
    "SAT_WORDS",
    "advised",
    "answer",
    "basis_text",
    "bin_claims",
    "bound_text",
    "check_counts",
    "cost_by_end_use",
    "drawn",
    "driver_lines",
    "failing_text",
    "holdback_lines",
    "holdbacks",
    "in_percent",
    "key_figures",
    "known_text",
    "money",
    "money_step",
    "number_of",
    "options",
    "percent",
    "plain_words",
    "risk_lines",
    "rounded",
    "runs_at_all",
    "same_line",
    "setpoint_words",
    "step_for",
    "sure_lines",
    "today",
    "use_step",
    "used_end_uses",
    "value_lines",
    "what_moves",
    "when_text",
    "with_numbers",
]
