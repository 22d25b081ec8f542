"""What several rides of one vehicle say together.

Each ride is estimated alone; what it says of the vehicle, its prior taken out again and everything
that belongs to the day integrated out, is a Gaussian factor. Factors of rides multiply, so their
information matrices add: in any order, and a ride that is left out leaves no trace (Tarantola
2005, Inverse Problem Theory, section 1.5). Parameters are on the scale on which their priors are
normal: as they are, or logarithms.
"""

from __future__ import annotations

import numpy as np

from wherewatt.allocate.estimate import Estimate
from wherewatt.allocate.factor import Factor
from wherewatt.allocate.parameters import Parameters, natural


def shared_spreads(parameters: Parameters) -> dict[str, float]:
    """How much each parameter of the vehicle differs between days; those of a day are left out."""
    return {
        item.name: item.prior.day_spread
        for item in parameters.items
        if item.prior.day_spread is not None
    }


def factor_of(estimate: Estimate) -> Factor:
    """What one ride, estimated alone, says of the vehicle."""
    parameters, solution = estimate.evidence.parameters, estimate.solution
    shared = shared_spreads(parameters)
    at = [parameters.index[name] for name in shared]
    posterior = np.linalg.inv(solution.covariance[np.ix_(at, at)])
    # In scores the prior is the unit normal: its information is taken out, its mean is zero.
    level, way = np.linalg.eigh(posterior - np.eye(len(at)))
    information = (way * np.maximum(level, 0.0)) @ way.T
    pull = way @ ((level > 0.0) * (way.T @ (posterior @ solution.scores[at])))
    priors = [parameters.items[number].prior for number in at]
    spread = np.array([prior.spread for prior in priors])
    center = np.array([natural(prior, prior.center) for prior in priors])
    information = information / np.outer(spread, spread)
    vector = pull / spread + information @ center
    return Factor(tuple(shared), information, vector).blurred(shared)


def known_for(factor: Factor, parameters: Parameters) -> Factor:
    """What the rides behind a factor say of the parameters of another day's ride."""
    shared = shared_spreads(parameters)
    return factor.among(list(shared)).blurred(shared)
