"""The road surfaces of the simulated world, and how each truly resists.

The rolling-resistance centres are the trade's usual pneumatic-tyre figures (Bosch Automotive
Handbook, "Coefficients of rolling resistance": asphalt and concrete 0.013, setts 0.015, rolled
gravel 0.02, unpaved 0.05, field 0.1 and more; Carvill 1993: worn asphalt 0.02, sand 0.1 to 0.2).
Each ride draws its own true value around them, so no estimator can know them exactly.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SurfaceTruth:
    """How one surface behaves in the simulated world.

    Attributes
    ----------
    crr : float
        Centre of the rolling-resistance coefficient at low speed, warm tyre [-].
    roughness_per_s : float
        Vibration drag per mass and speed [N / (kg m/s) = 1/s]: it grows with speed and is a
        loss that a constant rolling coefficient cannot express.
    speed_factor : float
        Share of the cruising speed at which people ride on it [-].
    undulation_m : float
        Standard deviation of the road's own small ups and downs, 25 to 150 m long [m].
    """

    crr: float
    roughness_per_s: float
    speed_factor: float
    undulation_m: float


SURFACES: dict[str, SurfaceTruth] = {
    "asphalt": SurfaceTruth(0.013, 0.0003, 1.00, 0.10),
    "concrete": SurfaceTruth(0.013, 0.0005, 1.00, 0.10),
    "worn_asphalt": SurfaceTruth(0.018, 0.0012, 0.95, 0.15),
    "paving": SurfaceTruth(0.016, 0.0018, 0.88, 0.15),
    "cobbles": SurfaceTruth(0.022, 0.0060, 0.72, 0.15),
    "gravel": SurfaceTruth(0.024, 0.0035, 0.80, 0.20),
    "dirt": SurfaceTruth(0.033, 0.0045, 0.75, 0.28),
    "grass": SurfaceTruth(0.060, 0.0050, 0.65, 0.30),
    "sand": SurfaceTruth(0.110, 0.0030, 0.50, 0.25),
}
"""Every surface a simulated course may have, by its name in a tag file."""

SURFACE_NAMES: tuple[str, ...] = tuple(SURFACES)
"""Surface names; a surface index in the simulator is a place in this tuple."""
