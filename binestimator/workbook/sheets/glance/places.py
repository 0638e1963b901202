"""Rows of the first page that others know of."""

from __future__ import annotations

# Rows of the page. Above the answer is what the baseline is known to fail in; below the key figures is whether an edit
# made anything of the run stale. Behind the remarks under the table, on the second page, come lines for reviews, empty
# until an input is edited: what was claimed, what the formulas give with the inputs now in the file, and their ratio.
KNOWN_ROW, ANSWER_ROW, FIGURES_ROW, STALE_ROW, TABLE_HEAD_ROW = 3, 4, 6, 10, 12
FIRST_ROW = TABLE_HEAD_ROW + 2
REVIEW_LINES = ("claimed", "reviewed", "ratio")
