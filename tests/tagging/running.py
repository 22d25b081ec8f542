"""The server, running, and requests to it as a browser or a stranger would make them."""

from __future__ import annotations

import contextlib
import http.client
import json
import shutil
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from wherewatt.config import load_config, shipped_folder
from wherewatt.pipeline import open_tiles
from wherewatt.tagging.access import LOOPBACK, Access
from wherewatt.tagging.serve import make_server, open_session
from wherewatt.tagging.server import Session
from wherewatt.units import DistanceUnit


def sample_session(folder: Path, name: str = "harbour_commute.fit") -> Session:
    """A sample ride with its side files and terrain in a folder of its own."""
    samples = shipped_folder("sample_tracks")
    stem = name.partition(".")[0]
    for path in samples.glob(f"{stem}.*"):
        shutil.copy(path, folder)
    tiles = open_tiles([samples / "terrain"])
    return open_session(folder / name, folder / "reports", tiles, load_config(), DistanceUnit.KM)


@dataclass(frozen=True, slots=True)
class Answer:
    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def document(self) -> dict[str, Any]:
        return json.loads(self.body)


@dataclass(slots=True)
class Client:
    """Makes requests; by default such as the page itself makes."""

    access: Access
    thread: threading.Thread
    cookie: str = ""

    def ask(
        self, method: str, path: str, document: object = None, *, seen: str = "", **changed: Any
    ) -> Answer:
        """Make one request. Headers are changed by keyword (None takes one away)."""
        headers = {"Host": f"{LOOPBACK}:{self.access.port}", "Cookie": self.cookie}
        if method not in ("GET", "HEAD"):
            headers["Origin"] = f"http://{LOOPBACK}:{self.access.port}"
            headers["Content-Type"] = "application/json"
        if seen:
            headers["If-Match"] = f'"{seen}"'
        for name, value in changed.items():
            headers[name.replace("_", "-").title()] = value
        connection = http.client.HTTPConnection(LOOPBACK, self.access.port, timeout=20.0)
        with contextlib.closing(connection):
            connection.putrequest(method, path, skip_host=True)
            body = document if isinstance(document, bytes) else json.dumps(document or {}).encode()
            for name, value in headers.items():
                if value:
                    connection.putheader(name, value)
            if method not in ("GET", "HEAD"):
                connection.putheader("Content-Length", str(len(body)))
            connection.endheaders(None if method in ("GET", "HEAD") else body)
            response = connection.getresponse()
            fields = {name.lower(): value for name, value in response.getheaders()}
            return Answer(response.status, fields, response.read())

    def enter(self) -> Answer:
        """Use the link, and keep the cookie."""
        answer = self.ask("GET", f"/?token={self.access.token}")
        self.cookie = answer.headers["set-cookie"].partition(";")[0]
        return answer


@contextlib.contextmanager
def running(session: Session) -> Iterator[Client]:
    """A server of a session, with a client that nobody let in yet."""
    with socket.create_server((LOOPBACK, 0)) as listener:
        access = Access(listener.getsockname()[1])
        server = make_server(session, access)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
        thread.start()
        try:
            until_s = time.monotonic() + 10.0
            while not server.started and time.monotonic() < until_s:
                time.sleep(0.01)
            yield Client(access, thread)
        finally:
            server.should_exit = True
            thread.join(20.0)
