"""Gaussian factors of parameters, and their algebra."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from wherewatt.arrays import FloatArray

_LEAST_LEVEL = 1e-9  # of an information matrix, over its greatest: below is rounding


@dataclass(frozen=True, slots=True, eq=False)
class Factor:
    """A Gaussian factor exp(−½ u·Λ·u + h·u) of parameters on their own scale.

    Parameters
    ----------
    names : (p,) parameters.
    information : (p, p) Λ, symmetric, without negative eigenvalues.
    vector : (p,) h.
    """

    names: tuple[str, ...]
    information: FloatArray
    vector: FloatArray

    def among(self, names: Sequence[str]) -> Factor:
        """The factor of some parameters, with the others integrated out.

        Parameters that this factor does not know are not added.
        """
        kept = [number for number, name in enumerate(self.names) if name in set(names)]
        gone = [number for number in range(len(self.names)) if number not in kept]
        across = self.information[np.ix_(kept, gone)]
        gain = across @ np.linalg.pinv(self.information[np.ix_(gone, gone)], hermitian=True)
        return Factor(
            tuple(self.names[number] for number in kept),
            self.information[np.ix_(kept, kept)] - gain @ across.T,
            self.vector[kept] - gain @ self.vector[gone],
        )

    def blurred(self, spread: Mapping[str, float]) -> Factor:
        """The factor of parameters of which some differ from these by a normal step of their own.

        Parameters
        ----------
        spread : standard deviation of the step by name, none of them zero; others do not differ.
        """
        at = [number for number, name in enumerate(self.names) if name in spread]
        step = np.diag([spread[self.names[number]] ** -2 for number in at])
        across = self.information[:, at]
        gain = np.linalg.solve(across[at] + step, across.T)
        information = self.information - across @ gain
        vector = self.vector - gain.T @ self.vector[at]
        return Factor(self.names, (information + information.T) / 2.0, vector)

    def as_rows(self) -> tuple[FloatArray, FloatArray]:
        """Rows R (r, p) and values (r,) with unit errors: −½|values − R·u|² is the factor."""
        level, way = np.linalg.eigh(self.information)
        keep = level > _LEAST_LEVEL * max(float(level[-1]), 1e-300)
        rows = np.sqrt(level[keep])[:, None] * way[:, keep].T
        return rows, (way[:, keep].T @ self.vector) / np.sqrt(level[keep])


def combined(factors: Iterable[Factor]) -> Factor:
    """Product of factors: information adds up."""
    listed = list(factors)
    names = tuple(sorted({name for factor in listed for name in factor.names}))
    place = {name: number for number, name in enumerate(names)}
    information, vector = np.zeros((len(names), len(names))), np.zeros(len(names))
    for factor in listed:
        at = [place[name] for name in factor.names]
        information[np.ix_(at, at)] += factor.information
        vector[at] += factor.vector
    return Factor(names, information, vector)
