"""How a ride's energy by cause depends on the parameters, and on work at the wheel."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from wherewatt.allocate.balance import Balance, demand_slopes
from wherewatt.allocate.loads import CAUSES, Loads, fill_causes
from wherewatt.allocate.parameters import ratio_name
from wherewatt.arrays import FloatArray
from wherewatt.units import STANDARD_GRAVITY_M_S2

_ByCause = dict[str, float]


@dataclass(frozen=True, slots=True, eq=False)
class WeighedCauses:
    """Energy by cause, each leg's times a weight.

    Parameters
    ----------
    energy : (len(CAUSES), n) of the legs.
    per_work : (n,) what more work at the wheel adds to the height, and with it to other causes [1]:
        brakes and losses, and the work of a rider who gives all.
    by_parameter : (len(CAUSES),) derivatives of the ride's by the value of each parameter.
    """

    energy: FloatArray
    per_work: dict[str, FloatArray]
    by_parameter: dict[str, FloatArray]


def weighed_causes(loads: Loads, weight: FloatArray) -> WeighedCauses:
    """Energy by cause and what it depends on; the parts of a ride are gone through once.

    Parameters
    ----------
    weight : (n,) of the legs.
    """
    values, weight = loads.values, loads.day_factor * weight
    energy = np.empty((len(CAUSES), len(weight)))
    per_work = {"height": weight}
    by_parameter: dict[str, FloatArray] = {}
    for part, legs in loads.by_part():
        own = weight[legs]
        fill_causes(energy[:, legs], part, values)
        energy[:, legs] *= own
        follows = _follows(part, own, values)
        for name, row in follows.items():
            per_work.setdefault(name, np.zeros(len(weight)))[legs] = row
        slopes = {**_of_wheel(part, own, follows, values), **_of_losses(part, own, follows, values)}
        for name, by_cause in slopes.items():
            column = np.array([by_cause.get(cause, 0.0) for cause in CAUSES])
            by_parameter[name] = by_parameter.get(name, 0.0) + column
    by_parameter["day_factor"] = energy.sum(axis=1) / loads.day_factor
    return WeighedCauses(energy, per_work, by_parameter)


def _follows(
    part: Balance, weight: FloatArray, values: Mapping[str, float]
) -> dict[str, FloatArray]:
    """(n,) what follows in other causes from more work at the wheel, times the weight [1]."""
    follows = part.wheel.follows
    free = weight if follows is None else np.where(follows, 0.0, weight)
    pushed = free * part.driving
    rows = _through(part, pushed, pushed - free, values)
    return rows if follows is None else {**rows, "rider": free - weight}


def _through(
    part: Balance, pushed: FloatArray, braked: FloatArray, values: Mapping[str, float]
) -> dict[str, FloatArray]:
    """What more work of the motor costs, and more that is left over for the brakes."""
    efficiency, returned = values["drivetrain_efficiency"], values.get("regenerative_share", 0.0)
    lost = (part.per_driven + (returned * efficiency - 1.0)) * pushed
    lost += returned * (1.0 - efficiency) * braked
    return {"brakes": (1.0 - returned) * braked, "drivetrain": lost}


def _of_wheel(
    part: Balance,
    weight: FloatArray,
    follows: Mapping[str, FloatArray],
    values: Mapping[str, float],
) -> dict[str, _ByCause]:
    """By the parameters that the work at the wheel depends on."""
    rows = np.stack([weight, *follows.values()])
    slopes = {**demand_slopes(part, rows, values, _of_all), **_by_ratio(part, rows, values)}
    own = _own(part, weight, {name: float(sums[0]) for name, sums in slopes.items()}, values)
    result = {
        name: {**own[name], **dict(zip(follows, sums[1:].tolist(), strict=True))}
        for name, sums in slopes.items()
    }
    # What more fluctuation within a leg costs: more driving and as much more braking.
    more = weight * part.per_sd
    by_sd = {
        cause: float(row @ part.motion.distance_m)
        for cause, row in _through(part, more, more, values).items()
    }
    for cause, slope in by_sd.items():
        result["mass_kg"][cause] += values["unsteadiness_m_s2"] * slope
    mass = values["mass_kg"]
    result["unsteadiness_m_s2"] = {cause: mass * slope for cause, slope in by_sd.items()}
    return result


def _of_all(of_legs: FloatArray, weight: FloatArray | None = None) -> FloatArray:
    """(…,) sums over all legs, each leg's times its weight (…, n)."""
    return np.asarray(of_legs.sum() if weight is None else weight @ of_legs)


def _by_ratio(
    part: Balance, rows: FloatArray, values: Mapping[str, float]
) -> dict[str, FloatArray]:
    """(k,) derivatives of k weighted demands (k, n) by the surfaces' ratios."""
    surface = part.motion.surface
    begin = np.append(0, np.flatnonzero(surface[1:] != surface[:-1]) + 1)
    along = np.add.reduceat(rows * part.wheel.per_coefficient_j, begin, axis=1)
    along *= values["rolling_resistance"]
    return {
        name: along[:, surface[begin] == number].sum(axis=1) / values[name]
        for number, name in enumerate(map(ratio_name, part.motion.surfaces))
    }


def _own(
    part: Balance,
    weight: FloatArray,
    slopes: Mapping[str, float],
    values: Mapping[str, float],
) -> dict[str, _ByCause]:
    """What each of these parameters changes in the cause it belongs to."""
    motion, speed = part.motion, part.motion.speed_m_s
    still = float(weight @ (motion.swept_kg_m2 * speed * np.abs(speed)))
    rolling = values["rolling_resistance"] * slopes["rolling_resistance"]
    own: dict[str, _ByCause] = {
        "mass_kg": {
            "rolling": rolling / values["mass_kg"],
            "height": STANDARD_GRAVITY_M_S2 * float(weight @ part.rise_m),
            "speed": float(weight @ motion.half_square_change),
        },
        "drag_area_m2": {"air": still, "wind": slopes["drag_area_m2"] - still},
    }
    for name in ("wind_east_m_s", "wind_north_m_s"):
        own[name] = {"wind": slopes[name]}
    for name in ("rolling_resistance", *map(ratio_name, motion.surfaces)):
        own[name] = {"rolling": slopes[name]}
    return own


def _of_losses(
    part: Balance,
    weight: FloatArray,
    follows: Mapping[str, FloatArray],
    values: Mapping[str, float],
) -> dict[str, _ByCause]:
    """By the parameters that say what becomes of the work at the wheel, and by the rider's."""
    motion = part.motion
    pushed, braked = float(weight @ part.pushed_j), float(weight @ part.braked_j)
    efficiency, returned = values["drivetrain_efficiency"], values.get("regenerative_share", 0.0)
    slopes: dict[str, _ByCause] = {
        "drivetrain_efficiency": {"drivetrain": -pushed / efficiency**2 - returned * braked},
        "fixed_loss_w": {"drivetrain": float(weight @ motion.moving_s)},
        "winding_loss_w_n2": {"drivetrain": float(weight @ part.heat_n2_s)},
        "auxiliary_w": {"auxiliary": float(weight @ motion.powered_s)},
    }
    if "regenerative_share" in values:
        lost = (1.0 - efficiency) * braked
        slopes["regenerative_share"] = {"brakes": -braked, "drivetrain": lost}
    pedalled = part.wheel.pedal_s
    if pedalled is not None:
        saved = {cause: -float(row @ pedalled) for cause, row in follows.items()}
        slopes["pedal_power_w"] = {**saved, "rider": -float(weight @ pedalled)}
    return slopes
