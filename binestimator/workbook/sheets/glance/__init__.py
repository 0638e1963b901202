"""First the page that an owner reads, at full size: what changes, what it saves and costs.

Behind it a page of charts, what can go wrong and how sure it is.
"""

from .first import write
from .reviewed import write_review

__all__ = ["write", "write_review"]
