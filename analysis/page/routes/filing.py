"""Filing by phone, in the shop: stage photos, findings, and marks placed on the panel."""

from __future__ import annotations

import io
import json
import tempfile
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import Any

from PIL import Image as PillowImage
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from analysis.page.access.rights import FILE, PICTURES, SEE, Device
from analysis.page.routes.asked import (
    Door,
    answer,
    asked,
    body,
    caller,
    header_words,
    number,
    points,
    taps_asked,
    words,
)
from analysis.page.stored.panels import Panels, describe, inside, refuse_links_out
from analysis.page.stored.part_plan import part_plan
from analysis.page.stored.plan_lines import plan_lines
from analysis.page.stored.tap_part import asked_corners
from analysis.part.part_folder import NUMBERS, RECORDS, is_part
from analysis.record.day.day_records import (
    COUNTS,
    FINDING_FIELDS,
    KINDS,
    PLACES,
    PRINTS,
    STAGES,
    SURFACES,
    Day,
    Points,
)
from analysis.record.day.day_toml import read_day
from analysis.record.day.filing import add_mark, file_picture, set_day, set_findings
from analysis.record.day.mark_flow import MarkFlow
from analysis.record.day.taking_out import take_out_mark, take_out_photo
from analysis.record.part.part_photos import corners_to_tap, tapped_in
from analysis.record.part.part_record import write_part_record
from analysis.record.record import filed_flow, rewrite_record
from vision.cameras.phone_upload import MOST_BYTES, check_jpeg
from vision.drawing.live_picture import PictureParts, draw_live, jpeg_bytes, load_frame
from vision.drawing.pictures import read_photo
from vision.drawing.strokes import Image
from vision.errors import WetlineError

CHOICES = {"surface": SURFACES, "pits": COUNTS, "dry_areas": COUNTS, "print_through": PRINTS}
MEASURED = ("weight_kg", "resin_used_kg", "resin_left_kg")
NO_RUN = "filed; the {} comes with the result: run `wetline run` on this {} first"
THUMB_PX = 480
MOST_AGE_S = 60 * 24 * 3600.0
_EXIF, _TAKEN = 0x8769, 36867


