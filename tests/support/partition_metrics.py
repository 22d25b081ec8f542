"""How alike two partitions of the same line are, by published definitions.

A partition is given by the places where it changes; the ends of the line are not among them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def covering(
    annotations: Sequence[Iterable[float]], predicted: Iterable[float], length: float
) -> float:
    """How well predicted stretches cover the annotated ones: 1 where they are the same.

    Each annotated stretch counts, by its length, with the greatest Jaccard index that any
    predicted stretch has with it (Arbeláez, Maire, Fowlkes, Malik 2011, IEEE TPAMI 33:898; for
    time series van den Burg and Williams 2020, arXiv:2003.06222).

    Parameters
    ----------
    annotations : changes that each annotator saw; the mean over annotators is taken.
    predicted : changes predicted.
    length : length of the line, in the same unit.
    """
    found = _edges(predicted, length)
    return float(np.mean([_cover(_edges(changes, length), found) for changes in annotations]))


def f_measure(
    annotations: Sequence[Iterable[float]], predicted: Iterable[float], *, margin: float = 5.0
) -> float:
    """Harmonic mean of precision and recall of changes, each right within a margin.

    The start counts as a change for everyone, so that no set is empty. Precision is taken
    against all annotators' changes together, recall is the mean over annotators; no prediction
    serves two changes, and exactly a margin off still counts (van den Burg and Williams 2020,
    arXiv:2003.06222).

    Parameters
    ----------
    annotations : changes that each annotator saw.
    predicted : changes predicted.
    margin : farthest that a change may be off, in the same unit.
    """
    found = sorted({0.0, *predicted})
    truths = [{0.0, *changes} for changes in annotations]
    everyone = set[float]().union(*truths)
    precision = _hits(everyone, found, margin) / len(found)
    recall = float(np.mean([_hits(truth, found, margin) / len(truth) for truth in truths]))
    return 2.0 * precision * recall / (precision + recall)


def changes_of(labels: Sequence[object], edges: Sequence[float]) -> list[float]:
    """Places at which the label of a stretch differs from the one before.

    Parameters
    ----------
    labels : (k,) label of each stretch.
    edges : (k + 1,) ends of the stretches, never falling.
    """
    return [float(edges[at]) for at in range(1, len(labels)) if labels[at] != labels[at - 1]]


def _edges(changes: Iterable[float], length: float) -> FloatArray:
    inside = sorted({float(change) for change in changes if 0.0 < change < length})
    return np.array([0.0, *inside, float(length)])


def _cover(true: FloatArray, found: FloatArray) -> float:
    """Covering of one annotator's stretches, both given by all their edges."""
    start, end = true[:-1, None], true[1:, None]
    common = np.minimum(end, found[1:]) - np.maximum(start, found[:-1])
    either = np.maximum(end, found[1:]) - np.minimum(start, found[:-1])
    best = np.max(np.maximum(common, 0.0) / either, axis=1)
    return float(np.sum(np.diff(true) * best) / (true[-1] - true[0]))


def _hits(true: Iterable[float], found: Sequence[float], margin: float) -> int:
    """Changes that a prediction of their own lies within the margin of."""
    free = list(found)
    hits = 0
    for change in sorted(true):
        near = min(free, key=lambda place: abs(place - change), default=np.inf)
        if abs(near - change) <= margin:
            free.remove(near)
            hits += 1
    return hits
