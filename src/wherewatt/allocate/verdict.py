"""What the ride taught: of each parameter, of each call-out, and of the display as a whole."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wherewatt.allocate.estimate import Estimate
from wherewatt.allocate.ledger import Z90
from wherewatt.allocate.parameters import Parameter
from wherewatt.allocate.phrases import capital, listed, nouns_of, number, phrase_of
from wherewatt.allocate.settings import EstimateSettings
from wherewatt.arrays import FloatArray
from wherewatt.text import counted


@dataclass(frozen=True, slots=True)
class ParameterVerdict:
    """A parameter after the ride, in its own unit.

    Parameters
    ----------
    item : the parameter, with what was known before.
    mean : most probable value.
    low90, high90 : its 90 % interval, taken on the scale on which the prior is normal.
    informed_pct : how much the data told of it [%]: the part of its variance, on that scale, that
        they took away; 0 leaves what was known before, 100 is the data's alone.
    said : the same in words.
    """

    item: Parameter
    mean: float
    low90: float
    high90: float
    informed_pct: float
    said: str


@dataclass(frozen=True, slots=True)
class CallOutVerdict:
    """A call-out against the estimate.

    Parameters
    ----------
    at_m : where [m].
    shown_pct : what was shown [%].
    left_pct, left_sd : energy truly left, and its standard deviation [%].
    expected_pct : what a display such as this should have shown [%].
    residual_points : shown less expected [points].
    residual_sds : the same in standard deviations of a call-out that is not misread.
    weight_pct : share of the full weight it kept [%].
    set_aside : True where that is next to nothing.
    """

    at_m: float
    shown_pct: float
    left_pct: float
    left_sd: float
    expected_pct: float
    residual_points: float
    residual_sds: float
    weight_pct: float
    set_aside: bool

    @property
    def place(self) -> str:
        """Where it was: "14.2 km"."""
        return f"{self.at_m / 1000.0:.1f} km"


@dataclass(frozen=True, slots=True)
class VoltageVerdict:
    """A call-out of voltage against the estimate.

    Parameters
    ----------
    at_m : where [m].
    shown_v : what was shown [V].
    expected_v : what the pack should have had, with its sag and the meter's offset [V].
    weight_pct : share of the full weight it kept [%].
    set_aside : True where that is next to nothing.
    """

    at_m: float
    shown_v: float
    expected_v: float
    weight_pct: float
    set_aside: bool

    @property
    def residual_v(self) -> float:
        """Shown less expected [V]."""
        return self.shown_v - self.expected_v


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the ride taught.

    Parameters
    ----------
    parameters : in the order of the unknowns.
    call_outs : of percent, in the order of time.
    voltages : call-outs of voltage, in the order of time.
    sentences : the whole for people, only what the data support.
    """

    parameters: tuple[ParameterVerdict, ...]
    call_outs: tuple[CallOutVerdict, ...]
    voltages: tuple[VoltageVerdict, ...]
    sentences: tuple[str, ...]


def verdict_of(estimate: Estimate, left: FloatArray, left_sd: FloatArray) -> Verdict:
    """What a ride taught.

    Parameters
    ----------
    estimate : what was found.
    left, left_sd : (m,) share of the energy left at the call-outs, and its standard deviation [1].
    """
    parameters = _of_parameters(estimate)
    call_outs = _of_call_outs(estimate, 100.0 * left, 100.0 * left_sd)
    voltages = _of_voltages(estimate)
    settings = estimate.evidence.settings
    sentences = (
        *_stood_off(call_outs, settings),
        *(_set_aside(call_out) for call_out in call_outs if call_out.set_aside),
        *(_volts_set_aside(of) for of in voltages if of.set_aside),
        *_of_display(parameters, settings),
        *_of_sources(parameters, settings, _who(estimate)),
    )
    return Verdict(
        parameters, call_outs, voltages, tuple(capital(sentence) for sentence in sentences)
    )


