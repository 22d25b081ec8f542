"""How a ride's energy by cause depends on the parameters, and on work at the wheel."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from wherewatt.allocate.loads import CAUSES, Loads, Part
from wherewatt.allocate.parameters import ratio_name
from wherewatt.arrays import FloatArray
from wherewatt.units import STANDARD_GRAVITY_M_S2

_ByCause = dict[str, float]


def by_wheel_work(loads: Loads, weight: FloatArray) -> dict[str, FloatArray]:
    """(n,) what follows in other causes from more work at the wheel, times a weight.

    Brakes and losses, and the work of a rider who gives all.

    Parameters
    ----------
    weight : (n,) of the legs, with the day's factor.
    """
    parts = [_by_wheel_work(*part, loads.values) for part in _weighed(loads, weight)]
    return {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}


def by_parameters(loads: Loads, weight: FloatArray) -> dict[str, FloatArray]:
    """(len(CAUSES),) derivatives of a weighted energy by cause by the value of each parameter.

    Parameters
    ----------
    weight : (n,) of the legs.
    """
    result = {"day_factor": loads.causes @ weight / loads.day_factor}
    for part, of_part in _weighed(loads, loads.day_factor * weight):
        slopes = {
            **_of_wheel(part, of_part, loads.values),
            **_of_losses(part, of_part, loads.values),
        }
        for name, by_cause in slopes.items():
            column = np.array([by_cause.get(cause, 0.0) for cause in CAUSES])
            result[name] = result.get(name, 0.0) + column
    return result


def _weighed(loads: Loads, weight: FloatArray) -> list[tuple[Part, FloatArray]]:
    """The parts of the legs, and their share of the weights."""
    ends = np.cumsum([len(part.rise_m) for part in loads.parts])
    return list(zip(loads.parts, np.split(weight, ends[:-1]), strict=True))


def _by_wheel_work(
    part: Part, weight: FloatArray, values: Mapping[str, float]
) -> dict[str, FloatArray]:
    balance, follows = part.balance, part.balance.wheel.follows
    free = weight if follows is None else np.where(follows, 0.0, weight)
    rows = _through(part, free * balance.driving, free * (balance.driving - 1.0), values)
    return rows if follows is None else {**rows, "rider": free - weight}


def _through(
    part: Part, pushed: FloatArray, braked: FloatArray, values: Mapping[str, float]
) -> dict[str, FloatArray]:
    """What more work of the motor costs, and more that is left over for the brakes."""
    efficiency, returned = values["drivetrain_efficiency"], values.get("regenerative_share", 0.0)
    lost = (part.balance.per_pushed - 1.0) * pushed + returned * (1.0 - efficiency) * braked
    return {"brakes": (1.0 - returned) * braked, "drivetrain": lost}


def _of_wheel(part: Part, weight: FloatArray, values: Mapping[str, float]) -> dict[str, _ByCause]:
    """By the parameters that the work at the wheel depends on."""
    motion, wheel, mass = part.motion, part.balance.wheel, values["mass_kg"]
    slopes = dict(wheel.slopes)
    for number, name in enumerate(map(ratio_name, motion.surfaces)):
        slopes[name] = np.where(motion.surface == number, wheel.rolling_j / values[name], 0.0)
    own = _own(part, weight, slopes, values)
    others = _dots(_by_wheel_work(part, weight, values), slopes)
    result = {name: {**own[name], **others[name]} for name in slopes}
    # What more fluctuation within a leg costs: more driving and as much more braking.
    more = weight * part.balance.per_sd
    by_sd = _dots(_through(part, more, more, values), {"sd": motion.distance_m})["sd"]
    for cause, slope in by_sd.items():
        result["mass_kg"][cause] += values["unsteadiness_m_s2"] * slope
    result["unsteadiness_m_s2"] = {cause: mass * slope for cause, slope in by_sd.items()}
    return result


def _own(
    part: Part,
    weight: FloatArray,
    slopes: Mapping[str, FloatArray],
    values: Mapping[str, float],
) -> dict[str, _ByCause]:
    """What each of these parameters changes in the cause it belongs to."""
    motion, mass = part.motion, values["mass_kg"]
    speed = motion.speed_m_s
    still = float(weight @ (motion.swept_kg_m2 * speed * np.abs(speed)))
    own: dict[str, _ByCause] = {
        "mass_kg": {
            "rolling": float(weight @ part.balance.wheel.rolling_j) / mass,
            "height": STANDARD_GRAVITY_M_S2 * float(weight @ part.rise_m),
            "speed": float(weight @ motion.half_square_change),
        },
        "drag_area_m2": {"air": still, "wind": float(weight @ slopes["drag_area_m2"]) - still},
    }
    for name in ("wind_east_m_s", "wind_north_m_s"):
        own[name] = {"wind": float(weight @ slopes[name])}
    for name in ("rolling_resistance", *map(ratio_name, motion.surfaces)):
        own[name] = {"rolling": float(weight @ slopes[name])}
    return own


def _dots(rows: Mapping[str, FloatArray], slopes: Mapping[str, FloatArray]) -> dict[str, _ByCause]:
    """Sums over the legs of each row times each slope, by the slope's name and the row's."""
    table = np.stack(list(slopes.values())) @ np.stack(list(rows.values()), axis=1)
    return {
        name: dict(zip(rows, sums, strict=True))
        for name, sums in zip(slopes, table.tolist(), strict=True)
    }


def _of_losses(part: Part, weight: FloatArray, values: Mapping[str, float]) -> dict[str, _ByCause]:
    """By the parameters that say what becomes of the work at the wheel, and by the rider's."""
    motion, balance = part.motion, part.balance
    pushed, braked = float(weight @ balance.pushed_j), float(weight @ balance.braked_j)
    efficiency, returned = values["drivetrain_efficiency"], values.get("regenerative_share", 0.0)
    slopes: dict[str, _ByCause] = {
        "drivetrain_efficiency": {"drivetrain": -pushed / efficiency**2 - returned * braked},
        "fixed_loss_w": {"drivetrain": float(weight @ motion.moving_s)},
        "winding_loss_w_n2": {"drivetrain": float(weight @ balance.heat_n2_s)},
        "auxiliary_w": {"auxiliary": float(weight @ motion.powered_s)},
    }
    if "regenerative_share" in values:
        lost = (1.0 - efficiency) * braked
        slopes["regenerative_share"] = {"brakes": -braked, "drivetrain": lost}
    pedalled = balance.wheel.pedal_s
    if pedalled is not None:
        saved = _dots(_by_wheel_work(part, weight, values), {"pedal": -pedalled})["pedal"]
        slopes["pedal_power_w"] = {**saved, "rider": -float(weight @ pedalled)}
    return slopes
