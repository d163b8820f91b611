"""The page's addresses: what each one gives and takes."""

from __future__ import annotations

import asyncio
import json
import math
import time
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp

from analysis.page.board_view import board_view
from analysis.page.chart import chart_svg
from analysis.page.pairing import SESSION_S, shown_code
from analysis.page.panels import (
    FILE_TYPES,
    describe,
    first_frame,
    panel_size_mm,
    result_files,
    save_scale,
)
from analysis.page.security import COOKIE, FILE_POLICY, Guard, Guarded
from analysis.page.watches import Watches
from vision.cameras.phone_upload import MOST_BYTES, check_jpeg
from vision.errors import WetlineError
from vision.settings.event_log import CLAMP, NOTE, RESIN_OPEN

STATIC = Path(__file__).parent / "static"
STATIC_TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".webmanifest": "application/manifest+json",
}
MOST_JSON = 20_000
LONGEST_WAIT_S = 20.0
POLL_S = 0.1
MOST_AGE_S = 12 * 3600.0

Handler = Callable[[Request], Awaitable[Response]]


class PageApp:
    """Joins the panels, the runs and the pairing behind the addresses.

    Parameters
    ----------
    watches : Watches
    rules : Guarded
    pairing_picture : callable
        Gives the QR picture as SVG text; empty where nothing is shared.
    address : callable
        Gives the address for phones as text.
    """

    def __init__(
        self,
        watches: Watches,
        rules: Guarded,
        pairing_picture: Callable[[], str] = lambda: "",
        address: Callable[[], str] = lambda: "",
    ) -> None:
        self.watches, self.rules, self._qr = watches, rules, pairing_picture
        self._address = address
        self.closing = False
        self.static = {path.name: path for path in STATIC.iterdir() if path.suffix in STATIC_TYPES}

    def build(self) -> ASGIApp:
        """Return the application, its guard in front."""
        panel = "/api/panels/{panel}"
        routes = [
            Route("/", self._page("panels.html")),
            Route("/pair", self._page("pair.html"), methods=["GET"]),
            Route("/pair", self.pair, methods=["POST"]),
            Route("/share", self._page("share.html")),
            Route("/panel/{panel}", self._page("board.html")),
            Route("/camera/{panel}", self._page("camera.html")),
            Route("/corners/{panel}", self._page("corners.html")),
            Route("/static/{name}", self.asset),
            Route("/favicon.ico", self.icon),
            Route("/results/{panel}/{name}", self.result),
            Route("/api/panels", self.list_panels),
            Route("/api/qr", self.qr),
            Route("/api/share", self.share),
            Route(panel, self.describe_panel),
            Route(panel + "/board", self.board),
            Route(panel + "/picture", self.picture),
            Route(panel + "/chart", self.chart),
            Route(panel + "/first", self.first),
            Route(panel + "/start", self.start, methods=["POST"]),
            Route(panel + "/end", self.end, methods=["POST"]),
            Route(panel + "/stamp", self.stamp, methods=["POST"]),
            Route(panel + "/gauge", self.gauge, methods=["POST"]),
            Route(panel + "/corners", self.corners, methods=["POST"]),
            Route(panel + "/frame", self.frame, methods=["POST"]),
            Route(panel + "/photo", self.photo, methods=["POST"]),
        ]
        handlers: Any = {
            WetlineError: _told,
            HTTPException: _http_error,
            ClientDisconnect: _gone,
        }
        return Guard(Starlette(routes=routes, exception_handlers=handlers), self.rules)

    # -- pages

    def _page(self, name: str) -> Handler:
        async def show(request: Request) -> Response:
            if "panel" in request.path_params:
                self.watches.panels.find(request.path_params["panel"])
            return FileResponse(self.static[name], media_type=STATIC_TYPES[".html"])

        return show

    async def asset(self, request: Request) -> Response:
        """Return a script, style or picture of the page's own."""
        path = self.static.get(request.path_params["name"])
        if path is None or path.suffix == ".html":
            raise HTTPException(404)
        return FileResponse(path, media_type=STATIC_TYPES[path.suffix])

    async def icon(self, request: Request) -> Response:
        """Return the page's sign."""
        return FileResponse(self.static["icon.svg"], media_type="image/svg+xml")

    async def pair(self, request: Request) -> Response:
        """Open a session for the right code."""
        values = await _json(request)
        address = request.client.host if request.client else ""
        wait = self.rules.pairing.wait_s(address)
        if wait > 0:
            return JSONResponse(
                {"error": f"Too many wrong codes. Wait {math.ceil(wait)} s."},
                429,
                {"Retry-After": str(math.ceil(wait))},
            )
        secret = self.rules.pairing.open_session(str(values.get("code", "")), address)
        if secret is None:
            return JSONResponse({"error": "That is not the code on the screen."}, 403)
        answer = JSONResponse({"ok": True})
        answer.set_cookie(
            COOKIE,
            secret,
            max_age=int(SESSION_S),
            httponly=True,
            secure=self.rules.secure,
            samesite="strict",
        )
        return answer

    async def qr(self, request: Request) -> Response:
        """Return the pairing picture to a device that is paired already."""
        picture = self._qr()
        if not picture:
            raise HTTPException(404)
        return Response(picture, media_type="image/svg+xml")

    async def share(self, request: Request) -> Response:
        """Return address and code as text to a device that is paired already."""
        code = self.rules.pairing.code
        if code is None:
            raise HTTPException(404)
        return JSONResponse({"address": self._address(), "code": shown_code(code)})

    # -- panels and results

    async def list_panels(self, request: Request) -> Response:
        """List the panels."""
        return JSONResponse(await run_in_threadpool(self._list))

    def _list(self) -> dict[str, Any]:
        listed = []
        for name, folder in self.watches.panels.folders().items():
            watch = self.watches.get(name)
            state = None if watch is None else watch.board.state
            listed.append(describe(name, folder) | {"state": state})
        return {"panels": listed, "shared": bool(self._qr())}

    async def describe_panel(self, request: Request) -> Response:
        """Describe one panel."""
        name, folder = self._panel(request)
        shown = await run_in_threadpool(describe, name, folder)
        size = panel_size_mm(folder)
        watch = self.watches.get(name)
        shown |= {
            "length_mm": size[0],
            "width_mm": size[1],
            "state": None if watch is None else watch.board.state,
            "camera": None if watch is None else watch.camera.name,
        }
        return JSONResponse(shown)

    async def result(self, request: Request) -> Response:
        """Return a file of a panel's results; it is shown, never run."""
        _, folder = self._panel(request)
        path = result_files(folder).get(request.path_params["name"])
        if path is None:
            raise HTTPException(404)
        kind = FILE_TYPES[path.suffix.lower()]
        return FileResponse(path, media_type=kind, headers={"Content-Security-Policy": FILE_POLICY})

    async def first(self, request: Request) -> Response:
        """Return the first picture, to tap the corners on."""
        found = await run_in_threadpool(first_frame, self._panel(request)[1])
        if found is None:
            raise HTTPException(404)
        return Response(found[1], media_type="image/jpeg", headers={"X-Frame-Name": found[0]})

    def _panel(self, request: Request) -> tuple[str, Path]:
        name = request.path_params["panel"]
        return name, self.watches.panels.find(name)

    # -- the board

    async def board(self, request: Request) -> Response:
        """Return the board once it is newer than `seen`, or after 20 s at the latest."""
        name, _ = self._panel(request)
        watch = self.watches.get(name)
        if watch is None:
            return JSONResponse({"watched": False, "version": -1})
        seen = _number(request.query_params.get("seen", "-1"), "seen")
        wait = min(_number(request.query_params.get("wait", "20"), "wait"), LONGEST_WAIT_S)
        until = time.monotonic() + wait
        while watch.board.version == int(seen) and time.monotonic() < until and not self.closing:
            await asyncio.sleep(POLL_S)
        return JSONResponse(board_view(watch, watch.board))

    async def picture(self, request: Request) -> Response:
        """Return the latest picture with the front on it."""
        watch = self.watches.need(request.path_params["panel"])
        data = await run_in_threadpool(watch.picture_jpeg)
        if data is None:
            raise HTTPException(404)
        return Response(data, media_type="image/jpeg")

    async def chart(self, request: Request) -> Response:
        """Return the chart as SVG."""
        watch = self.watches.need(request.path_params["panel"])
        narrow = request.query_params.get("narrow") == "1"
        repeat = watch.panel.part.repeat_sd if watch.panel.part else 0.08
        svg = await run_in_threadpool(chart_svg, watch.board, watch.references, repeat, narrow)
        return Response(svg, media_type="image/svg+xml")

    # -- what people do

    async def start(self, request: Request) -> Response:
        """Start watching a panel."""
        values = await _json(request)
        name, _ = self._panel(request)
        interval = _number(values.get("interval_s", 10), "interval_s")
        camera = str(values.get("camera", "phone"))
        watch = await run_in_threadpool(self.watches.start, name, camera, interval)
        return JSONResponse({"ok": True, "interval_s": watch.interval_s})

    async def end(self, request: Request) -> Response:
        """End the run."""
        self.watches.need(request.path_params["panel"]).end()
        return JSONResponse({"ok": True})

    async def stamp(self, request: Request) -> Response:
        """Stamp the record."""
        values = await _json(request)
        kind, text = str(values.get("kind", "")), str(values.get("text", ""))
        if kind not in (RESIN_OPEN, CLAMP, NOTE) or (kind == NOTE and not text.strip()):
            raise WetlineError("stamp: must be resin open, clamp, or a note with words")
        age = _number(values.get("age_s", 0), "age_s")
        watch = self.watches.need(request.path_params["panel"])
        await run_in_threadpool(watch.stamp, kind, text, min(max(age, 0.0), MOST_AGE_S))
        return JSONResponse({"ok": True})

    async def gauge(self, request: Request) -> Response:
        """Note a gauge reading."""
        values = await _json(request)
        watch = self.watches.need(request.path_params["panel"])
        reading = _number(values.get("bag_mbar"), "bag_mbar")
        await run_in_threadpool(watch.gauge, reading)
        return JSONResponse({"ok": True})

    async def corners(self, request: Request) -> Response:
        """Save tapped scale points."""
        values = await _json(request)
        name, folder = self._panel(request)
        photo = str(values.get("photo", ""))
        if not (folder / "frames").is_dir() or photo not in {
            p.name for p in (folder / "frames").iterdir()
        }:
            raise WetlineError("scale points: tap them on one of this panel's pictures")
        corners, tape = _points(values.get("corners")), _points(values.get("tape", []))
        tape_mm = values.get("tape_mm")
        distance = None if tape_mm is None else _number(tape_mm, "tape_mm")
        await run_in_threadpool(save_scale, folder, corners, tape, distance, photo)
        watch = self.watches.get(name)
        if watch is not None:
            watch.scale_changed()
        return JSONResponse({"ok": True})

    async def frame(self, request: Request) -> Response:
        """Take a picture from the phone; answered only once it is on disk."""
        name = request.path_params["panel"]
        watch = self.watches.need(name)
        frame_id = request.headers.get("x-frame-id", "")[:80]
        if frame_id and not self.watches.is_new(name, frame_id):
            return JSONResponse({"ok": True, "again": True})
        age = min(max(_number(request.headers.get("x-age-ms", "0"), "age") / 1e3, 0.0), MOST_AGE_S)
        data = await _body(request, MOST_BYTES)

        def take() -> bool:
            return watch.receive(data, age, check_jpeg(data))

        if not await run_in_threadpool(take):
            return JSONResponse({"error": watch.store.fault or "not saved: send it again"}, 503)
        if frame_id:
            self.watches.taken(name, frame_id)
        return JSONResponse({"ok": True})

    async def photo(self, request: Request) -> Response:
        """Put a photo beside the record."""
        watch = self.watches.need(request.path_params["panel"])
        data = await _body(request, MOST_BYTES)

        def take() -> str:
            check_jpeg(data)
            return watch.add_photo(data)

        return JSONResponse({"ok": True, "name": await run_in_threadpool(take)})


