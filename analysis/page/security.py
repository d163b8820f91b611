"""Stands before the page: whose requests count, and what every answer tells the browser.

Tested in tests/analysis/page/test_app.py.
"""

from __future__ import annotations

from dataclasses import dataclass

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import HTTPConnection
from starlette.responses import JSONResponse, RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from analysis.page.pairing import Pairing

COOKIE = "wetline_session"
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
    """

    pairing: Pairing
    hosts: frozenset[str]
    secure: bool


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
        refusal = self._refusal(scope)

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                add_headers(MutableHeaders(scope=message), self.rules.secure)
            await send(message)

        await (refusal or self.app)(scope, receive, send_with_headers)

    def _refusal(self, scope: Scope) -> ASGIApp | None:
        headers, path = Headers(scope=scope), scope["path"]
        host = headers.get("host", "")
        if host_name(host) not in self.rules.hosts:
            return _no(421, "This page is not served under that name.")
        if scope["method"] not in SAFE_METHODS and not self._own_origin(headers, host):
            return _no(403, "Another site cannot do this.")
        if path == "/pair" or path.startswith("/static/"):
            return None
        if self.rules.pairing.knows(HTTPConnection(scope).cookies.get(COOKIE)):
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
