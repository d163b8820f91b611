"""The pairing code and the sessions that it opens."""

from __future__ import annotations

import hmac
import secrets
import threading
import time
from collections import defaultdict, deque
from collections.abc import Callable

ALPHABET = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
"""No letter or digit that looks like another."""

CODE_LENGTH = 8
MOST_TRIES, TRIES_S = 5, 60.0
MOST_TRIES_ALL, TRIES_ALL_S = 30, 600.0
SESSION_S = 14 * 3600.0


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
        """Return a session's secret for the right code, None for a wrong one or too many tries.

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
        """Return whether a session is open, comparing in constant time."""
        if self.code is None:
            return True
        if not secret:
            return False
        now, given, found = self._now(), secret.encode(), False
        with self._lock:
            for known, until in self._sessions.items():
                found |= hmac.compare_digest(given, known.encode()) and now < until
        return found
