"""What several rides of one vehicle say together of that vehicle, and what that predicts.

Every ride's estimate starts from the same priors, which are unit normal in the scores. The
information a ride adds to the vehicle's scores is the inverse of their covariance less the
prior's; the sum of what the rides add, with the prior once, is the pooled one (linear Gaussian
estimate, Tarantola 2005, Inverse Problem Theory, ch. 3). What belongs to one ride (rider, wind,
charge at the start, discrepancy, height error) is integrated out by taking the vehicle's block.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wherewatt.allocate.callouts import display_sd
from wherewatt.allocate.estimate import Estimate
from wherewatt.allocate.evidence import Evidence
from wherewatt.allocate.factor import combined
from wherewatt.allocate.parameters import handbook_of_vehicles
from wherewatt.allocate.pool import factor_of, known_for, posterior
from wherewatt.allocate.problem import RideProblem
from wherewatt.arrays import FloatArray
from wherewatt.config import load_config
from wherewatt.physics.battery import charge_surplus

# The parameters that rides of one vehicle have in common; riders change, so not the mass.
OF_THE_VEHICLE = (
    "rolling_resistance",
    "surface_ratio.untagged",
    "drag_area_m2",
    "drivetrain_efficiency",
    "fixed_loss_w",
    "auxiliary_w",
    "unsteadiness_m_s2",
    "regenerative_share",
    "battery_usable_wh",
    "display_bend",
    "display_sag",
    "display_delay_s",
)


@dataclass(frozen=True, slots=True, eq=False)
class Knowledge:
    """Normal distribution of the scores of a vehicle's parameters.

    Parameters
    ----------
    names : the parameters.
    mean : (p,) most probable scores.
    covariance : (p, p) their covariance.
    ride_spread : standard deviation of the logarithm of what whole rides differ by.
    """

    names: tuple[str, ...]
    mean: FloatArray
    covariance: FloatArray
    ride_spread: float = 0.0


@dataclass(frozen=True, slots=True)
class Drop:
    """Predicted drop of a display over a ride [points], and its standard deviation."""

    mean: float
    sd: float


def handbook(evidence: Evidence) -> Knowledge:
    """What is known of the vehicle before any ride."""
    names = tuple(name for name in OF_THE_VEHICLE if name in evidence.parameters.index)
    return Knowledge(names, np.zeros(len(names)), np.eye(len(names)))


def pool_of(estimates: Sequence[Estimate], evidence: Evidence) -> Knowledge:
    """What a library of the rides says of the vehicle, for one more ride."""
    config, parameters = load_config(), evidence.parameters
    handbook = handbook_of_vehicles(config.priors, config.surfaces, config.estimate)
    together = combined(factor_of(estimate) for estimate in estimates)
    factor = known_for(together, parameters, handbook)
    scores, covariance = posterior(parameters, factor)
    at = [parameters.index[name] for name in factor.names]
    return Knowledge(factor.names, scores[at], covariance[np.ix_(at, at)])


def predict_drop(evidence: Evidence, known: Knowledge) -> Drop:
    """Drop from the first call-out to the last; of what they show only the first is looked at.

    The standard deviation counts the errors of both displayed numbers, and that rides differ.
    """
    problem = RideProblem(evidence)
    index = evidence.parameters.index
    scores, covariance = np.zeros(problem.unknowns), np.eye(problem.unknowns)
    block = [index[name] for name in known.names]
    scores[block] = known.mean
    covariance[np.ix_(block, block)] = known.covariance
    scores[index["start_charge"]] = _start_score(evidence, scores)
    covariance[index["start_charge"], index["start_charge"]] = 0.0  # its error is the display's
    load = problem.load_at(scores)
    point = problem.at(scores, load)
    drop = float(point.display.percent[0] - point.display.percent[-1])
    slope = np.subtract(*point.measurements.slopes[[0, len(evidence.shown) - 1]])
    variance = float(slope @ covariance @ slope) + (known.ride_spread * drop) ** 2
    shown_sd = display_sd(load, evidence.settings)[[0, -1]]
    return Drop(drop, float(np.sqrt(variance + np.sum(np.square(shown_sd)))))


def _start_score(evidence: Evidence, scores: FloatArray) -> float:
    """Score of the charge at the start at which the display shows what it showed first."""
    left = np.linspace(0.0, 1.0, 1001)
    bend = evidence.parameters.values(scores)["display_bend"]
    shown = 100.0 * (left + bend * charge_surplus(left)[0])
    nearest = left[np.argmin(np.abs(shown - evidence.shown.percent[0]))]
    prior = evidence.parameters.items[evidence.parameters.index["start_charge"]].prior
    return float(nearest - prior.center) / prior.spread
