"""What does not fit together, as notes: nothing that contradicts itself passes in silence.

The checks are quiet on rides that are as the model thinks of them; `config/defaults.toml` says how
each threshold was chosen.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

import numpy as np
from scipy.special import digamma, gammaincc, polygamma

from wherewatt.allocate.accounts import (
    Account,
    display_account,
    display_fall,
    handbook_account,
    recharge_account,
)
from wherewatt.allocate.estimate import Estimate
from wherewatt.allocate.phrases import phrase_of
from wherewatt.allocate.settings import DiagnosticSettings, Prior
from wherewatt.allocate.verdict import informed, robust_residuals
from wherewatt.arrays import FloatArray
from wherewatt.ingest.sheet import RideSheet
from wherewatt.ingest.track import Note
from wherewatt.units import KILOGRAMS_PER_POUND

_WIND = ("wind_east_m_s", "wind_north_m_s")


def diagnose(estimate: Estimate, settings: DiagnosticSettings) -> list[Note]:
    """What in the evidence of a ride contradicts the rest of it.

    Call-outs that contradict the track make everything that was learned from them doubtful, so
    nothing is said of parameters then.
    """
    odd = _odd_call_outs(estimate, settings)
    energy = _odd_energies(estimate, settings)
    if odd:
        return [*odd, *(note for note in energy if note.code == "recharge-contradicts-sheet")]
    explained = bool(energy)
    return [
        *energy,
        *_odd_parameters(estimate, settings, explained),
        *_odd_height(estimate, settings),
    ]


def doubtful_mass(
    sheet: RideSheet, priors: Mapping[str, Prior], settings: DiagnosticSettings
) -> list[Note]:
    """A rider's mass that is odd in kilograms and ordinary as pounds.

    Vehicles are not asked: heavy ones weigh in kilograms what light ones weigh in pounds.
    """
    mass_kg, prior = sheet.rider.mass_kg, priors["rider_mass_kg"]
    most_kg = prior.center + settings.mass_sds * prior.spread
    if mass_kg is None or not most_kg < mass_kg < most_kg / KILOGRAMS_PER_POUND:
        return []
    message = (
        f"the rider's mass is stated as {mass_kg:.0f} kg: if that is pounds, write "
        f"mass_lb = {mass_kg:.0f}, and see to the vehicle's too"
    )
    return [Note("mass-in-pounds", message)]


def misfit_chance(residual_sds: FloatArray, dof: float) -> float:
    """How often call-outs of Student's t would fit as badly as these, or worse [1].

    A residual t has the misfit (ν + 1) log(1 + t²/ν), which is −(ν + 1) log B of a beta variable
    B(ν/2, 1/2): mean (ν + 1) (ψ(ν/2 + 1/2) − ψ(ν/2)), variance (ν + 1)² (ψ₁(ν/2) − ψ₁(ν/2 + 1/2))
    (Johnson, Kotz and Balakrishnan 1995, Continuous Univariate Distributions 2, ch. 25 and 28). The
    sum over the call-outs is taken as the gamma variable of the same mean and variance.

    Parameters
    ----------
    residual_sds : (m,) residuals in standard deviations.
    dof : degrees of freedom ν.
    """
    if len(residual_sds) == 0:
        return 1.0
    misfit = (dof + 1.0) * float(np.sum(np.log1p(np.square(residual_sds) / dof)))
    mean, variance = _moments_of_misfit(dof)
    # The survival function of a gamma variable; scipy.stats has it by name, but loads slowly.
    return float(gammaincc(len(residual_sds) * mean**2 / variance, misfit / (variance / mean)))


@cache
def _moments_of_misfit(dof: float) -> tuple[float, float]:
    """Mean and variance of the misfit of one residual."""
    mean = digamma((dof + 1.0) / 2.0) - digamma(dof / 2.0)
    variance = polygamma(1, dof / 2.0) - polygamma(1, (dof + 1.0) / 2.0)
    return (dof + 1.0) * float(mean), (dof + 1.0) ** 2 * float(variance)


def _odd_call_outs(estimate: Estimate, settings: DiagnosticSettings) -> list[Note]:
    """Whether the call-outs could be of this ride at all."""
    residuals = robust_residuals(estimate)
    if misfit_chance(residuals, estimate.evidence.settings.student_dof) >= settings.callout_chance:
        return []
    typical = float(np.sqrt(np.mean(np.square(residuals))))
    fall = display_fall(estimate)
    rising = fall is not None and fall.points < -2.0 * fall.sd
    how = "rise while energy is used" if rising else "cannot follow from the energy used"
    message = (
        f"the call-outs contradict the track: they {how}, and are off by {typical:.0f} times their "
        "error; are they of this ride, in the right order and at the right places?"
    )
    return [Note("call-outs-contradict-track", message)]


def _odd_energies(estimate: Estimate, settings: DiagnosticSettings) -> list[Note]:
    """Whether handbook, display and recharge can speak of the same energy."""
    handbook, recharge = handbook_account(estimate), recharge_account(estimate)
    display = display_account(estimate, display_fall(estimate))

    def apart(one: Account | None, other: Account | None) -> str:
        """By how much two accounts contradict each other; empty where they do not."""
        if one is None or other is None:
            return ""
        sds = abs(one.apart(other))
        return f"{sds:.1f} standard deviations apart" if sds > settings.account_sds else ""

    notes = []
    if recharge and display and (far := apart(recharge, display)):
        message = (
            f"the recharge is {recharge.wh:.0f} Wh, but the fall of the display is "
            f"{display.wh:.0f} Wh of the capacity as known before ({far}): is the battery's "
            "capacity right, and was only this ride charged back?"
        )
        notes.append(Note("recharge-contradicts-capacity", message))
    if recharge and handbook and (far := apart(recharge, handbook)):
        message = (
            f"the recharge is {recharge.wh:.0f} Wh, but {_by_handbook(handbook)} ({far}): are they "
            "right, and was only this ride charged back?"
        )
        notes.append(Note("recharge-contradicts-sheet", message))
    if not notes and display and handbook and (far := apart(display, handbook)):
        message = (
            f"the fall of the display is {display.wh:.0f} Wh of the battery, but "
            f"{_by_handbook(handbook)} ({far}): are they and the battery's capacity right?"
        )
        notes.append(Note("call-outs-contradict-sheet", message))
    return notes


def _by_handbook(handbook: Account) -> str:
    return f"such a ride takes {handbook.wh:.0f} Wh by masses, surfaces and wind"


def _odd_parameters(
    estimate: Estimate, settings: DiagnosticSettings, explained: bool
) -> list[Note]:
    """Parameters that the ride pulled farther than their priors allow.

    Where two accounts of the energy contradict each other (`explained`), that is said already: the
    parameters of the energy are what gave way.
    """
    notes = []
    parameters, told = estimate.evidence.parameters, 100.0 * informed(estimate)
    far = np.abs(estimate.solution.scores[: len(parameters)]) > settings.edge_sds
    for number in np.flatnonzero(far & (told >= settings.edge_informed_pct)):
        item = parameters.items[number]
        if item.name in _WIND or (explained and not item.name.startswith("display_")):
            continue
        values, sds = estimate.values, estimate.value_sds
        phrase, prior = phrase_of(item.name), item.prior
        message = (
            f"{phrase.noun} came out at {phrase.said(values[item.name], sds[item.name])}, far from "
            f"{phrase.said(prior.center, sds[item.name])} as known before: {phrase.doubt}"
        )
        notes.append(Note("parameter-at-edge", message))
    return [*notes, *([] if explained else _odd_wind(estimate, settings))]


def _odd_wind(estimate: Estimate, settings: DiagnosticSettings) -> list[Note]:
    """Whether the wind that the ride met can be the one of the sheet.

    The most probable scores of a linear Gaussian model have the covariance 1 − C before the ride
    is known, C being the one after it (Tarantola 2005, ch. 3).
    """
    evidence, solution = estimate.evidence, estimate.solution
    if evidence.wind_speed_m_s <= 0.0:
        return []
    at = [evidence.parameters.index[name] for name in _WIND]
    level, way = np.linalg.eigh(np.eye(2) - solution.of_parameters[np.ix_(at, at)])
    pulled = way.T @ solution.scores[at]
    told = 100.0 * level > settings.edge_informed_pct
    far = float(np.sqrt(np.sum(np.square(pulled[told]) / level[told])))
    if far <= settings.wind_sds:
        return []
    east, north = (estimate.values[name] for name in _WIND)
    from_deg = np.degrees(np.arctan2(-east, -north)) % 360.0
    message = (
        f"the wind came out at {np.hypot(east, north):.1f} m/s from {from_deg:.0f}° at rider "
        "height, far from the sheet's: does wind_from_deg say where it comes from?"
    )
    return [Note("wind-far-off", message)]


def _odd_height(estimate: Estimate, settings: DiagnosticSettings) -> list[Note]:
    """Whether the energy wants heights that neither recording nor terrain allows."""
    before = len(estimate.evidence.parameters) + estimate.cells.stretches
    scores = estimate.solution.scores[before:]
    # No mode can be farther off than all of them together, and modes are slow to find.
    if float(np.linalg.norm(scores)) <= settings.height_sds:
        return []
    rises = estimate.cell_energy.rise_modes
    modes = np.linalg.eigh(rises.T @ rises)[1]
    if float(np.max(np.abs(modes.T @ scores))) <= settings.height_sds:
        return []
    moved = estimate.height_modes @ scores
    at = int(np.argmax(np.abs(moved - moved.mean())))
    place = float(estimate.evidence.sections.edge_m[at]) / 1000.0
    message = (
        f"the energy asks for heights that are {abs(moved[at] - moved.mean()):.0f} m off near "
        f"{place:.1f} km, far beyond their error: are the terrain tiles right?"
    )
    return [Note("height-far-off", message)]
