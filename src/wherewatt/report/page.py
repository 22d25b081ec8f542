"""The report as one page that opens offline."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from importlib.resources import files
from typing import Any

import numpy as np
from jinja2.utils import htmlsafe_json_dumps
from markupsafe import Markup

from wherewatt import __version__
from wherewatt.report import view
from wherewatt.report.chart_script import chart_library, script_hash
from wherewatt.report.charts.battery import battery_chart
from wherewatt.report.charts.course import course_chart
from wherewatt.report.charts.curves import Curves, curves_of, section_natures
from wherewatt.report.charts.energy import causes_chart, sections_chart
from wherewatt.report.charts.parts import Chart
from wherewatt.report.charts.profile import profile_chart
from wherewatt.report.html_templates import html_templates
from wherewatt.report.legend import cells, in_both, legend
from wherewatt.report.result import RideResult
from wherewatt.report.tables import track_facts
from wherewatt.report.wording import CAUTIONS, HANDBOOK_WARNING, NO_RANGE, number, plain
from wherewatt.units import DistanceUnit

_UNITS = (DistanceUnit.KM, DistanceUnit.MI)  # in the order in which the templates take them


def render_page(result: RideResult, unit: DistanceUnit) -> str:
    """Render the report of a ride as HTML, with its charts inside and nothing to fetch.

    Parameters
    ----------
    result : the ride.
    unit : unit in which it opens; the page has a switch.

    Raises
    ------
    OutputError
        If the script of the chart library is missing.
    """
    facts = track_facts(result)
    return (
        html_templates("wherewatt.report", keep_trailing_newline=True)
        .get_template("report.html.j2")
        .render(
            name=plain(result.name),
            unit=str(unit),
            started=_start(result),
            time_line=view.time_line(result),
            handbook_warning=HANDBOOK_WARNING if view.is_handbook_only(result) else "",
            cautions=CAUTIONS,
            warnings=view.warnings(result),
            track=facts,
            file=plain(facts["file"]),
            version=__version__,
            **_tables(result),
            **_charts(result, unit),
            **_scripts(),
        )
    )


def _tables(result: RideResult) -> dict[str, Any]:
    """Rows of all tables, each in both units."""
    *causes, cause_total = view.cause_rows(result)
    return {
        "answer": _in_both(view.headline(result, unit) for unit in _UNITS),
        "no_range": NO_RANGE,
        "sections": _in_both(view.section_rows(result, unit) for unit in _UNITS),
        "section_total": cells(*(view.section_total(result, unit) for unit in _UNITS)),
        "causes": causes,
        "cause_total": cause_total,
        "display": _in_both(view.display_rows(result, unit) for unit in _UNITS),
        "voltages": _in_both(view.voltage_rows(result, unit) for unit in _UNITS),
        "parameters": view.parameter_rows(result),
        "both": in_both,
    }


def _in_both(rows: Iterable[Sequence[Any]]) -> list[dict[str, Markup]]:
    return [cells(km, mi) for km, mi in zip(*rows, strict=True)]


def _charts(result: RideResult, unit: DistanceUnit) -> dict[str, Any]:
    """The charts, what they say in words, and all that goes to the script."""
    curves = curves_of(result)
    course, surface_keys = course_chart(result, curves)
    charts: dict[str, Chart] = {
        "course": course,
        "profile": profile_chart(result, curves),
        "battery": battery_chart(result, curves),
        "sections": sections_chart(result),
        "causes": causes_chart(result),
    }
    carried = {
        "ride": curves.carried(charge_known=bool(len(result.estimate.evidence.shown))),
        "sections": [plain(nature) for nature in section_natures(result)],
        "units": {str(unit): _unit(unit) for unit in _UNITS},
        "charts": {name: chart.carried() for name, chart in charts.items()},
    }
    return {
        "keys": {
            **{name: legend(chart.keys) for name, chart in charts.items()},
            "surface": legend(surface_keys),
        },
        "shaded": result.backdrop is not None,
        "course_alt": _course_alt(curves, unit),
        "profile_alt": _profile_alt(result, unit),
        "battery_alt": _battery_alt(result),
        "carried": htmlsafe_json_dumps(carried, allow_nan=False, separators=(",", ":")),
    }


def _scripts() -> dict[str, Any]:
    """The style, the scripts, and the policy that lets these run and nothing be fetched."""
    folder = files("wherewatt.report") / "templates"
    own = (folder / "report.js").read_text(encoding="utf-8")
    library = chart_library()
    policy = (
        "default-src 'none'; "
        f"script-src {script_hash(library)} {script_hash(own)}; "
        "style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'"
    )
    return {
        "library": Markup(library),
        "script": Markup(own),
        "style": Markup((folder / "report.css").read_text(encoding="utf-8")),
        "policy": policy,
    }


def _unit(unit: DistanceUnit) -> dict[str, Any]:
    return {
        "name": str(unit),
        "metres": unit.metres,
        "height_metres": unit.height_metres,
        "height_name": unit.height_name,
        "speed_name": unit.speed_name,
    }


def _start(result: RideResult) -> str:
    """Start of the ride in UTC, for people."""
    start = datetime.fromtimestamp(result.ride.start_unix_ns // 10**9, UTC)
    return f"{start.day} {start:%B %Y, %H:%M} UTC"


def _course_alt(curves: Curves, unit: DistanceUnit) -> str:
    east, north = (np.ptp(way) / unit.metres for way in (curves.east_m, curves.north_m))
    return (
        f"Map of the course, {number(float(east), 1)} {unit} from west to east and "
        f"{number(float(north), 1)} {unit} from south to north, by consumption or by surface. "
        "The numbers stand in table 2."
    )


def _profile_alt(result: RideResult, unit: DistanceUnit) -> str:
    """What the profile shows, for those who do not see it."""
    height = result.height_m / unit.height_metres
    low, high = (number(float(end), 0) for end in (np.min(height), np.max(height)))
    return (
        f"Height over {number(result.ride.distance_m[-1] / unit.metres, 1)} {unit}, between "
        f"{low} and {high} {unit.height_name}, in {len(result.sections)} sections by terrain, "
        "surface and flow. The same numbers stand in table 2."
    )


def _battery_alt(result: RideResult) -> str:
    if not len(result.estimate.evidence.shown):
        used = number(result.ledger.total.mean, 0)
        return f"The estimated energy used grows from 0 to {used} Wh, as table 2 adds up."
    start, end = (number(float(share), 0) for share in 100.0 * result.remaining[0][[0, -1]])
    return (
        f"The estimated energy left falls from {start} % to {end} %. "
        "The call-outs and what was expected stand in table 4."
    )
