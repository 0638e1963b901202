"""What a reader should do with the results: what the answer hangs on, and what is worth its money."""

from .advise import advise, estimate_and_advise

__all__ = ["advise", "estimate_and_advise"]
