"""Shares of what takes hours, for programs that are run by hand."""

import argparse


def share(text: str) -> tuple[int, int]:
    """``k/n`` as numbers, k from 1 to n: for an argument of a command."""
    part, _, parts = text.partition("/")
    if not (part.isdigit() and parts.isdigit() and 1 <= int(part) <= int(parts)):
        raise argparse.ArgumentTypeError(f"{text!r}: expected k/n such as 3/40, k from 1 to n")
    return int(part), int(parts)


def of_share(items: list, asked: tuple[int, int]) -> list:
    """The k-th item and every n-th after it."""
    part, parts = asked
    return items[part - 1 :: parts]
