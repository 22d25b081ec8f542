"""What the temperature does to the handbook's values."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wherewatt.allocate.settings import Assumed, Prior
from wherewatt.physics.battery import cold_energy


def rolling_at(prior: Prior, temperature_c: float | None, assumed: Assumed) -> Prior:
    """The handbook's rolling resistance at a temperature: rubber loses more when it is cold.

    F = F₂₅ / (1 + 0.008 (t − 25 °C)) for car tyres (ISO 28580:2018, value from memory) holds near
    25 °C; the exponential is the same there and stays tame far away. A part of the change is doubt:
    tyres differ, and ground that gives way does not care.
    """
    if temperature_c is None:
        return prior
    change = -assumed.rolling_per_k * (temperature_c - assumed.handbook_c)
    return _changed(prior, change, assumed.change_doubt * change, temperature_c)


def usable_at(prior: Prior, temperature_c: float | None, assumed: Assumed) -> Prior:
    """The handbook's usable share of a pack at a temperature, the less sure the colder."""
    if temperature_c is None:
        return prior
    change = float(np.log(cold_energy(temperature_c, reference_c=assumed.handbook_c)))
    return _changed(prior, change, assumed.cold_doubt * change, temperature_c)


def resistance_at(prior: Prior, temperature_c: float | None, assumed: Assumed) -> Prior:
    """The handbook's resistance of a cell: about twice as much at 0 °C as at 25 °C."""
    if temperature_c is None:
        return prior
    change = np.log(2.0) / 25.0 * (assumed.handbook_c - temperature_c)
    return _changed(prior, change, assumed.change_doubt * change, temperature_c)


def _changed(prior: Prior, change: float, doubt: float, temperature_c: float) -> Prior:
    """A prior of a logarithm, moved and widened."""
    return replace(
        prior,
        center=float(prior.center * np.exp(change)),
        spread=float(np.hypot(prior.spread, doubt)),
        source=f"{prior.source}; at {temperature_c:.0f} °C",
    )
