"""Stands before the page: whose requests count, and what every answer tells the browser.

Tested in tests/analysis/page/routes/test_app.py.
"""

from __future__ import annotations

import contextlib
from dataclasses import dataclass

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import HTTPConnection
from starlette.responses import JSONResponse, RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from analysis.page.access.lines import Lines
from analysis.page.access.pairing import Pairing

COOKIE = "wetline_session"
OPEN = ("/pair", "/favicon.ico")
"""Served to strangers, beside /static/: how to pair, and nothing of any panel."""
SAFE_METHODS = ("GET", "HEAD", "OPTIONS")
PAGE_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; "
    "media-src 'self' blob:; connect-src 'self'; manifest-src 'self'; base-uri 'none'; "
    "form-action 'self'; frame-ancestors 'none'"
)
FILE_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'; sandbox"
)
"""For what stands in a results folder: shown, but never run."""


@dataclass(frozen=True)
class Guarded:
    """What the guard is told.

    Attributes
    ----------
    pairing : Pairing
    hosts : frozenset of str
        Names and addresses under which the page may be asked for, in lower case.
    secure : bool
        Whether it is served over HTTPS.
    lines : Lines
        Told of every request, so that connections that ask for nothing can be told apart.
    """

    pairing: Pairing
    hosts: frozenset[str]
    secure: bool
    lines: Lines


class Guard:
    """Stands before the page: host, origin, session, and the headers of every answer."""

    def __init__(self, app: ASGIApp, rules: Guarded) -> None:
        self.app, self.rules = app, rules

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or refuse it."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return
        secret = HTTPConnection(scope).cookies.get(COOKIE)
        device = self.rules.pairing.device(secret)
        scope.setdefault("state", {})["device"] = device
        refusal = self._refusal(scope, device is not None)
        client, lines = scope.get("client") or ("", 0), self.rules.lines

        async def receive_and_note() -> Message:
            message = await receive()
            lines.moved(client)
            return message

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                add_headers(MutableHeaders(scope=message), self.rules.secure)
            await send(message)
            lines.moved(client)

        lines.began(client, device is not None)
        with contextlib.ExitStack() as stack:
            stack.callback(lines.ended, client)
            await (refusal or self.app)(scope, receive_and_note, send_with_headers)

    def _refusal(self, scope: Scope, paired: bool) -> ASGIApp | None:
        headers, path = Headers(scope=scope), scope["path"]
        host = headers.get("host", "")
        if host_name(host) not in self.rules.hosts:
            return _no(421, "This page is not served under that name.")
        if scope["method"] not in SAFE_METHODS and not self._own_origin(headers, host):
            return _no(403, "Another site cannot do this.")
        if path in OPEN or path.startswith("/static/"):
            return None
        if paired:
            return None
        if path.startswith("/api/") or scope["method"] not in SAFE_METHODS:
            return _no(401, "Pair this device first.")
        return RedirectResponse("/pair", status_code=303)

    def _own_origin(self, headers: Headers, host: str) -> bool:
        scheme = "https" if self.rules.secure else "http"
        return headers.get("origin", "").lower() == f"{scheme}://{host}".lower()


def _no(status: int, text: str) -> JSONResponse:
    return JSONResponse({"error": text}, status_code=status)


def host_name(host: str) -> str:
    """Return the name or address in a Host header without its port.

    Examples
    --------
    >>> host_name("192.0.2.4:8443"), host_name("[::1]:80"), host_name("Shop.Local")
    ('192.0.2.4', '[::1]', 'shop.local')
    """
    host = host.strip().lower()
    if host.startswith("["):
        return host.split("]")[0] + "]"
    return host.split(":")[0]


def add_headers(headers: MutableHeaders, secure: bool) -> None:
    """Add what tells the browser to load nothing from outside and to keep nothing."""
    headers.setdefault("Content-Security-Policy", PAGE_POLICY)
    headers["X-Content-Type-Options"] = "nosniff"
    headers["X-Frame-Options"] = "DENY"
    headers["Referrer-Policy"] = "no-referrer"
    headers["Cross-Origin-Opener-Policy"] = "same-origin"
    headers["Cross-Origin-Resource-Policy"] = "same-origin"
    headers["Permissions-Policy"] = "camera=(self), microphone=(), geolocation=()"
    headers.setdefault("Cache-Control", "no-store")
