"""What each command does. Libraries are loaded by the command that needs them."""

from binestimator.commands.bins import run_bins
from binestimator.commands.estimate import run_estimate
from binestimator.commands.form import run_form
from binestimator.commands.inputs import run_inputs
from binestimator.commands.quick import run_quick
from binestimator.commands.realised import run_plan_measurement, run_realised
from binestimator.commands.trends import run_trends

__all__ = [
    "run_bins",
    "run_estimate",
    "run_form",
    "run_inputs",
    "run_plan_measurement",
    "run_quick",
    "run_realised",
    "run_trends",
]
