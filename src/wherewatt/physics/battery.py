"""Battery: percent of charge against percent of energy.

A display that counts charge does not count energy: the cell's voltage falls as it empties, so
one percent near the top holds more watt-hours than one percent near the bottom.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from wherewatt.arrays import FloatArray

# Open-circuit voltage of an NMC811/graphite cell at 0, 10 … 100 % of charge: Chen et al. (2020),
# J. Electrochem. Soc. 167:080534, evaluated at 25 °C between 2.5 and 4.2 V.
NMC_CHARGE = np.array([0.0, 0.01, 0.03, 0.06, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0])
NMC_OPEN_CIRCUIT_V = np.array(
    [
        *(2.5, 2.7114, 2.9712, 3.1553, 3.2959, 3.4852, 3.5815),
        *(3.6670, 3.7509, 3.8406, 3.9479, 4.0421, 4.0967, 4.2000),
    ]
)


def energy_fraction(charge: FloatArray | float) -> FloatArray | float:
    """Share of the energy that remains at a share of charge, both in [0, 1].

    Integral of the open-circuit voltage over charge (trapezoid rule on the table above).
    """
    steps = np.diff(NMC_CHARGE) * (NMC_OPEN_CIRCUIT_V[1:] + NMC_OPEN_CIRCUIT_V[:-1]) / 2.0
    energy = np.concatenate([[0.0], np.cumsum(steps)])
    return np.interp(charge, NMC_CHARGE, energy / energy[-1])


def charge_surplus(energy: FloatArray | float) -> tuple[FloatArray, FloatArray]:
    """By how much a display that counts charge stands above one that counts energy.

    Parameters
    ----------
    energy : share of the energy that remains [1]; beyond empty and full the surplus is zero.

    Returns
    -------
    Share of charge less share of energy [1], and its derivative by the latter.
    """
    level, surplus, slope = _surplus_table()
    inside = (np.asarray(energy) >= 0.0) & (np.asarray(energy) <= 1.0)
    return (
        np.asarray(np.interp(energy, level, surplus)),
        np.where(inside, np.interp(energy, level, slope), 0.0),
    )


@cache
def _surplus_table() -> tuple[FloatArray, FloatArray, FloatArray]:
    """Shares of energy, surplus and slope; rounded off so that the slope has no jumps.

    The corners of the coarse voltage table are none of the cell's.
    """
    level = np.linspace(0.0, 1.0, 401)
    charge = np.linspace(0.0, 1.0, 401)
    surplus = np.interp(level, energy_fraction(charge), charge) - level
    kernel = np.hanning(25)[1:-1]
    padded = np.pad(surplus, len(kernel) // 2, mode="reflect", reflect_type="odd")
    smooth = np.convolve(padded, kernel / kernel.sum(), mode="valid")
    return level, smooth, np.gradient(smooth, level)
