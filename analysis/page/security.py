"""Who may use the page: the pairing code, the sessions it opens, and whose requests count."""

from __future__ import annotations

import hmac
import secrets
import threading
import time
from collections import defaultdict, deque
from collections.abc import Callable
from dataclasses import dataclass

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import HTTPConnection
from starlette.responses import JSONResponse, RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

ALPHABET = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
"""No letter or digit that looks like another."""

CODE_LENGTH = 8
COOKIE = "wetline_session"
MOST_TRIES, TRIES_S = 5, 60.0
MOST_TRIES_ALL, TRIES_ALL_S = 30, 600.0
SESSION_S = 14 * 3600.0
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


def new_code() -> str:
    """Make a pairing code: 8 signs of 31, some 10**12 codes."""
    return "".join(secrets.choice(ALPHABET) for _ in range(CODE_LENGTH))


def shown_code(code: str) -> str:
    """Write a code in two groups, to be read aloud.

    Examples
    --------
    >>> shown_code("ABCDEFGH")
    'ABCD-EFGH'
    """
    return f"{code[:4]}-{code[4:]}"


def clean_code(text: str) -> str:
    """Take a typed code: any case, any spaces or dashes."""
    return "".join(c for c in text.upper() if c.isalnum())


class Pairing:
    """The code and the sessions it has opened.

    Parameters
    ----------
    code : str or None
        None where no pairing is needed: on this computer only.
    now : callable
        Seconds that only go forward.
    """

    def __init__(self, code: str | None, now: Callable[[], float] = time.monotonic) -> None:
        self.code, self._now = code, now
        self._sessions: dict[str, float] = {}
        self._tries: dict[str, deque[float]] = defaultdict(deque)
        self._all_tries: deque[float] = deque()
        self._lock = threading.Lock()

    def wait_s(self, address: str) -> float:
        """Seconds an address must wait before it may try a code again; 0 when it may."""
        with self._lock:
            return self._wait_s(address)

    def _wait_s(self, address: str) -> float:
        now, waits = self._now(), [0.0]
        for tries, most, span in (
            (self._tries[address], MOST_TRIES, TRIES_S),
            (self._all_tries, MOST_TRIES_ALL, TRIES_ALL_S),
        ):
            while tries and now - tries[0] > span:
                tries.popleft()
            if len(tries) >= most:
                waits.append(span - (now - tries[0]))
        return max(waits)

    def open_session(self, typed: str, address: str) -> str | None:
        """Give a session's secret for the right code, None for a wrong one or too many tries.

        The code is compared in constant time.
        """
        with self._lock:
            if self.code is None or self._wait_s(address) > 0:
                return None
            given = clean_code(typed[:64]).encode()
            if not hmac.compare_digest(given, self.code.encode()):
                self._tries[address].append(self._now())
                self._all_tries.append(self._now())
                if len(self._tries) > 1000:
                    self._tries.clear()  # the count over all addresses still holds
                return None
            secret = secrets.token_urlsafe(32)
            self._sessions[secret] = self._now() + SESSION_S
            return secret

    def knows(self, secret: str | None) -> bool:
        """Tell whether a session is open, comparing in constant time."""
        if self.code is None:
            return True
        if not secret:
            return False
        now, given, found = self._now(), secret.encode(), False
        with self._lock:
            for known, until in self._sessions.items():
                found |= hmac.compare_digest(given, known.encode()) and now < until
        return found


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
    """Give the name or address in a Host header without its port.

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
