"""Covariance of the heights at some nodes, from the factor of the information matrix.

Given what lies at one node, what was before it is independent of what comes after it. So the
unknowns at the nodes asked for are a Markov chain: each is linear in those at the next one, with a
remainder of its own. Both follow from the stretch of the Cholesky factor between the two nodes
alone (Rue and Held 2005, Gaussian Markov Random Fields, section 2.4.1: the factor is solved
backwards, and what is solved depends on the later unknowns alone), and covariances follow along
the chain. Nothing as long as the ride times the nodes asked for is needed.

Stretches that know nothing of each other are one banded matrix too, and solved as one.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray, IntArray
from wherewatt.terrain.bands import forward
from wherewatt.terrain.information import BAND
from wherewatt.terrain.model import HEIGHT, STATES

_JOINT = STATES + 2  # unknowns that part a ride: those of a node, height and tile error of the next
_NEAR_END = np.arange(-BAND, 0)
_BLOCK = 16  # nodes whose chains are followed together
_TOGETHER = 5000  # nodes of stretches that are solved together


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """The unknowns at some nodes, each following from those at the next one.

    Parameters
    ----------
    node : (j,) different nodes in order.
    step : (j, 6, 6) what the unknowns at a node are times those at the next one; the last are of
        themselves.
    remainder : (j, 6, 6) covariance of what they are besides.
    """

    node: IntArray
    step: FloatArray
    remainder: FloatArray

    @classmethod
    def of(cls, factor: FloatArray, node: IntArray) -> Chain:
        """The chain of some nodes, in order.

        Parameters
        ----------
        factor : (9, 4k) lower Cholesky factor of the information matrix, in bands.
        """
        ends = np.append(node[1:], factor.shape[1] // STATES)
        return cls(node, *_stretches(factor, node, ends))

    def joined_by(self, factor: FloatArray, node: IntArray) -> Chain:
        """The same with more nodes: only stretches that they part are looked at again."""
        every = np.unique(np.concatenate([self.node, node]))
        ends = np.append(every[1:], factor.shape[1] // STATES)
        place = np.searchsorted(every, self.node)
        whole = ends[place] == np.append(self.node[1:], ends[-1])
        parted = np.ones(len(every), dtype=bool)
        parted[place[whole]] = False
        step, remainder = np.empty((2, len(every), _JOINT, _JOINT))
        step[place[whole]], remainder[place[whole]] = self.step[whole], self.remainder[whole]
        step[parted], remainder[parted] = _stretches(factor, every[parted], ends[parted])
        return Chain(every, step, remainder)

    def height_covariance(self) -> FloatArray:
        """(j, j) covariance of the heights [m²].

        From the last block of nodes to the first, each given what lies behind it.
        """
        blocks = _Blocks.of(self)
        size, padded = _BLOCK, _BLOCK * len(blocks.step)
        covariance = np.empty((padded, padded))
        behind = np.zeros((_JOINT, _JOINT))  # covariance of the first unknowns behind the block
        of_later = np.zeros((_JOINT, padded))  # … of these with the heights there
        for start in range(padded - size, -1, -size):
            step, own, with_heights, heights, of_heights = (part[start // size] for part in blocks)
            within, later = slice(start, start + size), slice(start + size, padded)
            through = behind @ heights.T
            among = of_heights + heights @ through
            covariance[within, within] = (among + among.T) / 2.0
            covariance[within, later] = heights @ of_later[:, later]
            covariance[later, within] = covariance[within, later].T
            of_later[:, later] = step @ of_later[:, later]
            of_later[:, within] = with_heights + step @ through
            behind = step @ behind @ step.T + own
        return covariance[-len(self.node) :, -len(self.node) :]


class _Blocks(NamedTuple):
    """A chain in blocks of 16 nodes, each given the unknowns behind its end; arrays (b, …).

    Parameters
    ----------
    step : (b, 6, 6) what the unknowns at the first node are times those behind the end.
    own : (b, 6, 6) covariance of what they are besides.
    with_heights : (b, 6, 16) … with the heights at all nodes.
    heights : (b, 16, 6) what the heights are times the unknowns behind the end.
    of_heights : (b, 16, 16) covariance of what they are besides.
    """

    step: FloatArray
    own: FloatArray
    with_heights: FloatArray
    heights: FloatArray
    of_heights: FloatArray

    @classmethod
    def of(cls, chain: Chain) -> _Blocks:
        """Blocks of a chain; the first begins with nodes that are one with the chain's first."""
        count = -(-len(chain.node) // _BLOCK)
        missing = count * _BLOCK - len(chain.node)
        same = np.broadcast_to(np.eye(_JOINT), (missing, _JOINT, _JOINT))
        shape = count, _BLOCK, _JOINT, _JOINT
        step = np.concatenate([same, chain.step]).reshape(shape)
        remainder = np.concatenate([np.zeros_like(same), chain.remainder]).reshape(shape)
        heights = np.empty((count, _BLOCK, _JOINT))
        of_heights = np.empty((count, _BLOCK, _BLOCK))
        behind, own, at = slice(_JOINT), slice(_JOINT, 2 * _JOINT), slice(2 * _JOINT, None)
        joint = np.zeros((count, _JOINT, 2 * _JOINT + _BLOCK))
        joint[:, :, behind] = np.eye(_JOINT)
        for node in range(_BLOCK - 1, -1, -1):
            joint = step[:, node] @ joint
            joint[:, :, own] = joint[:, :, own] @ step[:, node].transpose(0, 2, 1)
            joint[:, :, own] += remainder[:, node]
            joint[:, :, at][:, :, node] = joint[:, :, own][:, :, HEIGHT]
            heights[:, node] = joint[:, HEIGHT, behind]
            of_heights[:, node, node:] = of_heights[:, node:, node] = joint[:, HEIGHT, at][:, node:]
        return cls(joint[:, :, behind], joint[:, :, own], joint[:, :, at], heights, of_heights)


def _stretches(factor: FloatArray, start: IntArray, end: IntArray) -> tuple[FloatArray, FloatArray]:
    """How the unknowns at the start of some stretches follow from those behind their ends.

    Parameters
    ----------
    start, end : (j,) first node of each stretch, and the one behind its last.

    Returns
    -------
    (j, 6, 6) what they are times those behind the end, and (j, 6, 6) covariance of the remainder.
    """
    batch = np.cumsum(end - start) // _TOGETHER
    first = np.flatnonzero(np.diff(batch, prepend=-1)).tolist()
    step, remainder = np.empty((2, len(start), _JOINT, _JOINT))
    for some in map(slice, first, [*first[1:], len(start)]):
        step[some], remainder[some] = _together(factor, start[some], end[some])
    return step, remainder


def _together(factor: FloatArray, start: IntArray, end: IntArray) -> tuple[FloatArray, FloatArray]:
    """The same, of stretches that are few enough to be laid one after another."""
    spans = zip((STATES * start).tolist(), (STATES * end).tolist(), strict=True)
    bands = np.concatenate([factor.T[first:stop] for first, stop in spans])
    edges = np.append(0, np.cumsum(STATES * (end - start)))
    at = edges[:-1, np.newaxis] + np.arange(_JOINT)
    within = at < edges[1:, np.newaxis]  # a stretch of one node has the last two behind its end
    coupling = _cut(bands, edges, end * STATES == factor.shape[1])
    unit = np.zeros((_JOINT, len(bands)))
    unit[np.nonzero(within)[1], at[within]] = 1.0
    solved = forward(bands.T, unit.T)
    step = solved[edges[1:, np.newaxis] + _NEAR_END].transpose(0, 2, 1) @ coupling
    step[~within[:, -1], STATES:, : _JOINT - STATES] = np.eye(_JOINT - STATES)
    remainder = np.empty_like(step)
    for covariance, (first, stop) in zip(remainder, pairwise(edges.tolist()), strict=True):
        np.dot(solved[first:stop].T, solved[first:stop], out=covariance)
    return step, remainder


def _cut(bands: FloatArray, edges: IntArray, is_last: BoolArray) -> FloatArray:
    """Part a factor into stretches; what the unknowns behind each add to the eight before its end.

    Parameters
    ----------
    bands : (n, 9) columns of the factor, those of a stretch in a row; changed in place.
    edges : (j + 1,) first column of each stretch, and n.
    is_last : (j,) True where nothing is behind.

    Returns
    -------
    (j, 8, 6)
    """
    before = edges[1:, np.newaxis] + _NEAR_END
    # A stretch of one node has but four columns: the first takes the place of those before it, and
    # is written as itself last.
    column = np.maximum(before, edges[:-1, np.newaxis])
    near = bands[column]
    # Below the first diagonal of bands, one column on is one row down: so they are a matrix.
    coupling = -np.tril(near.reshape(-1, BAND * (BAND + 1))[:, BAND:].reshape(-1, BAND, BAND))
    coupling[(column > before) | is_last[:, np.newaxis]] = 0.0
    bands[column] = np.where(np.arange(BAND + 1) >= -_NEAR_END[:, np.newaxis], 0.0, near)
    return coupling[:, :, :_JOINT]
