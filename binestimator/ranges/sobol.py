"""Scrambled Sobol' points: draws that fill the unit cube evenly, the same bytes on every machine.

The general-purpose library that has them takes longer to load than all other libraries of a run together, so they are
made here from published direction numbers (``sobol.csv``); a test holds them against that library.

References
----------
S. Joe and F. Y. Kuo, Constructing Sobol' sequences with better two-dimensional projections, SIAM J. Sci. Comput. 30
(2008) 2635-2654: polynomials and initial numbers of the first 48 dimensions. J. Matousek, On the L2-discrepancy for
anchored boxes, J. Complexity 14 (1998) 527-556: scrambling by lower triangular matrices and a shift.
"""

from __future__ import annotations

import csv
import functools
from importlib import resources

import numpy as np

#: Binary digits of a point.
BITS = 30


@functools.cache
def _direction_numbers() -> np.ndarray:
    """Direction numbers of all dimensions as integers of ``BITS`` digits. (dimensions, BITS)"""
    text = resources.files(__package__).joinpath("sobol.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    out = np.zeros((len(rows), BITS), dtype=np.uint64)
    for place, row in enumerate(rows):
        polynomial = int(row["polynomial"])
        degree = polynomial.bit_length() - 1
        m = [int(text) for text in row["initial"].split()]
        if degree == 0:
            m = [1] * BITS
        for k in range(len(m), BITS):
            # m_k = 2 a_1 m_(k-1) ^ 4 a_2 m_(k-2) ^ ... ^ 2^s m_(k-s) ^ m_(k-s) with the digits a of the polynomial.
            new = m[k - degree]
            for j in range(1, degree + 1):
                if polynomial >> (degree - j) & 1:
                    new ^= m[k - j] << j
            m.append(new)
        out[place] = [value << (BITS - 1 - k) for k, value in enumerate(m)]
    return out


def most_dimensions() -> int:
    """How many dimensions there are numbers for."""
    return len(_direction_numbers())


def sobol(count: int, dimensions, seed: int | None) -> np.ndarray:
    """Sobol' points, scrambled by a seed. (count, dimensions) in (0, 1)

    Parameters
    ----------
    count : int
        A power of two; the first 2^k points are balanced for every k.
    dimensions : range or int
        Which dimensions of the sequence, the first ones of a number.
    seed : int or None
        None: not scrambled, in the order of binary numbers (not that of Gray's code).

    Raises
    ------
    ValueError
        The count is no power of two, or there are no numbers for so many dimensions.
    """
    which = range(dimensions) if isinstance(dimensions, int) else dimensions
    table = _direction_numbers()
    levels = count.bit_length() - 1
    if count < 1 or count != 1 << levels or levels > BITS:
        raise ValueError(f"count: {count} is no power of two up to 2^{BITS}")
    if len(which) and max(which) >= len(table):
        raise ValueError(f"dimensions: {max(which) + 1} are more than the {len(table)} in sobol.csv")
    numbers = table[list(which)]
    shift = np.zeros(len(numbers), dtype=np.uint64)
    if seed is not None:
        numbers, shift = _scrambled(numbers, seed)
    points = shift[None, :].copy()
    for level in range(levels):
        points = np.concatenate([points, points ^ numbers[:, level]])
    return (points.astype(float) + 0.5) / 2.0**BITS


def _scrambled(numbers: np.ndarray, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Direction numbers times random lower triangular matrices of bits, and a random shift of each dimension.

    The bits are those of the generator itself, whose stream is fixed for all versions and machines.
    """
    generator = np.random.PCG64(seed)
    count = len(numbers)
    raw = generator.random_raw(count * (1 + BITS)) >> np.uint64(64 - BITS)
    shift, rows = raw[:count], raw[count:].reshape(count, BITS)
    # Row r of the matrix makes digit r (from the front) of the digits 0..r of a number: random before, one at r.
    digit = np.uint64(1) << np.arange(BITS - 1, -1, -1, dtype=np.uint64)
    before = np.uint64((1 << BITS) - 1) ^ (digit * np.uint64(2) - np.uint64(1))
    rows = (rows & before) | digit
    digits = _parity(numbers[:, None, :] & rows[:, :, None])
    return (digits * digit[:, None]).sum(axis=1, dtype=np.uint64), shift


def _parity(values: np.ndarray) -> np.ndarray:
    """1 where the number of ones among the binary digits is odd."""
    for step in (16, 8, 4, 2, 1):
        values = values ^ (values >> np.uint64(step))
    return values & np.uint64(1)
