"""Estimates of supply air temperature and duct static pressure reset strategies."""

__version__ = "0.1.0"
