"""Where the page is found: its addresses, names and codes, and how the desk's browser opens it.

Tested in tests/analysis/page/access/test_pairing.py.
"""

from __future__ import annotations

import html
import socket
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from analysis.page.access.certificate import write_private
from analysis.page.access.pairing import Invite, shown_code

LOCAL_HOSTS = ("localhost", "127.0.0.1", "[::1]")


@dataclass(frozen=True)
class Doors:
    """Where the page is found.

    Attributes
    ----------
    url : str
        To open on this computer.
    address : str
        For phones, where to type a code; empty where nothing is shared.
    fingerprint : str
        Of the certificate.
    launcher : Path or None
        A page on disk, for this user only, that takes this computer's browser in. Its name may
        stand in a list of processes; the code in it does not.
    """

    url: str
    address: str = ""
    fingerprint: str = ""
    launcher: Path | None = None

    @property
    def to_open(self) -> str:
        """What this computer's browser is told to open."""
        return self.url if self.launcher is None else str(self.launcher)


def doors_for(port: int, share: bool, names: Sequence[str], fingerprint: str = "") -> Doors:
    """Write the addresses under which the page is found.

    Examples
    --------
    >>> doors_for(8484, False, []).url
    'http://127.0.0.1:8484/'
    >>> doors_for(8484, True, ["192.0.2.4"]).address
    'https://192.0.2.4:8484/pair'
    """
    if not share:
        return Doors(f"http://127.0.0.1:{port}/")
    first = names[0] if names else "localhost"
    return Doors(f"https://localhost:{port}/", f"https://{first}:{port}/pair", fingerprint)


def write_launcher(path: Path, url: str) -> None:
    """Write a page for this user only that goes on to `url`."""
    page = (
        '<!doctype html><html lang="en"><meta charset="utf-8"><title>Wetline</title>'
        f'<meta http-equiv="refresh" content="0; url={html.escape(url)}">'
        f'<a href="{html.escape(url)}">To the page</a></html>\n'
    )
    write_private(path, page.encode("utf-8"))


def network_names() -> list[str]:
    """Addresses and names of this computer on its network, the likeliest first.

    Nothing is sent: a datagram socket only asks the system which way it would send.
    """
    found: list[str] = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # a documentation address (RFC 5737)
            found.append(probe.getsockname()[0])
        except OSError:
            pass
    name = socket.gethostname().lower()
    with suppress(OSError):
        found += [str(info[4][0]) for info in socket.getaddrinfo(name, None, socket.AF_INET)]
    if name and all(c.isalnum() or c in "-." for c in name):
        found += [name] if "." in name else [name, f"{name}.local"]
    unique = list(dict.fromkeys(found))
    return [host for host in unique if not host.startswith("127.") and host != "localhost"]


def door_lines(doors: Doors, codes: Sequence[Invite]) -> list[str]:
    """Write where the page is and how to pair."""
    if not doors.address:
        return [f"Page: {doors.url}   (this computer only; --share for phones)"]
    return [
        f"On this computer: {doors.url}",
        f"On a phone in the same network: {doors.address}",
        *code_lines(codes),
        "The phone will warn that it does not know the certificate, which this computer made",
        "just now. Its SHA-256 fingerprint, to compare:",
        f"  {doors.fingerprint[:47]}",
        f"  {doors.fingerprint[48:]}",
        "Use --share only in a network you trust: your shop's own, not a guest network.",
    ]


def code_lines(codes: Sequence[Invite]) -> list[str]:
    """Write the codes and what each is for."""
    lines = []
    for made in codes:
        what = (
            "the desk, which may do everything and pairs others"
            if made.panel is None
            else f"a phone that takes pictures and notes of {made.panel}"
        )
        lines.append(f"Code for {what}: {shown_code(made.code)}")
    return [*lines, "Each code is good for one device and ten minutes; p and Enter makes new ones."]
