"""The server as a browser meets it, and as a stranger does.

What is asked of it: OWASP's "Cross-Site Request Forgery Prevention" (token, Origin, no simple
content type), RFC 9110 (421, 412 and If-Match), RFC 6265bis (SameSite), CSP level 3.
"""

from __future__ import annotations

import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.tagging.running import Client, running, sample_session
from wherewatt.errors import InputError
from wherewatt.tagging.access import LOOPBACK
from wherewatt.tagging.messages import MOST_BYTES
from wherewatt.tagging.serve import serve

SAND = {"do": "paint", "layer": "surface", "start_m": 1000, "end_m": 1500, "label": "sand"}


@pytest.fixture
def client(tmp_path: Path) -> Iterator[Client]:
    """A client that has used the link."""
    with running(sample_session(tmp_path)) as client:
        client.enter()
        yield client


def edited(client: Client) -> tuple[dict[str, object], str]:
    """Tags with sand on them, and the version they were made from."""
    state = client.ask("GET", "/api/tags").document
    answer = client.ask("POST", "/api/edit", {"tags": state["tags"], "edits": [SAND]})
    assert answer.status == 200
    return {"tags": answer.document["tags"]}, state["version"]


def csv_of(tmp_path: Path) -> Path:
    return tmp_path / "harbour_commute.surface.csv"


def test_link_opens_once_and_the_cookie_from_then_on(tmp_path: Path) -> None:
    with running(sample_session(tmp_path)) as client:
        assert client.ask("GET", "/").status == 403
        assert client.ask("GET", "/?token=guessed").status == 403
        first = client.enter()
        cookie = first.headers["set-cookie"].lower()
        assert "httponly" in cookie
        assert "samesite=strict" in cookie
        assert "domain=" not in cookie
        assert client.ask("GET", "/").status == 200
        assert client.ask("GET", f"/?token={client.access.token}").status == 200  # the same browser
        client.cookie = ""
        again = client.ask("GET", f"/?token={client.access.token}")
        assert again.status == 403
        assert "set-cookie" not in again.headers


@pytest.mark.parametrize(
    "path", ["/", "/static/main.js", "/api/ride", "/api/tags", "/api/places", "/report"]
)
def test_nothing_without_the_cookie(client: Client, path: str) -> None:
    client.cookie = ""
    assert client.ask("GET", path).status == 403


@pytest.mark.parametrize(
    "host", ["rebound.example", "rebound.example:{port}", f"{LOOPBACK}", "[::1]:{port}"]
)
def test_other_host_names(client: Client, host: str) -> None:
    """A name that was made to point at 127.0.0.1 gets nothing, cookie or not."""
    assert client.ask("GET", "/", host=host.format(port=client.access.port)).status == 421


def test_localhost_is_the_same_machine(client: Client) -> None:
    name = f"localhost:{client.access.port}"
    tags, version = edited(client)
    answer = client.ask("PUT", "/api/tags", tags, seen=version, host=name, origin=f"http://{name}")
    assert answer.status == 200


@pytest.mark.parametrize(
    ("changed", "status"),
    [
        ({"origin": "https://elsewhere.example"}, 403),
        ({"origin": "http://127.0.0.1:1"}, 403),
        ({"origin": "null"}, 403),
        ({"origin": None}, 403),
        ({"content_type": "text/plain"}, 415),
        ({"content_type": "application/x-www-form-urlencoded"}, 415),
        ({"cookie": "wherewatt=guessed"}, 403),
        ({"cookie": None}, 403),
    ],
)
def test_strangers_cannot_save(
    client: Client, tmp_path: Path, changed: dict[str, str | None], status: int
) -> None:
    before = csv_of(tmp_path).read_bytes()
    tags, version = edited(client)
    for method, path in (("PUT", "/api/tags"), ("POST", "/api/places"), ("POST", "/api/done")):
        assert client.ask(method, path, tags, seen=version, **changed).status == status
    assert csv_of(tmp_path).read_bytes() == before
    assert client.thread.is_alive()


def test_no_other_origin_is_invited(client: Client) -> None:
    asked = [
        client.ask(method, "/api/tags", origin="https://elsewhere.example")
        for method in ("OPTIONS", "GET")
    ]
    assert asked[0].status == 403
    for answer in asked:
        assert not [name for name in answer.headers if name.startswith("access-control")]


@pytest.mark.parametrize("path", ["/", "/api/tags", "/static/main.js", "/nowhere"])
def test_headers(client: Client, path: str) -> None:
    headers = client.ask("GET", path).headers
    parts = headers["content-security-policy"].split(";")
    policy = {part.split()[0]: part.split()[1:] for part in parts}
    assert policy["default-src"] == policy["frame-ancestors"] == policy["base-uri"] == ["'none'"]
    assert policy["script-src"] == ["'self'"]
    assert "unsafe" not in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"
    assert headers["cache-control"] == "no-store"
    assert headers["cross-origin-resource-policy"] == "same-origin"
    assert "server" not in headers


