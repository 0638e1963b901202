"""Values of inputs as cells show them."""

from __future__ import annotations

from ...inputs.schema import value_text


def value_cell(value) -> float | str:
    """A value as a cell holds it: numbers as numbers, the rest as text."""
    if isinstance(value, bool) or value is None or isinstance(value, (str, tuple)):
        if value is None:
            return "not given"
        if isinstance(value, tuple) and value and isinstance(value[0], tuple):
            return ", ".join(f"{x:g}: {y:g}" for x, y in value)
        if isinstance(value, tuple):
            return ", ".join(value_text(part) for part in value) if value else "none"
        return value if isinstance(value, str) else ("yes" if value else "no")
    return float(value)


def change_text(overrides) -> str:
    """Overrides of a candidate in one line: path and value."""
    parts = []
    for path, value in overrides.items():
        shown = "none" if value is None else value_cell(value)
        parts.append(f"{path} = {shown if isinstance(shown, str) else format(shown, 'g')}")
    return "; ".join(parts)


def number_text(value: float) -> str:
    """A value in a sentence, without false digits."""
    return f"{value:,.0f}" if abs(value) >= 10000 else f"{value:,.5g}"


def number_style(value: float) -> str:
    """Number style that shows a value without false digits."""
    if float(value).is_integer():
        return "f0" if abs(value) >= 1000 else "general"
    size = abs(value)
    return (
        "f0" if size >= 10000 else "f1" if size >= 100 else "f2" if size >= 10 else "f3" if size >= 0.001 else "general"
    )