async def _body(request: Request, most: int) -> bytes:
    """Read a body up to a size; a longer one is cut off, whatever its header claims."""
    claimed = request.headers.get("content-length", "0")
    if claimed.isdecimal() and int(claimed) > most:
        raise HTTPException(413, f"larger than {most // 1000} kB")
    data = bytearray()
    async for part in request.stream():
        data += part
        if len(data) > most:
            raise HTTPException(413, f"larger than {most // 1000} kB")
    return bytes(data)


async def _json(request: Request) -> dict[str, Any]:
    try:
        values = json.loads(await _body(request, MOST_JSON) or b"{}")
    except (ValueError, RecursionError):
        raise WetlineError("request: not understood") from None
    if not isinstance(values, dict):
        raise WetlineError("request: not understood")
    return values


def _number(value: object, name: str) -> float:
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        raise WetlineError(f"{name}: must be a number") from None
    if not math.isfinite(number):
        raise WetlineError(f"{name}: must be a number")
    return number


def _points(value: object) -> list[tuple[float, float]]:
    if not isinstance(value, list) or len(value) > 8:
        raise WetlineError("scale points: not understood")
    points = []
    for item in value:
        if not (isinstance(item, list) and len(item) == 2):
            raise WetlineError("scale points: not understood")
        points.append((_number(item[0], "x"), _number(item[1], "y")))
    return points


async def _told(request: Request, error: Exception) -> Response:
    status = 404 if str(error) == "no such panel" else 409
    return JSONResponse({"error": str(error)}, status)


async def _http_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return JSONResponse({"error": error.detail}, error.status_code)


async def _gone(request: Request, error: Exception) -> Response:
    return Response(status_code=400)