def informed(estimate: Estimate) -> FloatArray:
    """(p,) share of each parameter's variance that the data took away, in [0, 1]."""
    # Scores have unit variance before the ride, whatever the scale of the prior.
    variance = np.diag(estimate.solution.of_parameters)
    return np.minimum(np.maximum(1.0 - variance, 0.0), 1.0)


def robust_residuals(estimate: Estimate) -> FloatArray:
    """(m,) residuals of the call-outs in standard deviations, from the weights they kept.

    A weight of Student's t is (ν + 1) / (ν + u²) at a residual of u standard deviations (Lange,
    Little and Taylor 1989, J. Am. Stat. Assoc. 84:881).
    """
    dof = estimate.evidence.settings.student_dof
    square = np.maximum((dof + 1.0) / estimate.callout_weight - dof, 0.0)
    residual = estimate.evidence.shown.percent - estimate.display.percent
    return np.asarray(np.sign(residual) * np.sqrt(square))


def _who(estimate: Estimate) -> str:
    """Whose data the posterior holds."""
    return "the ride" if estimate.evidence.known is None else "this ride with the others"


def _of_parameters(estimate: Estimate) -> tuple[ParameterVerdict, ...]:
    parameters, settings, who = (
        estimate.evidence.parameters,
        estimate.evidence.settings,
        _who(estimate),
    )
    scores = estimate.solution.scores[: len(parameters)]
    off = Z90 * np.sqrt(np.diag(estimate.solution.of_parameters))
    ends = [parameters.values(scores + way * off).values() for way in (-1.0, 1.0)]
    told_pct = (100.0 * informed(estimate)).tolist()
    means = parameters.values(scores).values()
    return tuple(
        _of_parameter(item, (mean, min(span), max(span)), told, settings, who)
        for item, mean, *span, told in zip(parameters.items, means, *ends, told_pct, strict=True)
    )


def _of_parameter(
    item: Parameter,
    values: tuple[float, float, float],
    told_pct: float,
    settings: EstimateSettings,
    who: str,
) -> ParameterVerdict:
    """What the ride taught of a parameter, from its mean and the ends of its interval."""
    mean, low, high = values
    phrase = phrase_of(item.name)
    said = f"{phrase.said(mean, (high - low) / 2.0)} ({phrase.between(low, high)})"
    if told_pct < settings.silent_pct:
        said = f"{who} said nothing about {phrase.noun}; it stays {said}"
    elif told_pct < settings.told_pct:
        said = f"{who} said a little about {phrase.noun}: {said}"
    else:
        said = f"{who} measured {phrase.noun}: {said}"
    return ParameterVerdict(item, mean, low, high, told_pct, capital(said))


def _of_call_outs(
    estimate: Estimate, left_pct: FloatArray, left_sd: FloatArray
) -> tuple[CallOutVerdict, ...]:
    shown, settings = estimate.evidence.shown, estimate.evidence.settings
    weight = _of_full(estimate.callout_weight, settings)
    expected = estimate.display.percent
    columns = (
        shown.distance_m,
        shown.percent,
        left_pct,
        left_sd,
        expected,
        shown.percent - expected,
        robust_residuals(estimate),
        100.0 * weight,
        weight < settings.set_aside_weight,
    )
    return tuple(map(CallOutVerdict, *(column.tolist() for column in columns)))


def _of_voltages(estimate: Estimate) -> tuple[VoltageVerdict, ...]:
    shown, settings = estimate.evidence.voltage, estimate.evidence.settings
    weight = _of_full(estimate.voltage_weight, settings)
    columns = (
        shown.distance_m,
        shown.volts,
        estimate.meter_v,
        100.0 * weight,
        weight < settings.set_aside_weight,
    )
    return tuple(map(VoltageVerdict, *(column.tolist() for column in columns)))


