"""The scale, tapped on a picture: of a panel its corners, of a part the corners of its outline."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from analysis.page.access.rights import SCALE
from analysis.page.routes.asked import Door, answer, asked, number, points, taps_asked
from analysis.page.stored.panels import first_frame, photos
from analysis.page.stored.scale_points import save_scale
from analysis.page.stored.tap_part import asked_corners, begin_tapping, check_taps, photo_jpeg
from analysis.page.watches import Watches
from analysis.part.part_folder import is_part
from vision.errors import WetlineError


class Scale:
    """What is tapped on the picture, and its writing.

    Parameters
    ----------
    watches : Watches
    """

    def __init__(self, watches: Watches) -> None:
        self._watches = watches

    def doors(self) -> list[Door]:
        """Return the addresses."""
        panel = "/api/panels/{panel}"
        return [
            Door(panel + "/first", self.first, SCALE),
            Door(panel + "/outline", self.outline, SCALE),
            Door(panel + "/corners", self.corners, SCALE, "POST"),
        ]

    def _panel(self, request: Request) -> tuple[str, Path]:
        name = request.path_params["panel"]
        return name, self._watches.panels.find(name)

    async def first(self, request: Request) -> Response:
        """Return the picture to tap on: the first, or of a part the one that is asked for."""
        _, folder = self._panel(request)

        def take() -> tuple[str, bytes] | None:
            if not is_part(folder):
                return first_frame(folder)
            tapping = begin_tapping(folder, _photo_asked(request))
            return tapping.photo.name, photo_jpeg(tapping)

        found = await run_in_threadpool(take)
        if found is None:
            raise HTTPException(404)
        named = {"X-Frame-Name": quote(found[0], safe="")}
        return Response(found[1], media_type="image/jpeg", headers=named)

    async def outline(self, request: Request) -> Response:
        """Return which corners of a part's outline to tap, and the plan to lead the finger."""
        _, folder = self._panel(request)
        if not is_part(folder):
            raise HTTPException(404)

        def take() -> dict[str, Any]:
            tapping = begin_tapping(folder, _photo_asked(request))
            led = asked_corners(tapping.camera.shape, tapping.asked)
            return led | {"photo": tapping.photo.name}

        return answer(await run_in_threadpool(take))

    async def corners(self, request: Request) -> Response:
        """Save tapped scale points; of a part, first the plan is shown as they place it."""
        values = await asked(request)
        name, folder = self._panel(request)
        photo = str(values.get("photo", ""))
        if is_part(folder):
            taps, write = taps_asked(values.get("points")), values.get("write") is True
            told = await run_in_threadpool(check_taps, folder, photo, taps, write)
        else:
            told, write = {}, True
            if photo not in {path.name for path in photos(folder)}:
                raise WetlineError("scale points: tap them on one of this panel's pictures")
            corners, tape = points(values.get("corners")), points(values.get("tape", []))
            tape_mm = values.get("tape_mm")
            distance = None if tape_mm is None else number(tape_mm, "tape_mm")
            await run_in_threadpool(save_scale, folder, corners, tape, distance, photo)
        watch = self._watches.get(name)
        if watch is not None and write:
            watch.scale_changed()
        return answer({"ok": True} | told)


def _photo_asked(request: Request) -> str | None:
    return request.query_params.get("photo") or None
