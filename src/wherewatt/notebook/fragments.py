"""Rides and reports as fragments of HTML: closed in themselves, light or dark as their notebook."""

from __future__ import annotations

from importlib.resources import files
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from wherewatt.ingest.track import Note
from wherewatt.notebook.drawing import HEIGHT, WIDTH, draw_course, draw_profile
from wherewatt.report import view
from wherewatt.report.html_templates import html_templates
from wherewatt.report.profile_data import profile_data
from wherewatt.report.wording import CAUTION_LINE, HANDBOOK_WARNING, INTERVAL_LINE, plain

if TYPE_CHECKING:
    from wherewatt.notebook.reading import RecordedRide
    from wherewatt.notebook.reporting import RideReport


def report_fragment(report: RideReport) -> str:
    """A report in short: the answer, the profile, the sections, notes and cautions."""
    result, unit = report.result, report.unit
    charge_told = result.estimate.evidence.charge_told
    return _rendered(
        "report.html.j2",
        name=plain(report.name),
        time_line=view.time_line(result),
        handbook_warning=HANDBOOK_WARNING if view.is_handbook_only(result) else "",
        answer=view.headline(result, unit),
        profile=draw_profile(profile_data(result, unit), charge_told=charge_told),
        width=WIDTH,
        height=HEIGHT,
        unit=str(unit),
        sections=view.section_rows(result, unit),
        total=view.section_total(result, unit),
        notes=view.warnings(result),
        interval_line=INTERVAL_LINE,
        caution_line=CAUTION_LINE,
    )


def ride_fragment(ride: RecordedRide) -> str:
    """A recording in short: its shape, length, duration, sampling, and notes."""
    return _rendered(
        "ride.html.j2",
        name=plain(ride.name),
        facts={name: plain(said) for name, said in ride.facts.items()},
        course=draw_course(ride.ride),
        notes=[_sentence(note) for note in ride.notes],
    )


def _sentence(note: Note) -> str:
    text = plain(note.message)
    return f"{text[:1].upper()}{text[1:].rstrip('.')}."


def _rendered(template: str, **values: Any) -> str:
    style = (files("wherewatt.notebook") / "templates" / "fragment.css").read_text(encoding="utf-8")
    templates = html_templates("wherewatt.notebook")
    return templates.get_template(template).render(style=Markup(style), **values)
