"""Covariance of the heights at some nodes, from the factor of the information matrix.

Given what lies at one node, what was before it is independent of what comes after it. So the
unknowns at the nodes asked for are a Markov chain: each is linear in those at the next one, with a
remainder of its own. Both follow from the stretch of the Cholesky factor between the two nodes
alone (Rue and Held 2005, Gaussian Markov Random Fields, section 2.4.1: the factor is solved
backwards, and what is solved depends on the later unknowns alone), and covariances follow along
the chain. Nothing as long as the ride times the nodes asked for is needed.
"""

from __future__ import annotations

import numpy as np

from wherewatt.arrays import FloatArray, IntArray
from wherewatt.terrain.bands import forward
from wherewatt.terrain.information import BAND
from wherewatt.terrain.model import HEIGHT, STATES

_JOINT = STATES + 2  # unknowns that part a ride: those of a node, height and tile error of the next

Stretch = tuple[FloatArray, FloatArray]
Stretches = dict[tuple[int, int], Stretch]


def height_covariance(factor: FloatArray, node: IntArray, known: Stretches) -> FloatArray:
    """(j, j) covariance of the height at some nodes [m²].

    Parameters
    ----------
    factor : (9, 4k) lower Cholesky factor of the information matrix, in bands.
    node : (j,) different nodes in order.
    known : stretches of this factor that were looked at before; those that are new are added.
    """
    starts = [*(STATES * node).tolist(), factor.shape[1]]
    coupling = _couplings(factor, node)
    covariance = np.empty((len(node), len(node)))
    # Covariance of what lies at a node with itself and, behind, with the heights at later nodes.
    chain = np.zeros((_JOINT, _JOINT + len(node)))
    for index in range(len(node) - 1, -1, -1):
        stretch = starts[index], starts[index + 1]
        if stretch not in known:
            known[stretch] = _stretch(factor[:, slice(*stretch)], coupling[index])
        step, remainder = known[stretch]
        chain = step @ chain
        chain[:, :_JOINT] = chain[:, :_JOINT] @ step.T + remainder
        chain[:, _JOINT + index] = chain[:, HEIGHT]
        covariance[index] = chain[HEIGHT, _JOINT:]
    upper = np.triu(covariance)
    return upper + np.triu(covariance, 1).T


def _stretch(factor: FloatArray, coupling: FloatArray) -> Stretch:
    """How the unknowns at the start of a stretch follow from those behind its end.

    Returns
    -------
    (6, 6) what they are times those behind its end, and (6, 6) covariance of the remainder.
    """
    length = factor.shape[1]
    unit = np.zeros((_JOINT, length))
    unit.ravel()[:: length + 1] = 1.0
    if length >= _JOINT:
        solved = forward(factor, unit.T)
        return solved[-BAND:].T @ coupling[-length:], solved.T @ solved
    # The next node is asked for too: its height and tile error are the first behind the end.
    solved = forward(factor, unit[:length].T)
    step, remainder = np.zeros((_JOINT, _JOINT)), np.zeros((_JOINT, _JOINT))
    step[:length] = solved.T @ coupling[-length:]
    step[length:, : _JOINT - length] = np.eye(_JOINT - length)
    remainder[:length, :length] = solved.T @ solved
    return step, remainder


def _couplings(factor: FloatArray, node: IntArray) -> FloatArray:
    """(j, 8, 6) what the unknowns at the next node asked for add to the eight before them.

    Behind the last one there is none, and nothing is added.
    """
    column, row = np.arange(-BAND, 0)[:, np.newaxis], np.arange(_JOINT)
    below = row - column
    at = STATES * node[1:, np.newaxis, np.newaxis] + column
    known = (below <= BAND) & (at >= 0)
    joins = np.zeros((len(node), BAND, _JOINT))
    joins[:-1] = np.where(known, -factor[np.minimum(below, BAND), np.maximum(at, 0)], 0.0)
    return joins
