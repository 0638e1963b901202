"""What to do with the results: which assumptions they depend on, and which option is the best value."""

from .advise import advise, estimate_and_advise

__all__ = ["advise", "estimate_and_advise"]
