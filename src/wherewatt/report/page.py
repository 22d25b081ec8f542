"""The report as one page that opens offline."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from wherewatt.report import view
from wherewatt.report.figures import energy_figure, profile_figure, svg_element
from wherewatt.report.result import RideResult
from wherewatt.report.tables import summary
from wherewatt.report.wording import CAUTIONS, HANDBOOK_WARNING, number, plain
from wherewatt.units import DistanceUnit


def render_page(result: RideResult, unit: DistanceUnit) -> str:
    """Render the report of a ride as HTML, with its charts inside and nothing to fetch.

    Parameters
    ----------
    result : the ride.
    unit : unit of distances.
    """
    # Escaped by default: names of tracks, surfaces and the like come from files.
    environment = Environment(
        loader=PackageLoader("wherewatt.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    *causes, cause_total = view.cause_rows(result)
    facts = summary(result)
    return environment.get_template("report.html.j2").render(
        name=plain(result.name),
        unit=str(unit),
        height_unit=unit.height_name,
        speed_unit=unit.speed_name,
        started=_start(result),
        time_line=view.time_line(result),
        handbook_warning=HANDBOOK_WARNING if view.is_handbook_only(result) else "",
        answer=view.headline(result, unit),
        cautions=CAUTIONS,
        profile_svg=Markup(svg_element(profile_figure(result, unit), "profile")),
        profile_alt=_profile_alt(result, unit),
        energy_svg=Markup(svg_element(energy_figure(result, unit), "energy")),
        sections=view.section_rows(result, unit),
        section_total=view.section_total(result, unit),
        causes=causes,
        cause_total=cause_total,
        display=view.display_rows(result, unit),
        parameters=view.parameter_rows(result),
        warnings=view.warnings(result),
        track=facts["track"],
        file=plain(facts["track"]["file"]),
        version=facts["versions"]["wherewatt"],
    )


def _start(result: RideResult) -> str:
    """Start of the ride in UTC, for people."""
    start = datetime.fromtimestamp(result.ride.start_unix_ns // 10**9, UTC)
    return f"{start.day} {start:%B %Y, %H:%M} UTC"


def _profile_alt(result: RideResult, unit: DistanceUnit) -> str:
    """What the profile shows, for those who do not see it."""
    height = result.height_m / unit.height_metres
    remaining = 100.0 * result.remaining[0]
    low, high = (number(float(end), 0) for end in (np.min(height), np.max(height)))
    text = (
        f"Height over {number(result.ride.distance_m[-1] / unit.metres, 1)} {unit}, between "
        f"{low} and {high} {unit.height_name}, in {len(result.sections)} sections by terrain, "
        "surface and flow."
    )
    if len(result.estimate.evidence.shown):
        start, end = (number(float(share), 0) for share in remaining[[0, -1]])
        text += f" Below, the estimated energy left falls from {start} % to {end} %."
    return text + " The same numbers stand in the tables."
