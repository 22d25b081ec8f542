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
from wherewatt.allocate.problem import RideProblem
from wherewatt.arrays import FloatArray

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


def summed(estimates: Sequence[Estimate]) -> Knowledge:
    """Sum of what the rides' estimates say, each at its own result; the prior counts once."""
    names = handbook(estimates[0].evidence).names
    information = np.eye(len(names))
    pull = np.zeros(len(names))
    for estimate in estimates:
        index = estimate.evidence.parameters.index
        block = [index[name] for name in names]
        own = np.linalg.inv(estimate.solution.covariance[np.ix_(block, block)])
        information += own - np.eye(len(names))
        pull += own @ estimate.solution.scores[block]
    covariance = np.linalg.inv(information)
    return Knowledge(names, covariance @ pull, covariance)


def predict_drop(evidence: Evidence, known: Knowledge) -> Drop:
    """Drop from the first call-out to the last, without looking at what they show.

    The energy between them over the usable capacity; the standard deviation counts the errors of
    both displayed numbers.
    """
    problem = RideProblem(evidence)
    scores, covariance = np.zeros(problem.unknowns), np.eye(problem.unknowns)
    block = [evidence.parameters.index[name] for name in known.names]
    scores[block] = known.mean
    covariance[np.ix_(block, block)] = known.covariance
    load = problem.load_at(scores)
    point = problem.at(scores, load)
    first, last = problem.cells.before[[0, -1]]
    used_wh = float(point.energy.wh[first:last].sum())
    usable_wh = evidence.parameters.values(scores)["battery_usable_wh"]
    slope = point.energy.slopes[first:last].sum(axis=0) / usable_wh
    capacity_slope = evidence.parameters.slopes(scores)["battery_usable_wh"]
    slope[evidence.parameters.index["battery_usable_wh"]] -= used_wh * capacity_slope / usable_wh**2
    shown_sd = display_sd(load, evidence.settings)[[0, -1]]
    drop = 100.0 * used_wh / usable_wh
    variance = 1e4 * float(slope @ covariance @ slope) + (known.ride_spread * drop) ** 2
    return Drop(drop, float(np.sqrt(variance + np.sum(np.square(shown_sd)))))
