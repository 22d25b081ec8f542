"""The server from beginning to end: a free port on this machine, a link, and the last request."""

from __future__ import annotations

import asyncio
import contextlib
import os
import socket
import sys
import webbrowser
from collections.abc import Callable
from pathlib import Path

import uvicorn

from wherewatt.config import Config
from wherewatt.errors import InputError, Problem
from wherewatt.tagging.access import LOOPBACK, Access
from wherewatt.tagging.course import read_course
from wherewatt.tagging.report_again import Reporter
from wherewatt.tagging.server import Session, make_app
from wherewatt.terrain.tiles import TileFolder
from wherewatt.units import DistanceUnit

# What names a screen, or the user's own choice of a browser, where there may be neither.
_SCREENS = ("DISPLAY", "WAYLAND_DISPLAY", "BROWSER")
_PATIENCE_S = 3  # for answers that are still on their way when the server ends


def open_session(
    track: Path, out: Path, tiles: TileFolder, config: Config, unit: DistanceUnit
) -> Session:
    """Read a ride for the page.

    Parameters
    ----------
    track : the track; its tags lie beside it.
    out : folder of reports.
    tiles, config : terrain and settings.
    unit : unit of distance that the page shows first.

    Raises
    ------
    InputError
        If the track, a side file or a terrain tile cannot be used.
    """
    course = read_course(track, tiles, config)
    return Session(course, config, Reporter(track, out, tiles, config, unit))


def serve(session: Session, port: int, announce: Callable[[str], None]) -> None:
    """Serve the page on this machine until the user is done, or interrupts.

    Parameters
    ----------
    session : the ride.
    port : where to listen; 0 for any that is free.
    announce : told the link, when the server can be reached.

    Raises
    ------
    InputError
        If the port is taken.
    """
    with _listening(port) as listener:
        access = Access(listener.getsockname()[1])
        server = make_server(session, access, lambda: announce(access.link))
        with contextlib.suppress(KeyboardInterrupt):
            server.run(sockets=[listener])


class _Server(uvicorn.Server):
    """A server that says when it can be reached, and stopped."""

    def __init__(self, config: uvicorn.Config, started: Callable[[], None]) -> None:
        super().__init__(config)
        self._tell = started

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        # Beside the server: a browser that is being opened may ask for the page at once.
        asyncio.get_running_loop().run_in_executor(None, self._tell)


def make_server(
    session: Session, access: Access, started: Callable[[], None] = lambda: None
) -> uvicorn.Server:
    """The server of a session, not running yet.

    Parameters
    ----------
    session : the ride.
    access : who may talk to it.
    started : called when it can be reached.
    """

    def done() -> None:
        server.should_exit = True

    settings = uvicorn.Config(
        make_app(session, access, done),
        log_config=None,
        access_log=False,
        lifespan="off",
        ws="none",
        proxy_headers=False,
        server_header=False,
        timeout_graceful_shutdown=_PATIENCE_S,
    )
    server = _Server(settings, started)
    return server


def open_link(link: str) -> bool:
    """Show the page in the web browser; returns whether there is one to show it."""
    has_screen = sys.platform in ("win32", "darwin") or any(map(os.environ.get, _SCREENS))
    # Without a screen, a browser of the terminal might take that over.
    return has_screen and webbrowser.open(link)


def _listening(port: int) -> socket.socket:
    """A socket that this machine alone can reach."""
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if os.name == "posix":  # elsewhere this would let others listen on the same port
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((LOOPBACK, port))
        listener.listen()
    except (OSError, OverflowError) as error:
        listener.close()
        found = f"port {port}, which cannot be listened on ({getattr(error, 'strerror', error)})"
        raise InputError(Problem("--port", "", found, "a free port", "0 takes any")) from error
    return listener
