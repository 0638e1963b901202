"""Look of the workbook: palette and cell styles, each described once."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from ..end_uses import ENERGY_KEYS
from ..inputs.schema import USUAL_CURRENCY
from .strict import BOOK_FONT, Book

FONT = BOOK_FONT

INK = "#1E2B33"
PETROL = "#17414A"
LAGOON = "#3C8DA8"
MIST = "#E7F0F1"
RULE = "#C2CED2"
SLATE = "#5F6F78"
PAPER = "#FFFFFF"
SAND = "#F6F1E4"
OCHRE = "#A85F00"
OCHRE_PALE = "#FBEBD0"
MOSS = "#2F6B3C"
MOSS_PALE = "#E3F0E0"
BRICK = "#9C2F1F"
BRICK_PALE = "#F8E0DA"

# End uses: hue and lightness both differ between neighbours, so that stacks read in grey too.
# One for each end use in their order; the last ones are for those to come.
_USE_COLOURS = (PETROL, LAGOON, "#A9D3DC", "#8C3B20", "#E3A04F", "#C9DCC2", "#6C7F3E", "#B9A5CF", "#55606B")
END_USE_COLOURS = dict(zip(ENERGY_KEYS, _USE_COLOURS, strict=False))

# Lines of options: colour, dash, marker and its fill. No two share dash and marker: they can be told apart in grey.
LINES = (
    (INK, "solid", "square", INK),
    (LAGOON, "dash", "diamond", PAPER),
    (OCHRE, "round_dot", "triangle", OCHRE),
    (MOSS, "long_dash_dot", "circle", PAPER),
    (BRICK, "solid", "x", PAPER),
    ("#6B4E8C", "dash", "star", PAPER),
    (SLATE, "round_dot", "plus", PAPER),
    ("#B58900", "long_dash_dot", "square", PAPER),
)

# Origin of an input: mark and word. The mark is also behind numbers in tables of inputs.
ORIGINS = {
    "given": ("●", "given", "Given in the project file"),
    "default": ("○", "default", "Not given: the program's default, with its source"),
    "derived": ("△", "derived", "Follows from other inputs, such as zones from the quick description"),
    "sized": ("□", "sized", "Not given: sized once from the as-found run and held for all options"),
}


def _signed(code: str, zero: str) -> str:
    """A code that shows plus and minus; the minus sign is a quoted text, as characters beyond ASCII must be."""
    return f'+{code};"−"{code};{zero}'


#: Currency of the workbook in the making; the sign of any other than the usual one is its name before the number.
_currency: ContextVar[str] = ContextVar("_currency", default=USUAL_CURRENCY)


@contextmanager
def in_currency(name: str) -> Iterator[None]:
    """Amounts of money are written in this currency meanwhile."""
    token = _currency.set(name)
    try:
        yield
    finally:
        _currency.reset(token)


def currency_name() -> str:
    """Currency of the workbook in the making, for headings."""
    return _currency.get()


def money_words(text: str) -> str:
    """A heading or unit of the program, which says USD, in the currency of the workbook in the making."""
    name = _currency.get()
    return text if name == USUAL_CURRENCY else re.sub(r"\bUSD\b", lambda found: name, text)


def currency_sign() -> str:
    """What stands before an amount of money."""
    return "$" if _currency.get() == USUAL_CURRENCY else f"{_currency.get()} "


NUMBERS = {
    "f0": "#,##0",
    "f1": "#,##0.0",
    "f2": "#,##0.00",
    "f3": "#,##0.000",
    "f4": "0.0000",
    "f5": "0.00000",
    "f6": "0.000000",
    "general": "General",
    "sci": "0.00E+00",
    "signed": _signed("#,##0", "0"),
    "signed1": _signed("#,##0.0", "0.0"),
    "error": _signed("0.000", "0.000"),
    "signed_pct": _signed("0.0%", "0.0%"),
    "pct0": '0%;"−"0%;0%',
    "pct2": '0.00%;"−"0.00%;0.00%',
    "pct2_signed": _signed("0.00%", "0.00%"),
    "diff_pct": _signed("0.000%", "0.000%"),
    "usd": "$#,##0",
    "usd_signed": _signed("$#,##0", "$0"),
    "usd_short": '[>=9999999.5]$#,##0.0,,"M";$#,##0',
    "usd2": "$#,##0.00",
    "usd2_signed": _signed("$#,##0.00", "$0.00"),
    "years": '[>=999.95]"over 999";0.0',
    # Cells for text: what looks like a date or a formula stays what was typed.
    "as_text": "@",
}

_BASE = {"font_name": FONT, "font_size": 9, "font_color": INK, "valign": "vcenter"}

PIECES: dict[str, dict[str, object]] = {
    "body": {},
    "text": {},
    "text_small": {"font_size": 8, "text_wrap": True, "valign": "top"},
    "small": {"font_size": 8},
    "wrap": {"text_wrap": True, "valign": "top"},
    "top": {"valign": "top"},
    "middle": {"valign": "vcenter"},
    "bold": {"bold": True},
    "plain": {"bold": False},
    "large": {"font_size": 10},
    "inset": {"indent": 1},
    "left": {"align": "left"},
    "right": {"align": "right"},
    "centre": {"align": "center"},
    "quiet": {"font_color": SLATE},
    "italic": {"italic": True},
    "line": {"bottom": 1, "bottom_color": RULE},
    "line_top": {"top": 1, "top_color": PETROL},
    "title": {"font_size": 18, "bold": True, "font_color": PETROL},
    "sheet_title": {"font_size": 14, "bold": True, "font_color": PETROL},
    "subtitle": {"font_size": 10, "font_color": SLATE},
    "section": {"bold": True, "font_size": 11, "font_color": PETROL, "bottom": 2, "bottom_color": PETROL},
    "head": {
        "bold": True,
        "font_color": PAPER,
        "bg_color": PETROL,
        "text_wrap": True,
        "align": "center",
        "border": 1,
        "border_color": PETROL,
    },
    "head_left": {
        "bold": True,
        "font_color": PAPER,
        "bg_color": PETROL,
        "text_wrap": True,
        "align": "left",
        "border": 1,
        "border_color": PETROL,
    },
    "step": {"bold": True, "font_color": PAPER, "bg_color": LAGOON, "align": "left", "left": 1, "left_color": PAPER},
    "units": {
        "italic": True,
        "font_size": 8,
        "font_color": SLATE,
        "bg_color": MIST,
        "align": "center",
        "text_wrap": True,
        "bottom": 1,
        "bottom_color": RULE,
    },
    "total": {"bold": True, "bg_color": MIST, "top": 1, "bottom": 1, "top_color": PETROL, "bottom_color": PETROL},
    "subtotal": {"bg_color": MIST, "bottom": 1, "bottom_color": RULE},
    "agree": {
        "font_color": MOSS,
        "italic": True,
        "align": "right",
        "bg_color": MIST,
        "bottom": 1,
        "bottom_color": PETROL,
    },
    "best": {"bold": True, "bg_color": MOSS_PALE},
    "base": {"bg_color": SAND},
    "flagged": {"italic": True, "font_color": BRICK},
    "good": {"bold": True, "font_color": MOSS, "bg_color": MOSS_PALE, "align": "center"},
    "explain": {"bold": True, "font_color": OCHRE, "bg_color": OCHRE_PALE, "align": "center"},
    "bad": {
        "bold": True,
        "font_color": BRICK,
        "bg_color": BRICK_PALE,
        "align": "center",
        "border": 1,
        "border_color": BRICK,
    },
    "caution": {
        "font_color": INK,
        "bg_color": OCHRE_PALE,
        "text_wrap": True,
        "left": 5,
        "left_color": OCHRE,
        "indent": 1,
    },
    "known": {
        "font_size": 9,
        "bold": True,
        "font_color": INK,
        "bg_color": OCHRE_PALE,
        "text_wrap": True,
        "left": 5,
        "left_color": OCHRE,
        "indent": 1,
    },
    "answer": {
        "font_size": 10,
        "bold": True,
        "font_color": PETROL,
        "bg_color": MIST,
        "text_wrap": True,
        "left": 5,
        "left_color": PETROL,
        "indent": 1,
    },
    # Key figures of the summary: label, figure, remark, one below the other.
    "tile_label": {
        "font_size": 9,
        "bold": True,
        "font_color": SLATE,
        "bg_color": MIST,
        "top": 5,
        "top_color": PETROL,
        "text_wrap": True,
        "left": 5,
        "left_color": PAPER,
        "align": "left",
        "indent": 1,
    },
    "tile_figure": {
        "font_size": 11,
        "bold": True,
        "font_color": PETROL,
        "bg_color": MIST,
        "left": 5,
        "left_color": PAPER,
        "align": "left",
        "indent": 1,
    },
    "tile_remark": {
        "font_size": 9,
        "bg_color": MIST,
        "left": 5,
        "left_color": PAPER,
        "align": "left",
        "text_wrap": True,
        "valign": "top",
        "indent": 1,
    },
    # Band for what a reviewer or an edited input changes.
    "claim": {"bg_color": SAND, "top": 1, "bottom": 1, "top_color": RULE, "bottom_color": RULE},
    "stale": {"bold": True, "font_color": INK, "bg_color": OCHRE_PALE},
    "link": {"font_color": LAGOON, "underline": 1},
    # Cells of a form: those of the user, those of the reviewer, what counts, and the keys cells are found by.
    "entry": {"bg_color": SAND, "border": 4, "border_color": RULE},
    "entry_filled": {"bg_color": SAND, "bold": True, "border": 1, "border_color": RULE},
    "review": {"bg_color": PAPER, "border": 3, "border_color": MOSS},
    "counts": {"bg_color": MIST, "bottom": 1, "bottom_color": RULE},
    "key": {"font_size": 6, "font_color": SLATE},
    "band": {"bold": True, "font_color": PAPER, "bg_color": LAGOON, "align": "left"},
    # Kinds of input cell: fill and, so that it survives a grey print, a mark behind the number.
    "given": {"bg_color": SAND, "bold": True},
    "default": {"font_color": SLATE},
    "derived": {"italic": True},
    "sized": {"italic": True, "bg_color": MIST},
}


class Styles:
    """Cell formats of one book by the names of their pieces, later pieces on top.

    Examples
    --------
    ``styles("f1", "line")`` is a number with one decimal and a hairline below.
    """

    def __init__(self, book: Book):
        self._book = book
        self._made: dict = {}
        sign = currency_sign()
        self._sign = sign if sign == "$" else '"' + sign.replace('"', "") + '"'

    def __call__(self, *pieces: str, mark: str = ""):
        """Format of these pieces; ``mark`` is printed behind numbers."""
        key = (pieces, mark)
        found = self._made.get(key)
        if found is None:
            properties: dict[str, object] = dict(_BASE)
            for piece in pieces:
                if piece in NUMBERS:
                    properties["num_format"] = NUMBERS[piece].replace("$", self._sign)
                else:
                    properties.update(PIECES[piece])
            if mark:
                code = str(properties.get("num_format", "General"))
                properties["num_format"] = ";".join(f'{part}" {mark}"' for part in code.split(";"))
            found = self._made[key] = self._book.format(**properties)
        return found
