"""The page as one application: every address with the right that it needs, its guard in front."""

from __future__ import annotations

from collections.abc import Callable
from urllib.parse import quote

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp

from analysis.page.access.rights import SEE, Device
from analysis.page.access.security import Guard, Guarded
from analysis.page.jobs import Jobs
from analysis.page.routes.asked import Door, Handler, answer, caller
from analysis.page.routes.begin import Begin
from analysis.page.routes.desk import Desk
from analysis.page.routes.filing import Filing
from analysis.page.routes.live import Live
from analysis.page.routes.scale import Scale
from analysis.page.routes.shown import Shown
from analysis.page.routes.worked_out import WorkedOut
from analysis.page.watches import Watches
from vision.errors import WetlineError


class PageApp:
    """Joins the panels, the runs and the pairing behind the addresses.

    Parameters
    ----------
    watches : Watches
    rules : Guarded
    address : callable
        Gives the address for phones as text; empty where nothing is shared.
    """

    def __init__(
        self, watches: Watches, rules: Guarded, address: Callable[[], str] = lambda: ""
    ) -> None:
        self.rules, self.watches = rules, watches
        self._live, self._jobs = Live(watches, rules.pairing), Jobs()
        rooms = (
            Desk(watches.panels, rules, address, home),
            Shown(watches, self._jobs, address),
            self._live,
            Scale(watches),
            Filing(watches.panels),
            Begin(watches.panels),
            WorkedOut(watches, self._jobs),
        )
        self.doors: list[Door] = [door for room in rooms for door in room.doors()]

    def close(self) -> None:
        """Let go of requests that wait for news; stop what is being worked out."""
        self._live.closing = True
        self._jobs.close()

    def build(self) -> ASGIApp:
        """Return the application."""
        routes = [Route(door.path, _opened(door), methods=[door.method]) for door in self.doors]
        handlers = {
            WetlineError: _told,
            HTTPException: _http_error,
            ClientDisconnect: _gone,
            Exception: _fault,
        }
        return Guard(Starlette(routes=routes, exception_handlers=handlers), self.rules)


def _opened(door: Door) -> Handler:
    """Return the handler behind its door: who may not come in is told so, and nothing is done."""
    if door.right is None:
        return door.handler

    async def enter(request: Request) -> Response:
        device = caller(request)
        panel = request.path_params.get("panel")
        if device.may(door.right or "", panel):
            return await door.handler(request)
        if door.method == "GET" and not door.path.startswith("/api/"):
            return RedirectResponse(home(device), status_code=303)
        return answer({"error": "This device may not do that: it is chosen at the desk."}, 403)

    return enter


def home(device: Device) -> str:
    """Return the page on which a device begins.

    Examples
    --------
    >>> home(Device("a", "Phone 1", frozenset(["pictures"]), "strip"))
    '/camera/strip'
    """
    if device.may(SEE) or device.panel is None:
        return "/"
    return f"/camera/{quote(device.panel, safe='')}"


async def _told(request: Request, error: Exception) -> Response:
    return answer({"error": str(error)}, 404 if str(error) == "no such panel" else 409)


async def _http_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return answer({"error": error.detail}, error.status_code, dict(error.headers or {}))


async def _gone(request: Request, error: Exception) -> Response:
    return Response(status_code=400)


async def _fault(request: Request, error: Exception) -> Response:
    return answer({"error": "The page met a fault of its own at this request."}, 500)
