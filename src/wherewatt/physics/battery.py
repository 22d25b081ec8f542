"""Battery: percent of charge against percent of energy.

A display that counts charge does not count energy: the cell's voltage falls as it empties, so
one percent near the top holds more watt-hours than one percent near the bottom.
"""

from __future__ import annotations

import numpy as np

from wherewatt.arrays import FloatArray

# Open-circuit voltage of an NMC811/graphite cell at 0, 10 … 100 % of charge: Chen et al. (2020),
# J. Electrochem. Soc. 167:080534, evaluated at 25 °C between 2.5 and 4.2 V.
NMC_CHARGE = np.array([0.0, 0.01, 0.03, 0.06, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0])
NMC_OPEN_CIRCUIT_V = np.array(
    [2.5, 2.7114, 2.9712, 3.1553, 3.2959, 3.4852, 3.5815, 3.6670, 3.7509, 3.8406, 3.9479]
    + [4.0421, 4.0967, 4.2000]
)


def energy_fraction(charge: FloatArray | float) -> FloatArray | float:
    """Share of the energy that remains at a share of charge, both in [0, 1].

    Integral of the open-circuit voltage over charge (trapezoid rule on the table above).
    """
    steps = np.diff(NMC_CHARGE) * (NMC_OPEN_CIRCUIT_V[1:] + NMC_OPEN_CIRCUIT_V[:-1]) / 2.0
    energy = np.concatenate([[0.0], np.cumsum(steps)])
    return np.interp(charge, NMC_CHARGE, energy / energy[-1])


def charge_surplus(energy: FloatArray | float) -> FloatArray:
    """Share of charge less share of energy [1] when a share `energy` of the energy remains.

    This is by how much a charge-counting display stands above an energy-counting one.
    """
    fine = np.linspace(0.0, 1.0, 201)
    charge = np.interp(energy, energy_fraction(fine), fine)
    return np.asarray(charge - np.asarray(energy), dtype=float)
