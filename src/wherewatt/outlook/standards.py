"""What type-test standards say of a consumption by recharge energy, and how far a ride is from it.

ISO 13064-1:2012 (electric mopeds and motorcycles) takes the reference consumption as recharge
energy over distance, and states how exactly time, distance, speed and mass are to be measured;
Regulation (EU) 134/2014, Annex VII, Appendix 3.3 states the same accuracies for the range of
vehicles of category L. Of the ISO standard a catalogue's summary was read, of the regulation the
text of that appendix; what is from memory says so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wherewatt.allocate.ledger import Measure
from wherewatt.config import Config
from wherewatt.report.result import RideResult

# The recording's own distance; common practice, no source.
DISTANCE_SPREAD = 0.005

NO_TYPE_TEST = (
    "A ride on an open road is no type test: speed cycle, wind, temperature, state of the pack and "
    "the accuracy of the instruments are not those of any standard. Its figures are to be compared "
    "with each other, not with a label."
)


@dataclass(frozen=True, slots=True)
class Stated:
    """An accuracy that the standards ask for.

    Parameters
    ----------
    quantity : what is measured.
    accuracy : how exactly.
    clause : where that stands.
    """

    quantity: str
    accuracy: str
    clause: str


_REGULATION = "Regulation (EU) 134/2014, Annex VII, App. 3.3"
_BOTH = f"ISO 13064-1:2012; {_REGULATION}"

STATED = (
    Stated("time", "±0.1 s", _BOTH),
    Stated("distance", "±0.1 %", _BOTH),
    Stated("speed", "±1 %", _BOTH),
    Stated("mass", "±0.5 %", _BOTH),
    Stated("temperature", "±1 K", _REGULATION),
)

REFERENCE_CONSUMPTION = "ISO 13064-1:2012, reference energy consumption C = E/d"
ROUNDING = "Regulation (EU) 134/2014, Annex VII, App. 3.2: whole Wh/km (value from memory)"


@dataclass(frozen=True, slots=True)
class RechargeConsumption:
    """Consumption by recharge energy.

    Parameters
    ----------
    wall : energy from the wall over distance, charger loss included [Wh/km].
    battery : what of that reached the battery [Wh/km].
    """

    wall: Measure
    battery: Measure


def recharge_consumption(
    wall_wh: Measure, charger_efficiency: Measure, distance_km: Measure
) -> RechargeConsumption:
    """Consumption C = E/d by recharge energy (ISO 13064-1:2012, reference energy consumption).

    Relative variances of factors add up (JCGM 100:2008, section 5.1.6).

    Parameters
    ----------
    wall_wh : energy from the wall that made up for the ride [Wh].
    charger_efficiency : wall to battery [1].
    distance_km : length of the ride [km].
    """
    wall = wall_wh.mean / distance_km.mean
    of_wall = np.hypot(wall_wh.sd / wall_wh.mean, distance_km.sd / distance_km.mean)
    of_battery = np.hypot(of_wall, charger_efficiency.sd / charger_efficiency.mean)
    battery = wall * charger_efficiency.mean
    return RechargeConsumption(
        Measure(wall, wall * float(of_wall), ratio=True),
        Measure(battery, battery * float(of_battery), ratio=True),
    )


def recharge_consumption_of(result: RideResult, config: Config) -> RechargeConsumption | None:
    """The same of a ride; None where its sheet tells no energy from the wall.

    The charger's efficiency is that of the sheet, else of the handbook: not what the estimate made
    of it, for that has seen the same energy.
    """
    evidence = result.estimate.evidence
    wall_wh = evidence.recharge.wall_energy_wh
    km = float(result.ride.distance_m[-1]) / 1000.0
    if wall_wh is None or km <= 0.0:
        return None
    parameters = evidence.parameters
    charger = parameters.items[parameters.index["charger_efficiency"]].prior
    origin = parameters.slopes(np.zeros(len(parameters)))
    return recharge_consumption(
        Measure(wall_wh, config.estimate.wall_energy_spread * wall_wh),
        Measure(charger.center, abs(origin["charger_efficiency"])),
        Measure(km, DISTANCE_SPREAD * km),
    )
