"""What is said of a part that was looked at: feeds never seen wet, resin that no feed sent.

Tested in tests/vision/parts/test_track_part.py.
"""

from __future__ import annotations

import cv2
import numpy as np

from vision.part_records import PartShape
from vision.parts.measure_part import PartMeasured
from vision.parts.part_canvas import PartCanvas
from vision.parts.part_settings import PartCamera, box_map

LOST = (
    "the part could not be found again in most frames: the camera moved and nothing fixed is in "
    "view, or the lens was covered or out of focus: clamp the camera, leave cards or the table "
    "edge in view, and record again"
)
MOST_STRAY = 0.05
"""Share of the part that may change where no feed sent resin (a spill, a leak, a thing set down)
before the feeds or the outline themselves are in doubt. Common practice, no source."""
IN_PART_WORDS = (
    ("use the panel's corners", "tap the part's corners"),
    ("[panel] ", ""),
    ("the panel's size", "the outline"),
    ("panel.toml", "part.toml"),
    ("panel", "part"),
)
"""What the rooms that lay a panel flat say of it, and how that reads of a part."""

LEAST_BESIDE = 0.1
"""Share of the cloth beside a feed that must be wet for the feed to have been seen wet, and that
must have been seen at all for it to be told."""


def in_part_words(text: str) -> str:
    """Return what is wrong with the outline's box as a panel in words that go with a part.

    Examples
    --------
    >>> in_part_words("part.toml: [panel] 800 x 500 mm: the panel leaves the picture")
    'part.toml: 800 x 500 mm: the part leaves the picture'
    """
    head, colon, rest = text.partition(": ")
    for old, new in IN_PART_WORDS:
        rest = rest.replace(old, new)
    return head + colon + rest


def feeds_beside(
    shape: PartShape, part: PartCanvas, found: PartMeasured
) -> tuple[tuple[str, float], ...]:
    """Return when cloth beside each planned feed was first seen wet; infinity never, NaN unseen."""
    told = []
    for feed in shape.feeds:
        beside = part.beside[feed.name]
        clear = beside & found.seen
        if np.count_nonzero(clear) < max(3, LEAST_BESIDE * np.count_nonzero(beside)):
            told.append((feed.name, float("nan")))
            continue
        time_s = np.sort(found.time_s[clear])
        told.append((feed.name, float(time_s[int(LEAST_BESIDE * len(time_s))])))
    return tuple(told)


def place_doubts(camera: PartCamera, found: PartMeasured) -> tuple[str, ...]:
    """Return what does not lie where the plan has it: resin outside it, or from no feed."""
    return (*beyond_doubts(camera, found), *stray_doubts(camera, found))


def beyond_doubts(camera: PartCamera, found: PartMeasured) -> tuple[str, ...]:
    """Return that resin seems to run outside the outline, or in an opening, if it does."""
    if not found.beyond or found.reason:
        return ()
    placed = [(*_on_plan(camera, patch), patch[2]) for patch in found.beyond]
    openings = [patch for patch in placed if _in_opening(camera, patch[:2])]
    outside = [patch for patch in placed if patch not in openings]
    check = "check that cards or tapped points and outline are those of this part"
    out = []
    for patches, where, todo in (
        (outside, "outside the outline", f"{check}, in the plan's coordinates, and y_runs"),
        (
            openings,
            "in an opening",
            f"{check}, and see whether resin stands on the tool there, or something lies on it",
        ),
    ):
        if patches:
            x, y, _ = max(patches, key=lambda patch: patch[2])
            area = sum(patch[2] for patch in patches)
            out.append(
                f"about {area / 100:.0f} cm2 wets {where}, most of it about ({x:.0f}, {y:.0f}) mm: "
                f"outline and photo do not match; {todo}"
            )
    return tuple(out)


def _in_opening(camera: PartCamera, place_mm: tuple[float, float]) -> bool:
    """Return whether a place lies in one of the part's openings."""
    return any(
        cv2.pointPolygonTest(np.asarray(hole, np.float32), place_mm, False) >= 0
        for hole in camera.shape.holes_mm
    )


def stray_doubts(camera: PartCamera, found: PartMeasured) -> tuple[str, ...]:
    """Return that much of the part changed where no planned feed can have sent resin, if it did."""
    area = sum(patch[2] for patch in found.strays)
    outline, *holes = (
        cv2.contourArea(np.asarray(points, np.float32))
        for points in (camera.shape.outline_mm, *camera.shape.holes_mm)
    )
    share = area / max(outline - sum(holes), 1.0)
    if found.reason or share < MOST_STRAY:
        return ()
    return (
        f"about {area / 100:.0f} cm2, {100 * share:.0f} % of the part, changed where no planned "
        "feed can have sent resin: see that the feeds of the plan lie where the real ones do, and "
        "that cards or tapped points are in the plan's order",
    )


def _on_plan(camera: PartCamera, patch: tuple[float, float, float, float]) -> tuple[float, float]:
    place = np.linalg.inv(box_map(camera.shape)) @ np.array([patch[0], patch[1], 1.0])
    return float(place[0]), float(place[1])


def warnings_of(
    camera: PartCamera,
    part: PartCanvas,
    found: PartMeasured,
    feeds: tuple[tuple[str, float], ...],
    ended: bool = True,
) -> tuple[str, ...]:
    """Return what should be looked at, one line each.

    While a run goes on (`ended` is False) nothing is said of a feed that may open yet.
    """
    lines = []
    if found.reason:
        return ()
    due = {feed.name for feed in camera.shape.feeds if ended or feed.first}
    for name, at in feeds:
        if name not in due:
            continue
        if np.isinf(at) and not next(one.first for one in camera.shape.feeds if one.name == name):
            lines.append(
                f"feed {name!r} opens later, and no cloth beside it was seen to wet by the last "
                "photo: if it was open by then, see that its line is not shut or blocked"
            )
        elif np.isinf(at):
            lines.append(
                f"feed {name!r} is named in part.toml but no cloth beside it was seen to wet: if "
                "it was open, see that its line is not shut or blocked; if not, take it out of the "
                "plan or write when it opens"
            )
        elif np.isnan(at):
            lines.append(
                f"feed {name!r}: the cloth beside it was hidden, so whether resin came out of it "
                "was not seen: keep hoses and tools off it"
            )
    for patch in found.strays:
        (x, y), (area, at) = _on_plan(camera, patch), patch[2:]
        lines.append(
            f"at ({x:.0f}, {y:.0f}) mm about {area / 100:.0f} cm2 changed at "
            f"{at / 60:.0f} min where no planned feed can have sent resin: it is not counted as "
            "wet. Look there for a leak, a spill or a thing set down; if a feed lies there, name "
            "it in part.toml"
        )
    return tuple(lines)
