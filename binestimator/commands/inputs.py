"""``binestimator inputs``: the reference of the inputs."""

from __future__ import annotations

from binestimator.console import say
from binestimator.errors import InputError


def run_inputs(args) -> None:
    """Print the reference of the inputs, or of one section."""
    from binestimator.inputs.reference import documentation_markdown
    from binestimator.inputs.schema import SECTIONS, TERM_SECTIONS, title_of
    from binestimator.inputs.values import did_you_mean

    text = documentation_markdown()
    if args.section is not None:
        known = (*SECTIONS, *TERM_SECTIONS)
        if args.section not in known:
            hint = did_you_mean(args.section, known)
            raise InputError(f"{args.section}: unknown section; {hint or 'known are ' + ', '.join(known)}")
        start = text.index(f"## {title_of(args.section)}\n")
        end = text.find("\n## ", start)
        text = text[start : len(text) if end < 0 else end]
    say(args, text.rstrip())