def _of_full(weight: FloatArray, settings: EstimateSettings) -> FloatArray:
    """Weights as shares of that of a call-out that fits exactly, which is (ν + 1)/ν."""
    return weight * settings.student_dof / (settings.student_dof + 1.0)


def _stood_off(call_outs: tuple[CallOutVerdict, ...], settings: EstimateSettings) -> list[str]:
    """Where the display stood highest above what was left, and where lowest below it.

    Only where the whole 90 % interval of what was left is farther off than is worth telling.
    """
    kept = [call_out for call_out in call_outs if not call_out.set_aside]
    sentences = []
    for way, word in ((1.0, "high"), (-1.0, "low")):
        sure = [
            (off - Z90 * call_out.left_sd, off, call_out)
            for call_out in kept
            if (off := way * (call_out.shown_pct - call_out.left_pct)) > 0.0
        ]
        nearest, off, call_out = max(sure, key=lambda row: row[0], default=(0.0, 0.0, None))
        if call_out is not None and nearest > settings.off_points:
            far = 2.0 * off - nearest
            sentences.append(
                f"the display stood {off:.0f} points {word} at {call_out.place} "
                f"({nearest:.0f} to {far:.0f})"
            )
    return sentences


def _set_aside(call_out: CallOutVerdict) -> str:
    off = call_out.shown_pct - call_out.left_pct
    return (
        f"{call_out.place}: shown {call_out.shown_pct:.0f} %, {_off(off)} what was left and "
        f"{_off(call_out.residual_points)} what was expected of the display: set aside"
    )


def _volts_set_aside(of: VoltageVerdict) -> str:
    way = "above" if of.residual_v > 0.0 else "below"
    return (
        f"{of.at_m / 1000.0:.1f} km: shown {of.shown_v:.1f} V, {abs(of.residual_v):.1f} V {way} "
        "what was expected of the pack: set aside"
    )


def _off(points: float) -> str:
    return f"{counted(round(abs(points)), 'point')} {'above' if points > 0.0 else 'below'}"


def _of_display(parameters: tuple[ParameterVerdict, ...], settings: EstimateSettings) -> list[str]:
    """What the posterior supports of delay, sag and bend."""
    of = {parameter.item.name: parameter for parameter in parameters}
    sentences = []
    delay, sag, bend = of["display_delay_s"], of["display_sag"], of["display_bend"]
    if delay.informed_pct >= settings.told_pct:
        sentences.append(f"the display runs about {delay.mean:.0f} s late ({_span(delay)} s)")
    if sag.informed_pct >= settings.told_pct:
        sentences.append(
            f"the display sags {number(sag.mean, (sag.high90 - sag.low90) / 2.0)} points per kW "
            f"({_span(sag)})"
        )
    # Half way between counting energy (0) and counting charge (1).
    if bend.low90 > 0.5 and bend.informed_pct >= settings.silent_pct:
        sentences.append(f"the display counts charge rather than energy ({_span(bend)}, charge: 1)")
    elif bend.high90 < 0.5 and bend.informed_pct >= settings.silent_pct:
        sentences.append(f"the display counts energy rather than charge ({_span(bend)}, energy: 0)")
    return sentences


def _span(parameter: ParameterVerdict) -> str:
    spread = (parameter.high90 - parameter.low90) / 2.0
    return f"{number(parameter.low90, spread)} to {number(parameter.high90, spread)}"


def _of_sources(
    parameters: tuple[ParameterVerdict, ...], settings: EstimateSettings, who: str
) -> list[str]:
    """Which parameters are the ride's, and which are what was known before."""
    told = {parameter.item.name: parameter.informed_pct for parameter in parameters}
    measured = nouns_of([name for name, pct in told.items() if pct >= settings.told_pct])
    silent = nouns_of([name for name, pct in told.items() if pct < settings.silent_pct])
    sentences = []
    if measured:
        sentences.append(f"{who} measured {listed(measured)}")
    if silent:
        sentences.append(f"{who} said nothing about {listed(silent)}")
    return sentences
