"""What people do to a run while it goes on, and its board.

Tested in tests/analysis/page/routes/test_app.py.
"""

from __future__ import annotations

import asyncio
import time
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from analysis.page.access.pairing import Pairing
from analysis.page.access.rights import PICTURES, RUN, SEE, WEBCAM
from analysis.page.access.security import COOKIE
from analysis.page.chart import chart_svg
from analysis.page.part_chart import part_chart_svg
from analysis.page.part_view import view_of
from analysis.page.routes.asked import Door, answer, asked, body, caller, number, words
from analysis.page.watches import Watches
from analysis.watch.part.run import KINDS, NARROW_PX, WatchPart
from vision.cameras.camera import PHONE
from vision.cameras.phone_upload import MOST_BYTES, check_jpeg
from vision.drawing.live_picture import SHOWN_WIDTH
from vision.errors import WetlineError
from vision.settings.event_log import CLAMP, NOTE, RESIN_OPEN

LONGEST_WAIT_S = 20.0
POLL_S = 0.1
MOST_AGE_S = 12 * 3600.0


class Live:
    """The board, and what people do.

    Parameters
    ----------
    watches : Watches
    pairing : Pairing
        Asked again after each wait, as a device may have been forgotten meanwhile.
    """

    def __init__(self, watches: Watches, pairing: Pairing) -> None:
        self._watches, self._pairing = watches, pairing
        self.closing = False

    def doors(self) -> list[Door]:
        """Return the addresses."""
        panel = "/api/panels/{panel}"
        return [
            Door(panel + "/board", self.board, SEE),
            Door(panel + "/picture", self.picture, SEE),
            Door(panel + "/chart", self.chart, SEE),
            Door(panel + "/start", self.start, RUN, "POST"),
            Door(panel + "/end", self.end, RUN, "POST"),
            Door(panel + "/stamp", self.stamp, RUN, "POST"),
            Door(panel + "/gauge", self.gauge, RUN, "POST"),
            Door(panel + "/note", self.note, PICTURES, "POST"),
            Door(panel + "/frame", self.frame, PICTURES, "POST"),
            Door(panel + "/photo", self.photo, PICTURES, "POST"),
        ]

    def _panel(self, request: Request) -> tuple[str, Path]:
        name = request.path_params["panel"]
        return name, self._watches.panels.find(name)

    # -- the board

    async def board(self, request: Request) -> Response:
        """Return the board once it is newer than `seen`, or after 20 s at the latest."""
        name, _ = self._panel(request)
        watch = self._watches.get(name)
        if watch is None:
            return answer({"watched": False, "version": -1})
        seen = number(request.query_params.get("seen", "-1"), "seen")
        wait = min(number(request.query_params.get("wait", "20"), "wait"), LONGEST_WAIT_S)
        until = time.monotonic() + wait
        while watch.board.version == int(seen) and time.monotonic() < until and not self.closing:
            await asyncio.sleep(POLL_S)
        device = self._pairing.device(request.cookies.get(COOKIE))
        if device is None or not device.may(SEE, name):
            return answer({"error": "Pair this device first."}, 401)
        return answer(view_of(watch, watch.board) | {"rights": sorted(device.rights)})

    async def picture(self, request: Request) -> Response:
        """Return the latest picture with the front on it."""
        watch = self._watches.need(request.path_params["panel"])
        narrow = request.query_params.get("narrow") == "1" and isinstance(watch, WatchPart)
        width = NARROW_PX if narrow else SHOWN_WIDTH
        data = await run_in_threadpool(watch.picture_jpeg, width)
        if data is None:
            raise HTTPException(404)
        return Response(data, media_type="image/jpeg")

    async def chart(self, request: Request) -> Response:
        """Return the chart as SVG."""
        watch = self._watches.need(request.path_params["panel"])
        narrow = request.query_params.get("narrow") == "1"
        if isinstance(watch, WatchPart):
            good = None if watch.good is None else watch.good.band
            svg = await run_in_threadpool(part_chart_svg, watch.board, watch.planned, narrow, good)
            return Response(svg, media_type="image/svg+xml")
        repeat = watch.panel.part.repeat_sd if watch.panel.part else 0.08
        svg = await run_in_threadpool(chart_svg, watch.board, watch.references, repeat, narrow)
        return Response(svg, media_type="image/svg+xml")

    # -- what people do

    async def start(self, request: Request) -> Response:
        """Start watching a panel."""
        values = await asked(request)
        name, _ = self._panel(request)
        interval = number(values.get("interval_s", 10), "interval_s")
        camera = str(values.get("camera", PHONE))
        if camera != PHONE and not caller(request).may(WEBCAM, name):
            return answer({"error": "This device may not use the computer's camera."}, 403)
        watch = await run_in_threadpool(self._watches.start, name, camera, interval)
        return answer({"ok": True, "interval_s": watch.interval_s})

    async def end(self, request: Request) -> Response:
        """End the run."""
        self._watches.need(request.path_params["panel"]).end()
        return answer({"ok": True})

    async def stamp(self, request: Request) -> Response:
        """Stamp resin open or the clamp, or at a part that a feed is open or a vent clamped."""
        values = await asked(request)
        kind, watch = str(values.get("kind", "")), self._watches.get(request.path_params["panel"])
        if isinstance(watch, WatchPart) and kind in KINDS:
            age = min(max(number(values.get("age_s", 0), "age_s"), 0.0), MOST_AGE_S)
            name = str(values.get("name", ""))
            return answer(
                {"ok": True, "said": await run_in_threadpool(watch.by_hand, kind, name, age)}
            )
        if kind not in (RESIN_OPEN, CLAMP):
            raise WetlineError("stamp: must be resin open or clamp")
        return await self._stamped(request, kind, "", values.get("age_s", 0))

    async def note(self, request: Request) -> Response:
        """Put a note into the record of the run."""
        values = await asked(request)
        text = words(values.get("text"))
        if not text:
            raise WetlineError("note: must have words")
        return await self._stamped(request, NOTE, text, values.get("age_s", 0))

    async def _stamped(self, request: Request, kind: str, text: str, age_s: object) -> Response:
        age = min(max(number(age_s, "age_s"), 0.0), MOST_AGE_S)
        watch = self._watches.need(request.path_params["panel"])
        await run_in_threadpool(watch.stamp, kind, text, age)
        return answer({"ok": True})

    async def gauge(self, request: Request) -> Response:
        """Note a gauge reading."""
        values = await asked(request)
        watch = self._watches.need(request.path_params["panel"])
        reading = number(values.get("bag_mbar"), "bag_mbar")
        await run_in_threadpool(watch.gauge, reading)
        return answer({"ok": True})

    async def frame(self, request: Request) -> Response:
        """Take a picture from the phone; answered only once it is on disk."""
        name = request.path_params["panel"]
        watch = self._watches.need(name)
        frame_id = request.headers.get("x-frame-id", "")[:80]
        if frame_id and not self._watches.is_new(name, frame_id):
            return answer({"ok": True, "again": True})
        age = min(max(number(request.headers.get("x-age-ms", "0"), "age") / 1e3, 0.0), MOST_AGE_S)
        data = await body(request, MOST_BYTES)

        def take() -> bool:
            return watch.receive(data, age, check_jpeg(data))

        if not await run_in_threadpool(take):
            return answer({"error": watch.store.fault or "not saved: send it again"}, 503)
        if frame_id:
            self._watches.taken(name, frame_id)
        return answer({"ok": True})

    async def photo(self, request: Request) -> Response:
        """Put a photo beside the record."""
        watch = self._watches.need(request.path_params["panel"])
        data = await body(request, MOST_BYTES)

        def take() -> str:
            check_jpeg(data)
            return watch.add_photo(data)

        return answer({"ok": True, "name": await run_in_threadpool(take)})
