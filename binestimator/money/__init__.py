"""Energy prices and what a candidate costs and is worth."""

from binestimator.money.payback import Payback, simple_payback_years
from binestimator.money.prices import annual_cost_by_source_usd, annual_cost_usd

__all__ = ["Payback", "annual_cost_by_source_usd", "annual_cost_usd", "simple_payback_years"]
