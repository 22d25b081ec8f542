"""What several rides of one vehicle say together.

Each ride is estimated alone; what it says of the vehicle, its prior taken out again and everything
that belongs to the day integrated out, is a Gaussian factor. Factors of rides multiply, so their
information matrices add: in any order, and a ride that is left out leaves no trace (Tarantola
2005, Inverse Problem Theory, section 1.5). Parameters are on the scale on which their priors are
normal: as they are, or logarithms.

Only the day's factor stays beside the vehicle's parameters: how far the rides of a vehicle differ
as wholes is not assumed, but the most probable under them all.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from wherewatt.allocate.estimate import Estimate
from wherewatt.allocate.factor import Factor, combined
from wherewatt.allocate.parameters import Parameter, Parameters, natural
from wherewatt.allocate.settings import Prior
from wherewatt.arrays import FloatArray

DAY = "day_factor"

# Spreads of the day's factor that are tried: from rides like copies to twice as much or half.
_SPREADS = np.geomspace(0.02, 0.8, 30)
_DOUBT = 0.8  # of the logarithm of that spread, around the handbook's; common practice, no source


@dataclass(frozen=True, slots=True, eq=False)
class Pooled:
    """What the rides of a vehicle say of it together.

    Parameters
    ----------
    factor : of the vehicle's parameters, each day's own integrated out.
    day_spread : standard deviation of the logarithm of a day's factor [1].
    rides : how many they are.
    """

    factor: Factor
    day_spread: float
    rides: int


def shared_spreads(parameters: Parameters) -> dict[str, float]:
    """How much each parameter of the vehicle differs between days; those of a day are left out."""
    return {
        item.name: item.prior.day_spread
        for item in parameters.items
        if item.prior.day_spread is not None
    }


def factor_of(estimate: Estimate) -> Factor:
    """What one ride, estimated alone, says of the vehicle and of how far that day was off."""
    parameters, solution = estimate.evidence.parameters, estimate.solution
    shared = shared_spreads(parameters)
    names = (*shared, *(name for name in (DAY,) if name in parameters.index))
    at = [parameters.index[name] for name in names]
    posterior = np.linalg.inv(solution.covariance[np.ix_(at, at)])
    # In scores the prior is the unit normal: its information is taken out, its mean is zero.
    level, way = np.linalg.eigh(posterior - np.eye(len(at)))
    information = (way * np.maximum(level, 0.0)) @ way.T
    pull = way @ ((level > 0.0) * (way.T @ (posterior @ solution.scores[at])))
    center, spread = _scale(parameters, names)
    information = information / np.outer(spread, spread)
    vector = pull / spread + information @ center
    return Factor(names, information, vector).blurred(shared)


def pooled(
    factors: Sequence[Factor], parameters: Parameters, handbook: Mapping[str, Prior]
) -> Pooled:
    """What rides say together, for a ride with these parameters.

    The spread between days is the most probable one: Laplace's approximation of the evidence
    (MacKay 1992, Neural Comput. 4:415), which is exact for Gaussian factors.

    Parameters
    ----------
    handbook : priors of whatever a ride may speak of, for what this ride has not.
    """
    apart = [_day_apart(factor) for factor in factors]
    spoken = sorted({name for one in apart for name in one.rest.names})
    missing = [name for name in spoken if name not in parameters.index]
    more = Parameters(
        (*parameters.items, *(Parameter(name, handbook[name]) for name in missing))
    )
    usual = parameters.items[parameters.index[DAY]].prior.spread
    chances = [
        _log_evidence(apart, float(spread), more)
        - 0.5 * (np.log(spread / usual) / _DOUBT) ** 2
        for spread in _SPREADS
    ]
    best = float(_SPREADS[int(np.argmax(chances))])
    settled = combined(one.settled(best)[0] for one in apart)
    # What two parameters are only known in together would go with the one that is integrated
    # out, if nothing were known of it.
    settled = combined([settled, _of_prior(more, missing)])
    return Pooled(settled.among([name for name in spoken if name not in missing]), best, len(factors))


def known_for(known: Pooled, parameters: Parameters) -> tuple[Factor, Parameters]:
    """What the rides say of the parameters of another day's ride.

    Returns
    -------
    The factor of the vehicle's parameters on that day, and the day's parameters, among which the
    day's factor is spread as the rides were.
    """
    shared = shared_spreads(parameters)
    items = (
        Parameter(item.name, replace(item.prior, spread=known.day_spread))
        if item.name == DAY
        else item
        for item in parameters.items
    )
    return known.factor.among(list(shared)).blurred(shared), Parameters(tuple(items))


@dataclass(frozen=True, slots=True, eq=False)
class _DayApart:
    """A ride's factor, split into the vehicle's parameters and the logarithm of the day's factor.

    Parameters
    ----------
    rest : factor of the vehicle's parameters (p), the day's factor held at one.
    across : (p,) information between the two.
    own, pull : information and vector entry of the day's own.
    """

    rest: Factor
    across: FloatArray
    own: float
    pull: float

    def settled(self, day_spread: float) -> tuple[Factor, float]:
        """The factor with the day integrated out, and the logarithm of its height."""
        own = self.own + day_spread**-2
        information = self.rest.information - np.outer(self.across, self.across) / own
        vector = self.rest.vector - self.across * self.pull / own
        height = -np.log(day_spread) - 0.5 * np.log(own) + 0.5 * self.pull**2 / own
        return Factor(self.rest.names, information, vector), float(height)


def _day_apart(factor: Factor) -> _DayApart:
    """Split a factor; one that does not know the day's factor was made with the day at one."""
    kept = [number for number, name in enumerate(factor.names) if name != DAY]
    rest = Factor(
        tuple(factor.names[number] for number in kept),
        factor.information[np.ix_(kept, kept)],
        factor.vector[kept],
    )
    if DAY not in factor.names:
        return _DayApart(rest, np.zeros(len(kept)), 0.0, 0.0)
    day = factor.names.index(DAY)
    return _DayApart(
        rest,
        factor.information[kept, day],
        float(factor.information[day, day]),
        float(factor.vector[day]),
    )


def _log_evidence(apart: Sequence[_DayApart], day_spread: float, parameters: Parameters) -> float:
    """Logarithm of how probable the rides are, up to a constant."""
    settled = [one.settled(day_spread) for one in apart]
    together = combined(factor for factor, _ in settled)
    with_prior = combined([together, _of_prior(parameters, together.names)])
    information, vector = with_prior.information, with_prior.vector
    return (
        sum(height for _, height in settled)
        - 0.5 * float(np.linalg.slogdet(information)[1])
        + 0.5 * float(vector @ np.linalg.solve(information, vector))
    )


def _of_prior(parameters: Parameters, names: Sequence[str]) -> Factor:
    center, spread = _scale(parameters, names)
    return Factor(tuple(names), np.diag(spread**-2), center / spread**2)


def _scale(parameters: Parameters, names: Sequence[str]) -> tuple[FloatArray, FloatArray]:
    """Centers and spreads of the priors of some parameters, on the scale of the factors."""
    priors = [parameters.items[parameters.index[name]].prior for name in names]
    center = np.array([natural(prior, prior.center) for prior in priors])
    return center, np.array([prior.spread for prior in priors])
