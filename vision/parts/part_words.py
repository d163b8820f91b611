"""What is said of a part that was looked at: feeds never seen wet, resin that no feed sent.

Tested in tests/vision/parts/test_track_part.py.
"""

from __future__ import annotations

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
LEAST_BESIDE = 0.1
"""Share of the cloth beside a feed that must be wet for the feed to have been seen wet, and that
must have been seen at all for it to be told."""


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


def warnings_of(
    camera: PartCamera,
    part: PartCanvas,
    found: PartMeasured,
    feeds: tuple[tuple[str, float], ...],
) -> tuple[str, ...]:
    """Return what should be looked at, one line each."""
    lines = []
    if found.reason:
        return ()
    for name, at in feeds:
        if np.isinf(at):
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
    back = np.linalg.inv(box_map(camera.shape))
    for x, y, area, at in found.strays:
        place = back @ np.array([x, y, 1.0])
        lines.append(
            f"at ({place[0]:.0f}, {place[1]:.0f}) mm about {area / 100:.0f} cm2 changed at "
            f"{at / 60:.0f} min where no planned feed can have sent resin: it is not counted as "
            "wet. Look there for a leak, a spill or a thing set down; if a feed lies there, name "
            "it in part.toml"
        )
    return tuple(lines)
