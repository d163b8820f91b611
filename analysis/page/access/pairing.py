"""Pairing codes, the devices that they let in, and how guessers are kept out."""

from __future__ import annotations

import hmac
import secrets
import threading
import time
from collections import OrderedDict, deque
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from analysis.page.access.events import Events
from analysis.page.access.rights import DESK, MOST_NAME, Device

ALPHABET = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
"""No letter or digit that looks like another."""

CODE_LENGTH = 8
CODE_S = 600.0
"""A code is good for one device and ten minutes."""
MOST_CODES = 16
MOST_TRIES, TRIES_S = 5, 60.0
MOST_WRONG, LOCKED_S = 30, 12 * 3600.0
"""So many wrong codes lock an address out for a working day, or until the desk lets it in again."""
MOST_ADDRESSES = 4096
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


@dataclass(frozen=True)
class Invite:
    """What a code opens, until when, and for how often: once."""

    code: str
    rights: frozenset[str]
    panel: str | None
    name: str
    until_s: float


@dataclass
class _Tries:
    """Wrong codes from one address."""

    latest: deque[float] = field(default_factory=deque)
    wrong: int = 0
    locked_until_s: float = 0.0


class Pairing:
    """The codes that are good now, and the devices that came in with one.

    Parameters
    ----------
    needed : bool
        False on this computer only: whoever asks is the desk.
    now : callable
        Seconds that only go forward.
    events : Events, optional
    """

    def __init__(
        self,
        needed: bool = True,
        now: Callable[[], float] = time.monotonic,
        events: Events | None = None,
    ) -> None:
        self.needed, self._now = needed, now
        self.events = events or Events()
        self._invites: OrderedDict[str, Invite] = OrderedDict()
        self._sessions: dict[str, tuple[Device, float]] = {}
        self._seen: dict[str, float] = {}
        self._tries: OrderedDict[str, _Tries] = OrderedDict()
        self._count = 0
        self._lock = threading.Lock()

    # -- codes

    def invite(self, rights: frozenset[str], panel: str | None = None, name: str = "") -> Invite:
        """Make a code that lets in one device, once, within ten minutes."""
        made = Invite(new_code(), rights, panel, name[:MOST_NAME], self._now() + CODE_S)
        with self._lock:
            self._drop_old()
            self._invites[made.code] = made
            while len(self._invites) > MOST_CODES:
                self._invites.popitem(last=False)
        return made

    def is_good(self, code: str) -> bool:
        """Return whether a code of ours can still be used."""
        with self._lock:
            self._drop_old()
            return code in self._invites

    def _drop_old(self) -> None:
        now = self._now()
        for code in [c for c, made in self._invites.items() if made.until_s <= now]:
            del self._invites[code]

    def wait_s(self, address: str) -> float:
        """Seconds an address must wait before it may try a code again; 0 when it may."""
        with self._lock:
            return self._wait_s(address)

    def _wait_s(self, address: str) -> float:
        tries, now = self._tries.get(address), self._now()
        if tries is None:
            return 0.0
        while tries.latest and now - tries.latest[0] > TRIES_S:
            tries.latest.popleft()
        pause = TRIES_S - (now - tries.latest[0]) if len(tries.latest) >= MOST_TRIES else 0.0
        return max(0.0, pause, tries.locked_until_s - now)

    def open_session(self, typed: str, address: str) -> tuple[str, Device] | None:
        """Return a session's secret and its device for a good code, else None.

        None too while the address has to wait. Every good code is compared, in constant time, and
        a code that is used is gone.
        """
        with self._lock:
            if not self.needed or self._wait_s(address) > 0:
                return None
            self._drop_old()
            given, found = clean_code(typed[:64]).encode(), None
            for made in self._invites.values():
                if hmac.compare_digest(given, made.code.encode()):
                    found = made
            if found is None:
                self._count_wrong(address)
                return None
            del self._invites[found.code]
            self._tries.pop(address, None)
            return self._let_in(found, address)

    def _let_in(self, made: Invite, address: str) -> tuple[str, Device]:
        self._count += 1
        name = made.name or f"Device {self._count}"
        device = Device(secrets.token_hex(8), name, made.rights, made.panel, address, time.time())
        secret, now = secrets.token_urlsafe(32), self._now()
        self._sessions = {k: v for k, v in self._sessions.items() if v[1] > now}
        self._sessions[secret] = (device, now + SESSION_S)
        self._seen[device.key] = now
        self.events.add(f"Paired: {name}, from {address or 'this computer'}.")
        return secret, device

    def _count_wrong(self, address: str) -> None:
        tries = self._tries.pop(address, None) or _Tries()
        self._tries[address] = tries
        tries.latest.append(self._now())
        tries.wrong += 1
        self.events.add(f"Wrong pairing code from {address}.")
        if tries.wrong >= MOST_WRONG:
            tries.locked_until_s = self._now() + LOCKED_S
            self.events.add(f"Locked out after {MOST_WRONG} wrong codes: {address}.")
        while len(self._tries) > MOST_ADDRESSES:
            self._tries.popitem(last=False)

    # -- who is in

    def device(self, secret: str | None) -> Device | None:
        """Return the device that a session's secret belongs to, comparing in constant time."""
        if not self.needed:
            return DESK
        if not secret:
            return None
        now, given, found = self._now(), secret.encode(), None
        with self._lock:
            for known, (device, until) in self._sessions.items():
                if hmac.compare_digest(given, known.encode()) and now < until:
                    found = device
            if found is not None:
                self._seen[found.key] = now
        return found

    def devices(self) -> list[tuple[Device, float]]:
        """Return the devices that are in, with the seconds since each was last heard."""
        now = self._now()
        with self._lock:
            inside = [device for device, until in self._sessions.values() if now < until]
            return [(device, now - self._seen.get(device.key, now)) for device in inside]

    def change(self, key: str, rights: frozenset[str], panel: str | None, name: str) -> bool:
        """Change a device's rights, panel or name; False if there is none of that key."""
        with self._lock:
            for secret, (device, until) in self._sessions.items():
                if device.key == key:
                    named = name.strip()[:MOST_NAME] or device.name
                    changed = replace(device, rights=rights, panel=panel, name=named)
                    self._sessions[secret] = (changed, until)
                    return True
        return False

    def forget(self, key: str) -> bool:
        """End a device's session; False if there is none of that key."""
        with self._lock:
            for secret, (device, _) in self._sessions.items():
                if device.key == key:
                    del self._sessions[secret]
                    self._seen.pop(key, None)
                    self.events.add(f"Forgotten: {device.name}.")
                    return True
        return False

    def locked_out(self) -> list[str]:
        """Return the addresses that are locked out."""
        now = self._now()
        with self._lock:
            return [at for at, tries in self._tries.items() if tries.locked_until_s > now]

    def pardon(self, address: str) -> bool:
        """Let a locked-out address try again; False if it was not locked out."""
        with self._lock:
            return self._tries.pop(address, None) is not None