class Filing:
    """The day of a panel, as a phone files it.

    Parameters
    ----------
    panels : Panels
    """

    def __init__(self, panels: Panels) -> None:
        self._panels = panels
        self._one_at_a_time = threading.Lock()

    def doors(self) -> list[Door]:
        """Return the addresses."""
        day = "/api/panels/{panel}/day"
        return [
            Door("/stages/{panel}/{name}", self.thumbnail, SEE),
            Door(day, self.day, PICTURES),
            Door(day + "/plan", self.plan, FILE),
            Door(day + "/corners", self.corners, PICTURES),
            Door(day + "/photo", self.photo, PICTURES, "POST"),
            Door(day + "/findings", self.findings, FILE, "POST"),
            Door(day + "/mark", self.mark, FILE, "POST"),
            Door(day + "/unmark", self.unmark, FILE, "POST"),
            Door(day + "/unphoto", self.unphoto, FILE, "POST"),
            Door(day + "/record", self.record, FILE, "POST"),
        ]

    # -- what is filed

    async def day(self, request: Request) -> Response:
        """Return what is filed; to a phone for pictures alone, the stages that there are."""
        folder, device = self._folder(request), caller(request)
        name = request.path_params["panel"]
        shown = await run_in_threadpool(_day_shown, name, folder, device)
        return answer(shown)

    async def plan(self, request: Request) -> Response:
        """Return the panel or part from above, to place marks on."""
        folder = self._folder(request)
        return answer(await run_in_threadpool(part_plan if is_part(folder) else plan_lines, folder))

    async def corners(self, request: Request) -> Response:
        """Return which corners of a part to tap in a photo of it, and the plan that leads."""
        folder = self._folder(request)
        if not is_part(folder):
            raise HTTPException(404)

        def take() -> dict[str, Any]:
            camera, asked_for = corners_to_tap(folder)
            return asked_corners(camera.shape, asked_for)

        return answer(await run_in_threadpool(take))

    async def thumbnail(self, request: Request) -> Response:
        """Return a stage photo, small."""
        folder, name = self._folder(request), request.path_params["name"]
        filed = {photo.file for photo in _own_day(folder).photos}
        path = _stage_file(folder, name)
        if f"stages/{name}" not in filed or path is None:
            raise HTTPException(404)

        def small() -> bytes | None:
            image = load_frame(path) if path.is_file() else None
            if image is None:
                return None
            return jpeg_bytes(draw_live(PictureParts(image, None, None, 0.0, "edge"), THUMB_PX))

        data = await run_in_threadpool(small)
        if data is None:
            raise HTTPException(404)
        return Response(data, media_type="image/jpeg")

    # -- filing

    async def photo(self, request: Request) -> Response:
        """File a stage photo; answered only once it is on disk."""
        folder = self._folder(request)
        stage, note = header_words(request, "x-stage"), header_words(request, "x-note")
        age = min(max(number(request.headers.get("x-age-ms", "0"), "age") / 1e3, 0.0), MOST_AGE_S)
        taken = datetime.fromtimestamp(time.time() - age).replace(microsecond=0)
        tapped = request.headers.get("x-corners", "")
        corners = () if is_part(folder) else corners_asked(tapped)
        data = await body(request, MOST_BYTES)

        def take() -> dict[str, Any]:
            check_jpeg(data)
            when = None if has_own_time(data) else (taken.isoformat(), "file")
            px, mm = _on_plan(folder, data, tapped) if is_part(folder) else (corners, ())
            filed = file_picture(
                folder, data, ".jpg", stage, note=note, when=when, corners_px=px, points_mm=mm
            )
            return asdict(filed)

        return answer({"ok": True, "photo": await self._filed(folder, take)})

    async def findings(self, request: Request) -> Response:
        """File findings, who did it, and which batch; what is left empty is taken out."""
        values, folder = await asked(request), self._folder(request)
        told = {name: words(values[name]) for name in ("done_by", "batch") if name in values}
        found = {name: _finding(name, values[name]) for name in FINDING_FIELDS if name in values}

        def take() -> None:
            set_findings(folder, **found)
            set_day(folder, **told)

        await self._filed(folder, take)
        return answer({"ok": True})

    async def mark(self, request: Request) -> Response:
        """File a place on the panel where something was found."""
        values, folder = await asked(request), self._folder(request)
        kind, note = words(values.get("kind")), words(values.get("note"))
        x_mm, y_mm = number(values.get("x_mm"), "x_mm"), number(values.get("y_mm"), "y_mm")
        made = await self._filed(folder, lambda: add_mark(folder, kind, x_mm, y_mm, note))
        return answer({"ok": True, "mark": asdict(made)})

    async def unmark(self, request: Request) -> Response:
        """Take a mark out again, if it is still the one that the phone shows."""
        values, folder = await asked(request), self._folder(request)
        place = int(number(values.get("number"), "number"))
        shown = (words(values.get("kind")), values.get("x_mm"), values.get("y_mm"))

        def take() -> None:
            marks = _own_day(folder).marks
            if [(m.kind, m.x_mm, m.y_mm) for m in marks[max(place - 1, 0) : place]] != [shown]:
                raise WetlineError("the marks have changed meanwhile: look at them again")
            take_out_mark(folder, place)

        await self._filed(folder, take)
        return answer({"ok": True})

    async def unphoto(self, request: Request) -> Response:
        """Take a photo out of the record again; it is kept aside in the panel's folder."""
        values, folder = await asked(request), self._folder(request)
        file, stage = str(values.get("file", "")), words(values.get("stage"))

        def take() -> dict[str, Any]:
            own = {photo.file for photo in _own_day(folder).photos}
            if file in own and _stage_file(folder, file.rpartition("/")[2]) is None:
                raise WetlineError(f"{file}: is a link that leads out of the folder: take it away")
            return asdict(take_out_photo(folder, file, stage, datetime.now()))

        return answer({"ok": True, "out": await self._filed(folder, take)})

    async def record(self, request: Request) -> Response:
        """Write the record again with all that is filed; return what it says of the marks."""
        folder = self._folder(request)

        write = _part_record if is_part(folder) else _panel_record
        found = await self._filed(folder, lambda: write(folder))
        return answer({"ok": True, "flow": [flow.words for flow in found]})

    async def _filed(self, folder: Path, take: Callable[[], Any]) -> Any:
        """File one thing at a time: two phones may file at once, and day.toml is one file."""

        def work() -> Any:
            with self._one_at_a_time:
                refuse_links_out(folder)
                return take()

        return await run_in_threadpool(work)

    def _folder(self, request: Request) -> Path:
        return self._panels.find(request.path_params["panel"])


