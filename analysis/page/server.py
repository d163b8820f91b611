"""Serves the page: on this computer only, or with HTTPS and pairing codes on the shop network.

Tested in tests/analysis/page/routes/test_app.py.
"""

from __future__ import annotations

import asyncio
import socket
import tempfile
import threading
import time
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import Any, Self

from analysis.page.watches import Watches
from vision.common.closing import Closing
from vision.errors import WetlineError

EXTRA = 'the page needs a few more packages: pip install "wetline[page]"'
PORT = 8484
START_WAIT_S = 10.0
SWEEP_S = 1.0


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
        self._closed = threading.Event()

    def __enter__(self) -> Self:
        """Start serving."""
        try:
            import uvicorn

            from analysis.page.access.certificate import server_context
            from analysis.page.access.events import Events
            from analysis.page.access.lines import Lines
            from analysis.page.access.pairing import Pairing
            from analysis.page.access.security import Guarded
            from analysis.page.doors import LOCAL_HOSTS, doors_for, network_names
            from analysis.page.routes.app import PageApp
        except ImportError as error:
            raise WetlineError(EXTRA) from error
        self.events = Events()
        self.lines = Lines(self.events)
        bound = self._bind()
        self._stack.callback(bound.close)
        names = network_names() if self.share else []
        hosts = [*LOCAL_HOSTS, *names]
        self.pairing = Pairing(self.share, events=self.events)
        context, fingerprint = server_context(hosts) if self.share else (None, "")
        self.doors = doors_for(bound.getsockname()[1], self.share, names, fingerprint)
        rules = Guarded(self.pairing, frozenset(hosts), self.share, self.lines)
        self._page = PageApp(self.watches, rules, lambda: self.doors.address)
        config = uvicorn.Config(
            self._page.build(),
            log_level="critical",
            access_log=False,
            server_header=False,
            ws="none",
            http="h11",
            timeout_graceful_shutdown=2,
        )
        config.load()
        config.ssl = context
        self._server = uvicorn.Server(config)
        self._serve(bound)
        self._open_launcher()
        return self

    def _bind(self) -> socket.socket:
        try:
            return self.lines.listener(("0.0.0.0" if self.share else "127.0.0.1", self._port))
        except OSError as error:
            raise WetlineError(
                f"--port {self._port}: is in use ({error.strerror}): stop what uses it, or "
                "choose another"
            ) from error

    def _serve(self, bound: socket.socket) -> None:
        def work() -> None:
            # The one kind of loop that takes connections through the socket's own accept, on
            # every system.
            with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
                runner.get_loop().set_exception_handler(self._line_fault)
                runner.run(self._server.serve(sockets=[bound]))

        def sweep() -> None:
            while not self._closed.wait(SWEEP_S):
                self.lines.sweep()
                self._drop_launcher()

        self._thread = threading.Thread(target=work, name="page", daemon=True)
        self._thread.start()
        threading.Thread(target=sweep, name="page lines", daemon=True).start()
        until = time.monotonic() + START_WAIT_S
        while not self._server.started and self.alive() and time.monotonic() < until:
            time.sleep(0.02)

    def _line_fault(self, loop: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
        """Take in what the loop complains of: one plain line, however often."""
        self.events.add(f"A connection failed: {context.get('message', 'no reason given')}.")

    # -- the desk's own browser, and codes for the terminal

    def _open_launcher(self) -> None:
        """Write the page on disk that takes this computer's browser in."""
        if not self.share:
            return
        from analysis.page.access.rights import ALL
        from analysis.page.doors import write_launcher

        folder = self._stack.enter_context(tempfile.TemporaryDirectory(prefix="wetline-"))
        path = Path(folder) / "open.html"
        self._launch_code = self.pairing.invite(ALL, None, "This computer").code
        write_launcher(path, f"{self.doors.url}pair#{self._launch_code}")
        self.doors = replace(self.doors, launcher=path)

    def _drop_launcher(self) -> None:
        path = self.doors.launcher
        if path is not None and not self.pairing.is_good(self._launch_code):
            path.unlink(missing_ok=True)

    def new_codes(self) -> list[Any]:
        """Make codes to show in the terminal: for the desk, and for a phone of the one panel."""
        from analysis.page.access.rights import ALL, ONLY_PICTURES

        if not self.share:
            return []
        codes = [self.pairing.invite(ALL, None, "Desk")]
        panels = list(self.watches.panels.folders())
        if len(panels) == 1:
            codes.append(self.pairing.invite(ONLY_PICTURES, panels[0]))
        return codes

    def alive(self) -> bool:
        """Return whether it still serves."""
        return self._thread is not None and self._thread.is_alive()

    def close(self) -> None:
        """Stop serving."""
        self._closed.set()
        if self._thread is not None:
            self._page.close()
            self._server.should_exit = True
            self._thread.join(timeout=10)
        self._stack.close()
