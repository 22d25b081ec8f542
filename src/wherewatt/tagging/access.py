"""Who may talk to the server: the one browser that was given the link, from the page itself.

A server on this machine can be reached by every page that the browser has open. So a request has
to name this server as its host (else a name that was bound to 127.0.0.1 would do), has to carry the
cookie that was given for the one-time token, and has to come from the page itself if it changes
anything. See OWASP, "Cross-Site Request Forgery Prevention" and "DNS rebinding".
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass, field

from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

LOOPBACK = "127.0.0.1"
TOKEN_NAME = "token"

# No script but our own files, nothing from elsewhere, and no text that becomes markup.
PAGE_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'; "
    "require-trusted-types-for 'script'; trusted-types 'none'"
)
# A finished report brings its own script, and its own stricter policy. Here it is a stranger: in a
# sandbox without an origin it can call nothing.
REPORT_POLICY = (
    "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; "
    "img-src data: blob:; font-src data:; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'; sandbox allow-scripts allow-modals allow-downloads"
)
_HEADERS = {
    "Content-Security-Policy": PAGE_POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}
_READING = ("GET", "HEAD")

# The cookie is strict: it is sent when our own page asks, not along a redirect from elsewhere.
_WELCOME = (
    '<!DOCTYPE html><html lang="en"><meta charset="utf-8"><title>Surface tags</title>'
    '<link rel="icon" href="/static/icon.svg" type="image/svg+xml">'
    '<meta http-equiv="refresh" content="0;url=/"><p><a href="/">Open the page</a></p></html>'
)


@dataclass(slots=True)
class Access:
    """The secrets of one run of the server.

    Parameters
    ----------
    port : where it listens.
    token : for the link; it lets one browser in, once.
    key : value of that browser's cookie.
    """

    port: int
    token: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    key: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    _is_used: bool = False

    @property
    def link(self) -> str:
        """Address that opens the page, once."""
        return f"http://{LOOPBACK}:{self.port}/?{TOKEN_NAME}={self.token}"

    @property
    def hosts(self) -> tuple[str, ...]:
        """Names under which the server answers."""
        return f"{LOOPBACK}:{self.port}", f"localhost:{self.port}"

    @property
    def cookie_name(self) -> str:
        """Cookies do not tell ports apart: the name has to."""
        return f"wherewatt-{self.port}"

    def admits(self, request: Request) -> bool:
        """Whether a request comes from the browser that used the link."""
        given = request.cookies.get(self.cookie_name, "")
        return secrets.compare_digest(given.encode(), self.key.encode())

    def take_token(self, given: str) -> bool:
        """Whether a token opens the page; it does so once."""
        if self._is_used or not secrets.compare_digest(given.encode(), self.token.encode()):
            return False
        self._is_used = True
        return True


class Guard:
    """Lets a request through to the app, or answers it here; adds headers to every answer."""

    def __init__(self, app: ASGIApp, access: Access) -> None:
        self.app = app
        self.access = access

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                given = {name.lower() for name, _ in message["headers"]}
                message["headers"] = [
                    *message["headers"],
                    *(
                        (name.lower().encode(), value.encode())
                        for name, value in _HEADERS.items()
                        if name.lower().encode() not in given
                    ),
                ]
            await send(message)

        answer = self._refusal(Request(scope))
        await (self.app if answer is None else answer)(scope, receive, send_with_headers)

    def _refusal(self, request: Request) -> Response | None:
        """The answer to a request that does not get through; None if it does."""
        host = request.headers.get("host", "")
        if len(request.headers.getlist("host")) != 1 or host not in self.access.hosts:
            return PlainTextResponse("This server answers to its own name only.", 421)
        token = request.query_params.get(TOKEN_NAME)
        if token is not None and request.method == "GET":
            return self._entered(request, token)
        if not self.access.admits(request):
            return _stranger()
        if request.method not in _READING:
            if request.headers.get("origin") != f"http://{host}":
                return PlainTextResponse("Only the page itself may change anything.", 403)
            if request.headers.get("content-type") != "application/json":
                return PlainTextResponse("Expected application/json.", 415)
        return None

    def _entered(self, request: Request, token: str) -> Response:
        """Change the token for a cookie; it is void then."""
        if self.access.admits(request):  # the link, opened again in the same browser
            return HTMLResponse(_WELCOME)
        if not self.access.take_token(token):
            return _stranger()
        answer = HTMLResponse(_WELCOME)
        answer.set_cookie(
            self.access.cookie_name, self.access.key, httponly=True, samesite="strict", path="/"
        )
        return answer


def _stranger() -> Response:
    return PlainTextResponse(
        "This page opens from the link that wherewatt printed, and from there only once. "
        "Go on in the window that it opened, or start wherewatt tag again.",
        403,
    )
