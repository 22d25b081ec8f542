"""A prediction in words and tables."""

from __future__ import annotations

import numpy as np

from wherewatt.config import Config
from wherewatt.outlook.draws import Spread
from wherewatt.outlook.predict import Change, Mark, Prediction, Worth
from wherewatt.outlook.printed import Grid, Heading, Printed
from wherewatt.report.wording import duration, number, plain, words
from wherewatt.units import DistanceUnit

CAUTION = (
    "A prediction is not a promise: keep a reserve, and know where to charge or how to get home. "
    "Do not run a lithium pack flat. Do not read a screen while riding."
)
_STEPS = (1.0, 2.0, 5.0)


def row_every_m(length_m: float, unit: DistanceUnit, rows: int) -> float:
    """A round distance that makes about so many rows of a table [m]."""
    wanted = length_m / unit.metres / rows
    power = 10.0 ** np.floor(np.log10(wanted))
    step = next((step for step in _STEPS if step * power >= wanted), 10.0)
    return float(step * power * unit.metres)


def view_of(prediction: Prediction, config: Config, unit: DistanceUnit) -> Printed:
    """The answer, the charge along the course, what changes are worth, notes and cautions."""
    return Printed(
        answers=tuple(_answers(prediction, unit)),
        grids=(
            _asked(prediction, unit),
            _along(prediction, unit),
            _worth(prediction, config, unit),
        ),
        notes=tuple(plain(note.message) for note in prediction.notes),
        caution=CAUTION,
    )


def _answers(prediction: Prediction, unit: DistanceUnit) -> list[str]:
    request, end = prediction.request, prediction.along[-1]
    again = "" if request.course.loop else ", there and back"
    full = _distance(prediction.full_range_m, unit)
    answers = [f"{plain(request.vehicle.name)}: a full charge goes {full}{again}."]
    reserve = f"the reserve of {request.reserve_pct:g} %"
    if request.battery_pct is not None or request.reserve_pct > 0.0:
        charge = 100.0 if request.battery_pct is None else request.battery_pct
        left = _distance(prediction.range_m, unit)
        answers.append(f"From {charge:g} % down to {reserve} it goes {left}.")
    if request.to_the_end:
        length = number(request.course.length_m / unit.metres, 1)
        percent = _with_interval(end.left.times(100.0), 0, "%")
        answers.append(
            f"At the end of {length} {unit} there is {percent} left; the chance that it is no less "
            f"than {reserve} is {_chance(prediction.chance)}."
        )
        if prediction.chance < 0.95:
            answers.append("That is not sure enough to set out on without a way to charge.")
    consumption = _with_interval(prediction.wh_per_km.times(unit.metres / 1000.0), 1, f"Wh/{unit}")
    answers.append(f"It takes {consumption}, and {duration(prediction.duration_s)} with stops.")
    return answers


def _asked(prediction: Prediction, unit: DistanceUnit) -> Grid:
    request, day = prediction.request, prediction.request.day
    course, pace, weather = request.course, request.pace, request.day.weather
    per_hour = 3600.0 / unit.metres
    surfaces = ", ".join(words(name) for name in course.surfaces)
    wind = "not said"
    if weather.wind_speed_m_s is not None:
        wind = f"{weather.wind_speed_m_s:g} m/s at 10 m"
        if weather.wind_from_deg is not None and weather.wind_speed_m_s > 0.0:
            wind += f" from {weather.wind_from_deg:.0f}°"
    rider = "not said" if day.rider_mass_kg is None else f"{day.rider_mass_kg:.0f} kg"
    warmth = "not said" if weather.temperature_c is None else f"{weather.temperature_c:.0f} °C"
    rows = (
        ("Course", f"{plain(course.name)}, {course.length_m / unit.metres:.1f} {unit}"),
        ("Ascent", f"{course.ascent_m / unit.height_metres:.0f} {unit.height_name}"),
        ("Surface", surfaces),
        ("Stops", f"{len(course.stops_m)} of {pace.stop_s:.0f} s"),
        ("Top speed", f"{pace.top_speed_m_s * per_hour:.0f} {unit.speed_name}"),
        ("Acceleration", f"{pace.acceleration_m_s2:g} m/s²"),
        ("Motor, at the wheel", f"{pace.wheel_power_w:.0f} W at most"),
        ("Rider with kit", rider),
        ("Temperature", warmth),
        ("Wind", wind),
    )
    return Grid("For:", (Heading("What", words=True), Heading("How much", words=True)), rows)


