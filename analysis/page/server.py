"""Serves the page: on this computer only, or with HTTPS and a pairing code on the shop network.

Tested in tests/analysis/page/test_app.py.
"""

from __future__ import annotations

import io
import socket
import tempfile
import threading
import time
from collections.abc import Sequence
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Self

from analysis.page.pairing import Pairing, new_code, shown_code
from analysis.page.watches import Watches
from vision.common.closing import Closing
from vision.errors import WetlineError

EXTRA = 'the page needs a few more packages: pip install "wetline[page]"'
LOCAL_HOSTS = ("localhost", "127.0.0.1", "[::1]")
PORT = 8484
START_WAIT_S = 10.0


@dataclass(frozen=True)
class Doors:
    """Where the page is found.

    Attributes
    ----------
    url : str
        To open on this computer.
    pair_url : str
        For phones, with the code after the ``#``, which no browser sends; empty where not shared.
    code : str
        As shown; empty where not shared.
    fingerprint : str
        Of the certificate.
    """

    url: str
    pair_url: str = ""
    code: str = ""
    fingerprint: str = ""


class PageServer(Closing):
    """The page's server in a thread of its own. Use as a context manager.

    Parameters
    ----------
    watches : Watches
    share : bool
        Serve on the network too, over HTTPS, to paired devices.
    port : int
        0 takes a free one.

    Raises
    ------
    WetlineError
        On entering, if the extra packages are missing or the port is taken.
    """

    def __init__(self, watches: Watches, share: bool = False, port: int = PORT) -> None:
        self.watches, self.share, self._port = watches, share, port
        self._stack = ExitStack()
        self._thread: threading.Thread | None = None
        self.doors = Doors("")

    def __enter__(self) -> Self:
        """Start serving."""
        try:
            import uvicorn

            from analysis.page.app import PageApp
            from analysis.page.security import Guarded
        except ImportError as error:
            raise WetlineError(EXTRA) from error
        bound = _bind("0.0.0.0" if self.share else "127.0.0.1", self._port)
        self._stack.callback(bound.close)
        port = bound.getsockname()[1]
        code = new_code() if self.share else None
        names = network_names() if self.share else []
        rules = Guarded(Pairing(code), frozenset([*LOCAL_HOSTS, *names]), self.share)
        options: dict[str, Any] = {}
        fingerprint = ""
        if self.share:
            options, fingerprint = self._certificate([*LOCAL_HOSTS, *names])
        self.doors = doors_for(port, code, names, fingerprint)
        self._page = PageApp(
            self.watches, rules, self._picture, lambda: self.doors.pair_url.split("#")[0]
        )
        config = uvicorn.Config(
            self._page.build(),
            log_level="critical",
            access_log=False,
            server_header=False,
            ws="none",
            http="h11",
            loop="asyncio",
            timeout_graceful_shutdown=2,
            **options,
        )
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(
            target=self._server.run, args=([bound],), name="page", daemon=True
        )
        self._thread.start()
        until = time.monotonic() + START_WAIT_S
        while not self._server.started and self.alive() and time.monotonic() < until:
            time.sleep(0.02)
        return self

    def _certificate(self, hosts: Sequence[str]) -> tuple[dict[str, Any], str]:
        from analysis.page.certificate import make_certificate

        folder = Path(self._stack.enter_context(tempfile.TemporaryDirectory()))
        made = make_certificate(folder, hosts)
        files = {"ssl_certfile": str(made.certificate), "ssl_keyfile": str(made.key)}
        return dict(files), made.fingerprint

    def _picture(self) -> str:
        return qr_svg(self.doors.pair_url) if self.doors.pair_url else ""

    def alive(self) -> bool:
        """Return whether it still serves."""
        return self._thread is not None and self._thread.is_alive()

    def close(self) -> None:
        """Stop serving."""
        if self._thread is not None:
            self._page.closing = True
            self._server.should_exit = True
            self._thread.join(timeout=10)
        self._stack.close()


def doors_for(port: int, code: str | None, names: Sequence[str], fingerprint: str = "") -> Doors:
    """Write the addresses under which the page is found.

    Examples
    --------
    >>> doors_for(8484, None, []).url
    'http://127.0.0.1:8484/'
    >>> doors_for(8484, "ABCDEFGH", ["192.0.2.4"]).pair_url
    'https://192.0.2.4:8484/pair#ABCDEFGH'
    """
    if code is None:
        return Doors(f"http://127.0.0.1:{port}/")
    first = names[0] if names else "localhost"
    return Doors(
        f"https://localhost:{port}/pair#{code}",
        f"https://{first}:{port}/pair#{code}",
        shown_code(code),
        fingerprint,
    )


def _bind(address: str, port: int) -> socket.socket:
    try:
        return socket.create_server((address, port))
    except OSError as error:
        raise WetlineError(
            f"--port {port}: is in use ({error.strerror}): stop what uses it, or choose another"
        ) from error


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


def qr_svg(text: str) -> str:
    """Draw a QR picture as SVG (ISO/IEC 18004, by the segno library)."""
    import segno

    out = io.BytesIO()
    segno.make(text, error="m", micro=False).save(out, kind="svg", scale=8, border=4)
    return out.getvalue().decode("utf-8")


def qr_terminal(text: str) -> str:
    """Draw a QR picture for the terminal."""
    import segno

    out = io.StringIO()
    segno.make(text, error="m", micro=False).terminal(out=out, compact=True)
    return out.getvalue()


def door_lines(doors: Doors) -> list[str]:
    """Write where the page is and how to pair."""
    if not doors.pair_url:
        return [f"Page: {doors.url}   (this computer only; --share for phones)"]
    return [
        f"On this computer: {doors.url}",
        f"On a phone in the same network, scan this picture or open {doors.pair_url.split('#')[0]}",
        f"Pairing code: {doors.code}",
        "The phone will warn that it does not know the certificate, which this computer made",
        "just now. Its SHA-256 fingerprint, to compare:",
        f"  {doors.fingerprint[:47]}",
        f"  {doors.fingerprint[48:]}",
        "Use --share only in a network you trust: your shop's own, not a guest network.",
    ]
