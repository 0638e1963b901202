"""Which uncertain inputs the spread of a saving comes from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ..dataclass import dataclass

#: Polynomials of a share u that stand for the effect of an input: to this degree.
DEGREE = 2
#: Shares at which an input is shown low and high.
LOW, HIGH = 0.1, 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """What one input does to a saving: mean of the saving where it is at P10 and at P90 and all others vary, and the
    share of the variance that would go if it were known [0-1]."""

    low: float
    high: float
    share: float


def _polynomials(u) -> np.ndarray:
    """Legendre polynomials of 2u - 1 from the first degree on; without mean over evenly spread u. (..., DEGREE)"""
    x = 2.0 * np.asarray(u, dtype=float) - 1.0
    return np.stack([x, 1.5 * x * x - 0.5][:DEGREE], axis=-1)


class Effects:
    """Fits of draws by a sum of functions of one input each.

    The sum leaves what inputs do together; it stands for none of the draws, whose percentiles are their own.

    Parameters
    ----------
    shares : mapping
        Key of an input -> its share in each draw, (N,).
    together : mapping
        Key -> keys of inputs that are correlated with it.
    levels : mapping, optional
        Key of an input that is one of a few things -> which one in each draw, (N,) of int from the low end: a mean
        for each in place of polynomials.
    """

    def __init__(
        self,
        shares: Mapping[str, np.ndarray],
        together: Mapping[str, Sequence[str]],
        levels: Mapping[str, np.ndarray] | None = None,
    ):
        columns = {key: _polynomials(values) for key, values in shares.items()}
        ends = {key: _polynomials(np.array([LOW, HIGH])) for key in shares}
        for key, values in (levels or {}).items():
            found = np.unique(values)
            columns[key] = (values[:, None] == found[1:]).astype(float)
            ends[key] = np.stack([np.zeros(len(found) - 1), (found[1:] == found[-1]).astype(float)])
        self.keys, self.together = list(columns), together
        self.blocks = {key: block - block.mean(axis=0) for key, block in columns.items()}
        self.ends = {key: ends[key] - block.mean(axis=0) for key, block in columns.items()}
        self.matrix = np.concatenate(list(self.blocks.values()), axis=1) if columns else np.zeros((0, 0))

    def of(self, values) -> dict[str, Effect]:
        """Effect of each input on a quantity (N,)."""
        values = np.asarray(values, dtype=float)
        mean, variance = float(values.mean()), float(values.var())
        if variance <= 0.0 or not self.keys:
            return {}
        # Normal equations: columns are nearly orthogonal, since draws are spread evenly.
        square = self.matrix.T @ self.matrix
        right = self.matrix.T @ (values - mean)
        found = np.linalg.lstsq(square, right, rcond=1e-10)[0]
        sizes = np.cumsum([self.blocks[key].shape[1] for key in self.keys])
        weights = dict(zip(self.keys, np.split(found, sizes[:-1]), strict=True))
        out = {}
        for key in self.keys:
            own, block = weights[key], self.blocks[key]
            others = [other for other in self.together.get(key, ()) if other in self.blocks]
            if others:
                # What is known of correlated inputs once this one is known.
                beside = sum(self.blocks[other] @ weights[other] for other in others)
                own = own + np.linalg.lstsq(block.T @ block, block.T @ beside, rcond=1e-10)[0]
            at = self.ends[key] @ own
            share = float((block @ own).var()) / variance
            out[key] = Effect(low=mean + float(at[0]), high=mean + float(at[1]), share=min(max(share, 0.0), 1.0))
        return out