def _along(prediction: Prediction, unit: DistanceUnit) -> Grid:
    headings = (
        Heading(f"At, {unit}"),
        Heading("Time"),
        Heading("Left, %"),
        Heading("90 % interval"),
        Heading("Display at rest, %"),
    )
    rows = tuple(_mark(mark, unit) for mark in prediction.along)
    below = (
        "Left is energy, which is what takes you on; a display that counts charge shows another "
        "percent, less while the motor pulls, and falls fast near empty.",
    )
    return Grid("Charge along the course:", headings, rows, below=below)


def _mark(mark: Mark, unit: DistanceUnit) -> tuple[str, ...]:
    percent = mark.left.times(100.0)
    return (
        number(mark.at_m / unit.metres, 1),
        duration(mark.time_s),
        number(max(percent.median, 0.0), 0),
        _interval(percent, 0, low=0.0),
        number(mark.shown_pct.median, 0),
    )


def _worth(prediction: Prediction, config: Config, unit: DistanceUnit) -> Grid:
    headings = (
        Heading("Change", words=True),
        Heading(f"Wh/{unit}"),
        Heading("90 % interval"),
        Heading(f"Range, {unit}"),
        Heading("90 % interval"),
    )
    rows = tuple(_worth_row(worth, config, unit) for worth in prediction.worth)
    below = (
        "Each change alone, everything else as asked. The intervals are narrower than those of the "
        "range: what is unknown of the vehicle is the same before and after.",
    )
    return Grid("What a change is worth on a full charge:", headings, rows, below=below)


def _worth_row(worth: Worth, config: Config, unit: DistanceUnit) -> tuple[str, ...]:
    per_distance = worth.wh_per_km.times(unit.metres / 1000.0)
    farther = worth.range_m.times(1.0 / unit.metres)
    return (
        _change_words(worth.change, config, unit),
        _signed(per_distance.median, 2),
        _interval(per_distance, 2),
        _signed(farther.median, 1),
        _interval(farther, 1),
    )


def _change_words(change: Change, config: Config, unit: DistanceUnit) -> str:
    settings = config.outlook
    speed = settings.more_speed_m_s * 3600.0 / unit.metres
    return {
        Change.MASS: f"{settings.more_mass_kg:g} kg more",
        Change.SPEED: f"{speed:.1f} {unit.speed_name} faster",
        Change.HEADWIND: f"{settings.more_headwind_m_s:g} m/s of headwind felt all the way",
        Change.SURFACE: f"all on {words(settings.other_surface)}, slowed by it",
    }[change]


def _distance(spread: Spread, unit: DistanceUnit) -> str:
    if not np.isfinite(spread.median):
        return "on without end: the course gives back what it takes"
    return _with_interval(spread.times(1.0 / unit.metres), 1, str(unit))


def _with_interval(spread: Spread, decimals: int, unit: str) -> str:
    interval = _interval(spread, decimals)
    return f"{number(spread.median, decimals)} {unit} (90 % interval {interval} {unit})"


def _interval(spread: Spread, decimals: int, *, low: float = -np.inf) -> str:
    ends = (max(low, spread.low90), max(low, spread.high90))
    return " to ".join(number(end, decimals) if np.isfinite(end) else "∞" for end in ends)


def _signed(value: float, decimals: int) -> str:
    text = number(value, decimals)
    return text if text.startswith("−") else f"+{text}"


def _chance(chance: float) -> str:
    if chance > 0.99:
        return "above 99 %"
    return "below 1 %" if chance < 0.01 else f"{100.0 * chance:.0f} %"