@pytest.mark.parametrize(
    "path", ["/static/../serve.py", "/static/%2e%2e/serve.py", "/static/", "/static/nothing.js"]
)
def test_only_the_files_of_the_page(client: Client, path: str) -> None:
    assert client.ask("GET", path).status == 404


def test_save_and_conflict(client: Client, tmp_path: Path) -> None:
    tags, version = edited(client)
    answer = client.ask("PUT", "/api/tags", tags, seen=version)
    assert answer.status == 200
    assert "1.000 km,1.500 km,sand,\n" in csv_of(tmp_path).read_text(encoding="utf-8")
    assert answer.document["version"] != version
    refused = client.ask("PUT", "/api/tags", tags, seen=version)
    assert refused.status == 412
    assert "changed on disk" in refused.document["problems"][0]
    assert client.ask("PUT", "/api/tags", tags).status == 412  # without a version, nothing


def test_file_that_was_damaged_meanwhile(client: Client, tmp_path: Path) -> None:
    csv_of(tmp_path).write_text("from,to,surface\n0 km,1 km,lava\n", encoding="utf-8")
    state = client.ask("GET", "/api/tags").document
    assert state["tags"] is None
    assert state["problems"][0].startswith("harbour_commute.surface.csv: line 2: found surface")
    tags = {"tags": {"surface": [[0, 500, "sand"]], "structure": []}}
    assert client.ask("PUT", "/api/tags", tags, seen=state["version"]).status == 200


def test_bad_messages(client: Client) -> None:
    assert client.ask("POST", "/api/edit", b"{").status == 400
    assert client.ask("POST", "/api/edit", {"tags": 1}).status == 400
    assert client.ask("POST", "/api/edit", b" " * (MOST_BYTES + 1)).status == 400
    assert (
        client.ask("POST", "/api/places", {"start_m": 0, "end_m": 9, "surface": "sand"}).status
        == 400
    )


def test_place(client: Client, tmp_path: Path) -> None:
    places = client.ask("GET", "/api/places").document
    assert places["stretches"] == []
    order = {"start_m": 1000, "end_m": 2000, "surface": "sand", "name": "Long strand"}
    answer = client.ask("POST", "/api/places", order, seen=places["version"])
    assert answer.status == 200
    (stretch,) = answer.document["stretches"]
    assert stretch["name"] == "Long strand"
    assert abs(stretch["start_m"] - 1000.0) < 20.0
    assert abs(stretch["end_m"] - 2000.0) < 20.0
    assert client.ask("POST", "/api/places", order, seen=places["version"]).status == 412
    assert (tmp_path / "places.geojson").read_text(encoding="utf-8").count("Long strand") == 1


def test_report_again(client: Client, tmp_path: Path) -> None:
    assert client.ask("GET", "/report").status == 404
    first = client.ask("POST", "/api/report").document["energy_wh"]
    assert first["low90"] < first["mean"] < first["high90"]
    sections = (tmp_path / "reports/harbour_commute/sections.csv").read_text(encoding="utf-8")
    assert ",sand," not in sections
    tags, version = edited(client)
    client.ask("PUT", "/api/tags", tags, seen=version)
    client.ask("POST", "/api/report")
    sections = (tmp_path / "reports/harbour_commute/sections.csv").read_text(encoding="utf-8")
    assert ",sand," in sections
    page = client.ask("GET", "/report")
    assert page.body == (tmp_path / "reports/harbour_commute/report.html").read_bytes()
    assert "sandbox" in page.headers["content-security-policy"]
    assert "allow-same-origin" not in page.headers["content-security-policy"]


def test_report_of_a_damaged_file(client: Client, tmp_path: Path) -> None:
    (tmp_path / "harbour_commute.toml").write_text("[ridr]\n", encoding="utf-8")
    answer = client.ask("POST", "/api/report")
    assert answer.status == 422
    assert answer.document["problems"][0].startswith("harbour_commute.toml: ")


def test_done_ends_the_server(client: Client) -> None:
    assert client.ask("POST", "/api/done").status == 200
    client.thread.join(10.0)
    assert not client.thread.is_alive()


def test_port_that_is_taken(tmp_path: Path) -> None:
    session = sample_session(tmp_path)
    with socket.create_server((LOOPBACK, 0)) as other:
        port = other.getsockname()[1]
        with pytest.raises(InputError, match=f"--port: found port {port}"):
            serve(session, port, lambda _link: None)


def test_listens_on_loopback_only(client: Client) -> None:
    """Linux routes all of 127.0.0.0/8 to itself: a listener on every address would answer."""
    with pytest.raises(OSError, match="refused"):
        socket.create_connection(("127.0.0.2", client.access.port), timeout=1.0)
