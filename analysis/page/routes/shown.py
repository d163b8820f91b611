"""What the page shows: its own pages, the list of panels, and results.

Tested in tests/analysis/page/routes/test_app.py.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response

from analysis.page.access.rights import PAIR, PICTURES, RUN, SCALE, SEE, Device
from analysis.page.access.security import FILE_POLICY
from analysis.page.jobs import Jobs
from analysis.page.routes.asked import Door, Handler, answer, caller
from analysis.page.stored.panels import (
    FILE_TYPES,
    describe,
    panel_size_mm,
    result_files,
)
from analysis.page.stored.part_plan import part_outline
from analysis.page.watches import Watches
from analysis.part.part_folder import is_part

STATIC = Path(__file__).parents[1] / "static"
STATIC_TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".webmanifest": "application/manifest+json",
}


class Shown:
    """Pages, panels and results.

    Parameters
    ----------
    watches : Watches
    jobs : Jobs
    address : callable
        Gives the address for phones; empty where nothing is shared.
    """

    def __init__(self, watches: Watches, jobs: Jobs, address: Callable[[], str]) -> None:
        self._watches, self._panels, self._address = watches, watches.panels, address
        self._jobs = jobs
        self._static = {p.name: p for p in STATIC.iterdir() if p.suffix in STATIC_TYPES}

    def doors(self) -> list[Door]:
        """Return the addresses."""
        panel = "/api/panels/{panel}"
        return [
            Door("/", self._page("panels.html"), SEE),
            Door("/new", self._page("new.html"), RUN),
            Door("/pair", self._page("pair.html"), None),
            Door("/share", self._page("share.html"), PAIR),
            Door("/panel/{panel}", self._page("board.html"), SEE),
            Door("/camera/{panel}", self._page("camera.html"), PICTURES),
            Door("/day/{panel}", self._page("day.html"), PICTURES),
            Door("/corners/{panel}", self._page("corners.html"), SCALE),
            Door("/static/{name}", self.asset, None),
            Door("/favicon.ico", self.icon, None),
            Door("/results/{panel}/{name}", self.result, SEE),
            Door("/api/panels", self.list_panels, SEE),
            Door(panel, self.describe_panel, SEE),
            Door(panel + "/camera", self.camera, PICTURES),
        ]

    def _page(self, name: str) -> Handler:
        async def show(request: Request) -> Response:
            if "panel" in request.path_params:
                self._panels.find(request.path_params["panel"])
            return FileResponse(self._static[name], media_type=STATIC_TYPES[".html"])

        return show

    async def asset(self, request: Request) -> Response:
        """Return a script, style or picture of the page's own."""
        path = self._static.get(request.path_params["name"])
        if path is None or path.suffix == ".html":
            raise HTTPException(404)
        return FileResponse(path, media_type=STATIC_TYPES[path.suffix])

    async def icon(self, request: Request) -> Response:
        """Return the page's sign."""
        return FileResponse(self._static["icon.svg"], media_type="image/svg+xml")

    async def list_panels(self, request: Request) -> Response:
        """List the panels that a device may see."""
        return answer(await run_in_threadpool(self._list, caller(request)))

    def _list(self, device: Device) -> dict[str, Any]:
        listed = []
        for name, folder in self._panels.folders().items():
            if not device.may(SEE, name):
                continue
            watch = self._watches.get(name)
            state = None if watch is None else watch.board.state
            run = self._jobs.told(name)
            if run is not None and run["running"]:
                state = "being worked out"
            more = {"state": state, "may_scale": device.may(SCALE, name)}
            listed.append(describe(name, folder) | more)
        return {
            "panels": listed,
            "shared": bool(self._address()) and device.may(PAIR),
            "may_add": device.may(RUN) and device.panel is None and self._panels.many,
        }

    async def describe_panel(self, request: Request) -> Response:
        """Describe one panel."""
        name, folder = self._panel(request)
        shown = await run_in_threadpool(describe, name, folder)
        where = self._where_it_stands(request, name, folder)
        return answer(shown | where | {"run": self._jobs.told(name)})

    async def camera(self, request: Request) -> Response:
        """Return what a phone needs that takes the pictures, and no more."""
        name, folder = self._panel(request)
        shown = await run_in_threadpool(describe, name, folder)
        told = {"id": name, "name": shown["name"]} | self._where_it_stands(request, name, folder)
        if is_part(folder):
            told["plan"] = await run_in_threadpool(part_outline, folder)
        return answer(told)

    def _where_it_stands(self, request: Request, name: str, folder: Path) -> dict[str, Any]:
        size, watch, device = panel_size_mm(folder), self._watches.get(name), caller(request)
        return {
            "length_mm": size[0],
            "width_mm": size[1],
            "state": None if watch is None else watch.board.state,
            "camera": None if watch is None else watch.camera.name,
            "interval_s": None if watch is None else watch.interval_s,
            "rights": sorted(device.rights),
        }

    async def result(self, request: Request) -> Response:
        """Return a file of a panel's results; it is shown, never run."""
        _, folder = self._panel(request)
        path = result_files(folder).get(request.path_params["name"])
        if path is None:
            raise HTTPException(404)
        kind = FILE_TYPES[path.suffix.lower()]
        return FileResponse(path, media_type=kind, headers={"Content-Security-Policy": FILE_POLICY})

    def _panel(self, request: Request) -> tuple[str, Path]:
        name = request.path_params["panel"]
        return name, self._panels.find(name)
