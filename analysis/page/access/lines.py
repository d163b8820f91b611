"""Counts the connections to the page and hangs up on those that ask for nothing.

The listening socket itself counts, since a half-open TLS connection never reaches the web server.
"""

from __future__ import annotations

import contextlib
import errno
import socket
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from analysis.page.access.events import Events

MOST, MOST_EACH = 120, 32
"""Open connections in all, and from one address: a browser opens six."""
SILENT_S = 10.0
"""A connection that has asked for nothing for so long is closed."""
STUCK_S = 60.0
"""And one whose request or answer has not moved on for so long."""
_FULL = (errno.EMFILE, errno.ENFILE, errno.ENOBUFS, errno.ENOMEM)


@dataclass
class _Line:
    """One connection: who, since when nothing moved, requests under way, and whether paired."""

    conn: socket.socket
    host: str
    since_s: float
    busy: int = 0
    known: bool = False
    cut: bool = field(default=False)


class Lines:
    """The connections that are open.

    Parameters
    ----------
    events : Events
    most, most_each : int
        Open at once, in all and from one address.
    silent_s, stuck_s : float
    now : callable
        Seconds that only go forward.
    """

    def __init__(
        self,
        events: Events,
        most: int = MOST,
        most_each: int = MOST_EACH,
        silent_s: float = SILENT_S,
        stuck_s: float = STUCK_S,
        now: Callable[[], float] = time.monotonic,
    ) -> None:
        self._events, self._most, self._most_each = events, most, most_each
        self._silent_s, self._stuck_s, self._now = silent_s, stuck_s, now
        self._open: dict[tuple[str, int], _Line] = {}
        self._lock = threading.Lock()

    def __len__(self) -> int:
        """Return how many are open."""
        return len(self._open)

    def admit(self, conn: socket.socket, client: tuple[str, int]) -> bool:
        """Take in a new connection, or return False: it is one too many.

        Where all places are taken, one that asks for nothing makes room, strangers' first.
        """
        with self._lock:
            host = client[0]
            if sum(line.host == host for line in self._open.values()) >= self._most_each:
                self._events.add(
                    f"More than {self._most_each} connections from {host}: the rest are closed."
                )
                return False
            if len(self._open) >= self._most:
                self._events.add(
                    f"More than {self._most} connections: those that ask for nothing are closed."
                )
                if not self._make_room():
                    return False
            self._open[client] = _Line(conn, host, self._now())
            return True

    def _make_room(self) -> bool:
        idle = [(k, line) for k, line in self._open.items() if not line.busy]
        if not idle:
            return False
        key, line = min(idle, key=lambda item: (item[1].known, item[1].since_s))
        _hang_up(line)
        del self._open[key]
        return True

    def began(self, client: tuple[str, int], known: bool) -> None:
        """Note that a request has come in whole up to its body."""
        self._moved(client, 1, known)

    def moved(self, client: tuple[str, int]) -> None:
        """Note that a request or its answer has moved on."""
        self._moved(client, 0, None)

    def ended(self, client: tuple[str, int]) -> None:
        """Note that a request is answered."""
        self._moved(client, -1, None)

    def _moved(self, client: tuple[str, int], step: int, known: bool | None) -> None:
        with self._lock:
            line = self._open.get(client)
            if line is not None:
                line.since_s, line.busy = self._now(), line.busy + step
                line.known = line.known if known is None else known

    def closed(self, conn: socket.socket) -> None:
        """Strike out a connection that is closed."""
        with self._lock:
            self._open = {k: line for k, line in self._open.items() if line.conn is not conn}

    def sweep(self) -> None:
        """Hang up on what has not moved for too long."""
        with self._lock:
            for line in self._open.values():
                still_s = self._now() - line.since_s
                if not line.cut and still_s > (self._stuck_s if line.busy else self._silent_s):
                    _hang_up(line)

    def listener(self, address: tuple[str, int]) -> socket.socket:
        """Return a listening socket whose connections are counted here.

        Raises
        ------
        OSError
            If the port is taken.
        """
        plain = socket.create_server(address)
        counted = _Listener(plain.family, plain.type, plain.proto, plain.detach())
        counted.lines = self
        return counted

    def full(self) -> None:
        """Note that the system gives no more connections, and make room."""
        self._events.add("The system gives no more connections: idle ones are closed.")
        with self._lock:
            self._make_room()


def _hang_up(line: _Line) -> None:
    line.cut = True
    with contextlib.suppress(OSError):
        line.conn.shutdown(socket.SHUT_RDWR)


class _Counted(socket.socket):
    """A connection that says when it is closed."""

    lines: Lines | None = None

    def close(self) -> None:
        """Close, and say so."""
        if self.lines is not None:
            self.lines.closed(self)
        super().close()


class _Listener(socket.socket):
    """Accepts connections as long as there is room."""

    lines: Lines

    def accept(self) -> tuple[socket.socket, Any]:
        """Return the next connection that may stay."""
        while True:
            try:
                plain, client = super().accept()
            except OSError as error:
                if error.errno in _FULL:
                    self.lines.full()
                raise
            conn = _Counted(plain.family, plain.type, plain.proto, plain.detach())
            if self.lines.admit(conn, client):
                conn.lines = self.lines
                return conn, client
            conn.close()
