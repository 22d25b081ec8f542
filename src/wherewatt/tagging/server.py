"""The addresses that the server answers at."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from importlib import resources
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp

from wherewatt.config import Config
from wherewatt.errors import InputError, WherewattError
from wherewatt.tagging.access import REPORT_POLICY, Access, Guard
from wherewatt.tagging.course import Course
from wherewatt.tagging.edits import apply_edits
from wherewatt.tagging.files import ChangedOnDisk
from wherewatt.tagging.lines import place_feature
from wherewatt.tagging.messages import (
    MOST_BYTES,
    Known,
    RequestError,
    document_of,
    edits_from,
    place_from,
    tags_from,
)
from wherewatt.tagging.report_again import Reporter
from wherewatt.tagging.store import PlaceFile, TagFile
from wherewatt.tagging.view import places_view, ride_view, tags_view

PAGE = "tag.html"
_TYPES = {
    ".html": "text/html",
    ".js": "text/javascript",
    ".css": "text/css",
    ".svg": "image/svg+xml",
}
_LEAST_REACHES = 2.0  # a ride is not believed to follow a line for less than twice its reach


@dataclass(frozen=True, slots=True, eq=False)
class Session:
    """One ride, open in the page.

    Parameters
    ----------
    course : the ride.
    config : settings.
    reporter : makes its report anew.
    """

    course: Course
    config: Config
    reporter: Reporter

    @property
    def tags(self) -> TagFile:
        """Its own tags."""
        return TagFile(self.course.track, self.course.ride, self.config.surfaces)

    @property
    def places(self) -> PlaceFile:
        """The tagged places of its folder."""
        return PlaceFile(self.course.track, self.config.surfaces)

    @property
    def known(self) -> Known:
        """What a message may speak of."""
        return Known(self.config.surfaces, self.course.total_m)


def make_app(session: Session, access: Access, done: Callable[[], None]) -> ASGIApp:
    """The app of one session.

    Parameters
    ----------
    session : the ride.
    access : who may talk to it.
    done : called when the user has finished.
    """
    routes = [
        Route("/", _static_answer(PAGE)),
        *(Route(f"/static/{name}", _static_answer(name)) for name in _static_names()),
        Route("/api/ride", _get(session, _ride)),
        Route("/api/tags", _get(session, _tags)),
        Route("/api/places", _get(session, _places)),
        Route("/api/edit", _change(session, _edit), methods=["POST"]),
        Route("/api/tags", _change(session, _save_tags), methods=["PUT"]),
        Route("/api/places", _change(session, _add_place), methods=["POST"]),
        Route("/api/report", _change(session, _report), methods=["POST"]),
        Route("/api/done", _change(session, _ending(done)), methods=["POST"]),
        Route("/report", _report_page(session)),
    ]
    return Guard(Starlette(routes=routes), access)


Plain = dict[str, Any]
Answer = Callable[[Request], Awaitable[Response]]
Change = Callable[[Session, Plain, str], Plain]


def _get(session: Session, view: Callable[[Session], Plain]) -> Answer:
    """Answer with what a view shows; with the problems of a file that cannot be used."""

    async def answer(_request: Request) -> Response:
        try:
            return JSONResponse(await run_in_threadpool(view, session))
        except WherewattError as error:
            return _problems(422, error)

    return answer


def _change(session: Session, change: Change) -> Answer:
    """Answer with the outcome of a change; the version that was seen comes as If-Match."""

    async def answer(request: Request) -> Response:
        try:
            document = document_of(await _body(request))
            seen = request.headers.get("if-match", "").strip('"')
            return JSONResponse(await run_in_threadpool(change, session, document, seen))
        except RequestError as error:
            return _problems(400, error)
        except ChangedOnDisk as error:
            return _problems(412, error)
        except WherewattError as error:
            return _problems(422, error)

    return answer


async def _body(request: Request) -> bytes:
    """The body of a request.

    Raises
    ------
    RequestError
        If it is larger than any that the page sends.
    """
    body = bytearray()
    async for chunk in request.stream():
        body += chunk
        if len(body) > MOST_BYTES:
            raise RequestError(f"more than {MOST_BYTES} bytes")
    return bytes(body)


def _problems(status: int, error: WherewattError) -> Response:
    return JSONResponse({"problems": str(error).splitlines()}, status)


def _ride(session: Session) -> Plain:
    name = session.course.track.name
    view = ride_view(session.course, session.config, session.reporter.unit, name)
    return {**view, "least_place_m": _least_place_m(session)}


def _tags(session: Session) -> Plain:
    """The tags as they stand in their file, or what is wrong with it, and its version."""
    file = session.tags
    before = file.version()  # should it change now, this one is not the one to write over
    state: Plain = {"file": file.path.name, "tags": None, "problems": []}
    try:
        loaded = file.load()
    except InputError as error:
        return {**state, "version": before, "problems": str(error).splitlines()}
    return {**state, "version": loaded.version, "tags": tags_view(loaded.tags)}


def _places(session: Session) -> Plain:
    """Where the ride follows tagged places, or what is wrong with their file, and its version."""
    file = session.places
    before = file.version()  # should it change now, this one is not the one to write over
    state: Plain = {"file": file.path.name, "stretches": [], "problems": []}
    try:
        loaded = file.load()
    except InputError as error:
        return {**state, "version": before, "problems": str(error).splitlines()}
    stretches = places_view(session.course.ride, loaded.lines, session.config.places)
    return {**state, "version": loaded.version, "stretches": stretches}


def _edit(session: Session, document: Plain, _seen: str) -> Plain:
    tags = tags_from(document.get("tags"), session.known)
    tags, idle = apply_edits(tags, edits_from(document.get("edits"), session.known))
    return {"tags": tags_view(tags), "idle": idle}


def _save_tags(session: Session, document: Plain, seen: str) -> Plain:
    session.tags.save(tags_from(document.get("tags"), session.known), seen)
    return _tags(session)


def _add_place(session: Session, document: Plain, seen: str) -> Plain:
    order = place_from(document, session.known, _least_place_m(session))
    ride = session.course.ride
    session.places.add(place_feature(ride, order.start_m, order.end_m, order.properties), seen)
    return _places(session)


def _report(session: Session, _document: Plain, _seen: str) -> Plain:
    energy = session.reporter.report()
    return {"energy_wh": energy, "file": str(session.reporter.page)}


def _ending(done: Callable[[], None]) -> Change:
    def end(_session: Session, _document: Plain, _seen: str) -> Plain:
        done()
        return {}

    return end


def _least_place_m(session: Session) -> float:
    return _LEAST_REACHES * session.config.places.reach_m


def _report_page(session: Session) -> Answer:
    async def answer(_request: Request) -> Response:
        try:
            page = await run_in_threadpool(session.reporter.page.read_bytes)
        except OSError:
            return PlainTextResponse("There is no report yet.", 404)
        return HTMLResponse(page, headers={"Content-Security-Policy": REPORT_POLICY})

    return answer


def _static_names() -> list[str]:
    folder = resources.files("wherewatt.tagging") / "static"
    return sorted(file.name for file in folder.iterdir() if file.is_file())


def _static_answer(name: str) -> Answer:
    content = (resources.files("wherewatt.tagging") / "static" / name).read_bytes()
    media_type = _TYPES.get(f".{name.rpartition('.')[2]}", "application/octet-stream")

    async def answer(_request: Request) -> Response:
        return Response(content, media_type=media_type)

    return answer
