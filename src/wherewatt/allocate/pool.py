"""What several rides of one vehicle say together.

Each ride is estimated alone; what it says of the vehicle, its prior taken out again and everything
that belongs to the day integrated out, is a Gaussian factor. Factors of rides multiply, so their
information matrices add: in any order, and a ride that is left out leaves no trace (Tarantola
2005, Inverse Problem Theory, section 1.5). Parameters are on the scale on which their priors are
normal: as they are, or logarithms.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace

import numpy as np

from wherewatt.allocate.estimate import Estimate
from wherewatt.allocate.factor import Factor, combined
from wherewatt.allocate.parameters import Parameters, natural
from wherewatt.allocate.settings import Assumed, Prior
from wherewatt.allocate.temperature import rolling_at, usable_at
from wherewatt.arrays import FloatArray


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
    posterior = np.linalg.inv(solution.of_parameters[np.ix_(at, at)])
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


def known_for(factor: Factor, parameters: Parameters, handbook: Mapping[str, Prior]) -> Factor:
    """What the rides behind a factor say of the parameters of another day's ride.

    Parameters
    ----------
    handbook : priors of whatever a ride may speak of, for what this one has not. Two parameters
        that are known together, such as capacity and charger, would else go together.
    """
    shared = shared_spreads(parameters)
    missing = {name: handbook[name] for name in factor.names if name not in parameters.index}
    whole = combined([factor, _of_priors(missing)])
    return whole.among(list(shared)).blurred(shared)


def posterior(parameters: Parameters, factor: Factor) -> tuple[FloatArray, FloatArray]:
    """Most probable scores (p,) and their covariance (p, p), from the priors and a factor.

    The prior is the unit normal of the scores and the factor is quadratic in them, so that the
    result is exact (Tarantola 2005, Inverse Problem Theory, section 3.2).
    """
    at = [parameters.index[name] for name in factor.names]
    priors = [parameters.items[number].prior for number in at]
    spread = np.array([prior.spread for prior in priors])
    center = np.array([natural(prior, prior.center) for prior in priors])
    information, pull = np.eye(len(parameters)), np.zeros(len(parameters))
    information[np.ix_(at, at)] += factor.information * np.outer(spread, spread)
    pull[at] += spread * (factor.vector - factor.information @ center)
    covariance = np.asarray(np.linalg.inv(information))
    return covariance @ pull, (covariance + covariance.T) / 2.0


def at_temperature(
    factor: Factor,
    then_c: float | None,
    now_c: float | None,
    *,
    stated: Collection[str],
    priors: Mapping[str, Prior],
    assumed: Assumed,
) -> Factor:
    """What a ride said, as it would have on a day of another temperature.

    Tyres and pack change with it; the model of that change is itself in doubt, and that blurs.

    Parameters
    ----------
    then_c, now_c : of the air [°C]; None for that of the handbook.
    stated : parameters that an owner states, and which therefore stay as they are.
    """
    changes = {
        "rolling_resistance": (priors["rolling_resistance"], rolling_at, assumed.change_doubt),
        "battery_usable_wh": (priors["usable_share"], usable_at, assumed.cold_doubt),
    }
    step, doubt = np.zeros(len(factor.names)), {}
    for name, (prior, at, share) in changes.items():
        if name in factor.names and name not in stated:
            now, then = (at(prior, celsius, assumed).center for celsius in (now_c, then_c))
            change = float(np.log(now / then))
            step[factor.names.index(name)] = change
            if change:
                doubt[name] = share * abs(change)
    moved = replace(factor, vector=factor.vector + factor.information @ step)
    return moved.blurred(doubt) if doubt else moved


def _of_priors(priors: Mapping[str, Prior]) -> Factor:
    center = np.array([natural(prior, prior.center) for prior in priors.values()])
    weight = np.array([prior.spread**-2 for prior in priors.values()])
    return Factor(tuple(priors), np.diag(weight), weight * center)