def _panel_record(folder: Path) -> Sequence[MarkFlow]:
    """Write a panel's record again; return what the front did at each mark."""
    if not (folder / "results" / "results.json").is_file():
        raise WetlineError(NO_RUN.format("report", "panel"))
    found = rewrite_record(folder)
    return filed_flow(_own_day(folder), found)


def _part_record(folder: Path) -> Sequence[MarkFlow]:
    """Write a part's record again; return what the front did at each mark."""
    if not (folder / "results" / NUMBERS).is_file():
        raise WetlineError(NO_RUN.format("record", "part"))
    return write_part_record(folder).marks


def _stage_file(folder: Path, name: str) -> Path | None:
    """Return the place of a filed photo; None where a link leads out of the folder."""
    return None if inside(folder, "stages") is None else inside(folder / "stages", name)


def corners_asked(text: str) -> tuple[tuple[float, float], ...]:
    """Read a panel's four corners from a header; none where it is empty.

    Raises
    ------
    WetlineError
        If they are no four points.

    Examples
    --------
    >>> corners_asked("[[1, 2], [9, 2], [9, 7], [1, 7]]")[2], corners_asked("")
    ((9.0, 7.0), ())
    """
    if not text:
        return ()
    read = points(_json(text))
    if len(read) != 4:
        raise WetlineError("corners: four are needed: tap them again")
    return tuple(read)


def _on_plan(folder: Path, data: bytes, text: str) -> tuple[Points, Points]:
    """Read corners of a part from a header; return them, and where on the plan they are."""
    if not text:
        return (), ()
    return tapped_in(folder, _decoded(data), taps_asked(_json(text)))


def _decoded(data: bytes) -> Image:
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "photo.jpg"
        path.write_bytes(data)
        return read_photo(path)


def _json(text: str) -> object:
    try:
        return json.loads(text[:400])
    except (ValueError, RecursionError):
        raise WetlineError("corners: not understood: tap them again") from None


def has_own_time(data: bytes) -> bool:
    """Return whether a JPEG says itself when it was taken (CIPA DC-008, DateTimeOriginal)."""
    try:
        with PillowImage.open(io.BytesIO(data), formats=["JPEG"]) as image:
            return bool(image.getexif().get_ifd(_EXIF).get(_TAKEN))
    except (OSError, ValueError, SyntaxError, TypeError, KeyError):
        return False


def _day_shown(name: str, folder: Path, device: Device) -> dict[str, Any]:
    panel, part = describe(name, folder), is_part(folder)
    shown: dict[str, Any] = {
        "id": name,
        "kind": "part" if part else "panel",
        "name": panel["name"],
        "stages": STAGES,
        "rights": sorted(device.rights),
    }
    if not (device.may(FILE, name) or device.may(SEE, name)):
        return shown
    day, report = _own_day(folder), RECORDS[0] if part else "report.html"
    return shown | {
        "done_by": day.done_by,
        "batch": day.batch,
        "photos": [asdict(photo) for photo in day.photos],
        "findings": asdict(day.findings),
        "marks": [asdict(mark) for mark in day.marks],
        "kinds": KINDS,
        "choices": CHOICES,
        "places": PLACES,
        "report": report if report in panel.get("files", []) else None,
    }


def _own_day(folder: Path) -> Day:
    """Read day.toml, which must be the panel's own file."""
    if inside(folder, "day.toml") is None:
        raise WetlineError("day.toml: is a link that leads out of the panel's folder: take it away")
    return read_day(folder)


def _finding(name: str, value: object) -> Any:
    """Read one finding as it was typed: a plain number is in the field's own unit."""
    if name == "thickness_mm":
        given = value if isinstance(value, list) else [value]
        typed = [_typed(item) for item in given]
        kept = [item for item in typed if item is not None]
        if kept and len(kept) != len(typed):
            raise WetlineError("thickness: fill in all five places, or none")
        return kept or None
    if name in MEASURED:
        return _typed(value)
    return words(value) or None


def _typed(value: object) -> float | str | None:
    text = words(value) if isinstance(value, str) else str(value)
    if not text:
        return None
    try:
        return number(text.replace(",", "."), "value")
    except WetlineError:
        return text
