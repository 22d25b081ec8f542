"""What the estimate of one ride is made from."""

from __future__ import annotations

from dataclasses import dataclass, field

from wherewatt.allocate.callouts import ShownPercent
from wherewatt.allocate.factor import Factor
from wherewatt.allocate.loads import Legs
from wherewatt.allocate.pack_log import PackLog
from wherewatt.allocate.parameters import Parameters
from wherewatt.allocate.settings import EstimateSettings
from wherewatt.allocate.voltage import ShownVoltage, no_voltage
from wherewatt.arrays import FloatArray
from wherewatt.ingest.sheet import RechargeSheet
from wherewatt.physics.battery import BLEND, Cell
from wherewatt.sections.cutting import Sections


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """All that the estimate is made from.

    Parameters
    ----------
    sections : the cut ride, with a point at every call-out.
    legs : the same legs as the loads need them.
    parameters : unknowns with their priors.
    height_covariance : (sections + 1)² covariance of the height at the section edges [m²].
    shown : call-outs of percent.
    recharge : energy put back.
    wind_speed_m_s : wind at 10 m as the sheet tells it, zero where it does not [m/s].
    pack_log : energy that a logger counted, or None.
    known : what other rides of the vehicle say of its parameters, or None.
    settings : the estimate's settings.
    voltage : call-outs of voltage.
    cell : what the pack is made of.
    """

    sections: Sections
    legs: Legs
    parameters: Parameters
    height_covariance: FloatArray
    shown: ShownPercent
    recharge: RechargeSheet
    wind_speed_m_s: float
    settings: EstimateSettings
    pack_log: PackLog | None = None
    known: Factor | None = None
    voltage: ShownVoltage = field(default_factory=no_voltage)
    cell: Cell = BLEND

    @property
    def charge_told(self) -> bool:
        """Whether a call-out says what was left: without any, only what was used is known."""
        return len(self.shown) + len(self.voltage) > 0
