"""Whether the part in the photos ends where its outline does: what stands just inside and outside.

Right cards and a plan of another part give a scale that fits and an outline that lies anywhere.
Cards and points cannot tell; the rim can. Where resin has come to the outline and what lies beyond
it turns wet too, the part goes on past its outline. Where resin has come near it, the rim stays
dry and looked like the table to begin with, the part ends short of it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.part_records import PartSeen, PartShape
from vision.records import BoolArray, FloatArray, IntArray
from vision.scale.plane_map import photo_px

OUT_MM, FAR_MM = (16.0, 24.0, 32.0), 45.0
"""Beyond the outline: clear of its own blur, tape and a hose's breadth; and what counts as table.
Common practice, no source."""

BESIDE_MM = 20.0
"""Cloth so far behind the last dry place is clear of the edge."""

DEPTHS = 60
"""Places that are looked at inwards from each one on the outline, `STEP_MM` apart."""

STEP_MM = 8.0
EDGE_STEPS = 3
"""Resin that has come so near the outline has come to it."""

PATCH_PX, WIDEST_PX = 5, 1600
"""Pixels averaged over, in a photo made smaller to so many."""

LATE = 3
"""Photos from the end that must agree."""

LIKE_WET = 0.6
"""Share of the cloth's own change that makes what lies beyond the outline wet."""

LIKE_DRY = 0.4
"""Share of the cloth's own change below which a place has not turned wet."""

LIKE_TABLE = 0.4
"""How far the rim's look may be from the table's, as a share of how far it is from the cloth's."""

LEAST_APART = 0.12
"""Log of the least difference in look or change that is read: an eighth of the brightness."""

EARLY = 0.93
"""Share of the run by which resin must have come to the rim."""

ASKED, DOUBTED = 0.05, 0.1
"""Share of the outline from which it is asked about, and from which the run is in doubt."""


@dataclass(frozen=True)
class LatePhoto:
    """A photo of the run: its picture, and the map to it from the plan's mm."""

    image: NDArray[np.uint8]
    homography: FloatArray


@dataclass(frozen=True)
class RimCheck:
    """What the rim shows; arrays by place along the outline.

    Attributes
    ----------
    at_mm : ndarray of shape (N, 2), float
        Places on the outline, in the plan's coordinates.
    told : ndarray of shape (N,), bool
        Where resin has come near and everything shows.
    goes_on, ends_short : ndarray of shape (N,), bool
        Where the part goes on past its outline, and where it ends short of it.
    short_mm : ndarray of shape (N,), float
        By how much it ends short.
    """

    at_mm: FloatArray
    told: BoolArray
    goes_on: BoolArray
    ends_short: BoolArray
    short_mm: FloatArray


def check_rim(
    shape: PartShape, seen: PartSeen, first: LatePhoto, late: Sequence[LatePhoto]
) -> RimCheck:
    """Compare the part in the photos with its outline, where resin has come to it.

    Parameters
    ----------
    shape : PartShape
    seen : PartSeen
    first : LatePhoto
        A photo from before the resin came there.
    late : sequence of LatePhoto
        Some from the end: what one alone shows may be a hand.
    """
    at, out = _places(shape)
    changes: list[list[FloatArray]] = []
    inward = -STEP_MM * (np.arange(DEPTHS) + 1.0)
    wet = _wet(seen, at[:, None] + inward[:, None] * out[:, None])
    edge = _first_wet(wet)
    told, edge = edge >= 0, np.maximum(edge, 0)
    deep_mm = inward[edge] - BESIDE_MM
    dry = _looks(first, seen, at, out, inward, deep_mm)
    for photo in late:
        end = _looks(photo, seen, at, out, inward, deep_mm)
        light = (end.far - dry.far)[np.isfinite(end.far - dry.far).all(axis=1)]
        table = np.median(light, axis=0) if len(light) else np.full(3, np.nan)
        moved = (end.deep - dry.deep, end.out - dry.out, _band(end.inside - dry.inside, edge))
        changes.append([change - table for change in moved])
    own = np.min([_size(deep) for deep, _, _ in changes], axis=0)
    beyond = np.min([_share(out, deep) for deep, out, _ in changes], axis=0)
    within = np.max([_share(band, deep) for deep, _, band in changes], axis=0)
    told &= (own > LEAST_APART) & np.isfinite(beyond)
    at_rim = edge < EDGE_STEPS
    band = _band(dry.inside, edge)
    apart = _size(dry.deep - dry.out)
    like = _size(band - dry.out) / np.maximum(_size(band - dry.deep), 1e-6)
    return RimCheck(
        at,
        told,
        told & at_rim & (beyond > LIKE_WET),
        told & ~at_rim & (apart > LEAST_APART) & (like < LIKE_TABLE) & (within < LIKE_DRY),
        np.where(at_rim, 0.0, -inward[edge] - STEP_MM / 2),
    )


@dataclass(frozen=True)
class _Looks:
    """Log brightness by channel: beyond the outline, far from it, inwards from it, and in cloth."""

    out: FloatArray
    far: FloatArray
    inside: FloatArray
    deep: FloatArray


def _first_wet(wet: FloatArray) -> IntArray:
    """Return how many places in from the outline resin has come to; -1 where that is not told.

    All nearer the outline must have been seen dry.
    """
    depth = np.argmax(wet == 1, axis=1)
    before = np.arange(wet.shape[1])[None, :] < depth[:, None]
    clear = np.mean(np.where(before, wet == 0, True), axis=1) > 0.95
    return np.where((wet == 1).any(axis=1) & clear, depth, -1)


def _band(inside: FloatArray, edge: IntArray) -> FloatArray:
    """Return the look of the dry band between outline and resin."""
    depth = np.arange(inside.shape[1])[None, :]
    within = depth < np.maximum(edge - 1, 1)[:, None]
    held = np.where(within[..., None], inside, np.nan)
    empty = np.isnan(held).all(axis=1)
    held[:, 0] = np.where(empty, 0.0, held[:, 0])
    return np.where(empty, np.nan, np.nanmedian(held, axis=1))


def _places(shape: PartShape) -> tuple[FloatArray, FloatArray]:
    """Return places along the outline and the way out of it there, in the plan's coordinates."""
    ring = shape.outline_mm
    x, y = ring.T
    turn = np.sign(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    at, out = [], []
    for a, b in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        along = b - a
        length = float(np.hypot(*along))
        if length < STEP_MM / 4:
            continue
        share = (np.arange(max(1, round(length / STEP_MM))) + 0.5) / max(1, round(length / STEP_MM))
        at.append(a + share[:, None] * along)
        out.append(np.tile(turn * np.array([along[1], -along[0]]) / length, (len(share), 1)))
    return np.vstack(at), np.vstack(out)


def _looks(
    photo: LatePhoto,
    seen: PartSeen,
    at: FloatArray,
    out: FloatArray,
    inward: FloatArray,
    deep_mm: FloatArray,
) -> _Looks:
    """Look at a photo along the outline: at `inward` mm, and for each place at its own depth."""
    factor = max(1.0, max(photo.image.shape[:2]) / WIDEST_PX)
    smooth = cv2.resize(
        photo.image, None, fx=1 / factor, fy=1 / factor, interpolation=cv2.INTER_AREA
    )
    logs = np.log(cv2.blur(smooth, (PATCH_PX, PATCH_PX)).astype(np.float32) + 4.0)
    room = np.array([logs.shape[1], logs.shape[0]]) - PATCH_PX

    def look(away_mm: FloatArray) -> FloatArray:
        places = at[:, None] + away_mm[..., None] * out[:, None]
        px = photo_px(places.reshape(-1, 2), photo.homography, seen.lens)
        px = (px + 0.5) / factor - 0.5
        clear = np.all((px > PATCH_PX) & (px < room), axis=1)
        rows = np.clip(np.rint(px[:, 1]), 0, logs.shape[0] - 1).astype(int)
        cols = np.clip(np.rint(px[:, 0]), 0, logs.shape[1] - 1).astype(int)
        value = np.where(clear[:, None], logs[rows, cols], np.nan)
        return value.reshape(*places.shape[:2], 3)

    return _Looks(
        np.median(look(np.array(OUT_MM)[None]), axis=1),
        look(np.array([[FAR_MM]]))[:, 0],
        look(inward[None]),
        np.median(look(deep_mm[:, None] + np.array([-8.0, 0.0, 8.0])), axis=1),
    )


def _size(difference: FloatArray) -> FloatArray:
    return np.asarray(np.sqrt(np.mean(difference**2, axis=1)))


def _share(change: FloatArray, own: FloatArray) -> FloatArray:
    """Return how much of the cloth's own change a change is."""
    return np.sum(change * own, axis=1) / np.maximum(np.sum(own**2, axis=1), 1e-9)


def _wet(seen: PartSeen, places: FloatArray) -> FloatArray:
    """Return 1 where places were seen wet well before the end, 0 where they never were, else NaN.

    Table inside a wrong outline shows no change: it is never seen to wet, and filled from beside.
    """
    col = np.rint(np.interp(places[..., 0], seen.x_mm, np.arange(len(seen.x_mm)))).astype(int)
    order = np.argsort(seen.y_mm)
    row = np.rint(np.interp(places[..., 1], seen.y_mm[order], order)).astype(int)
    time_s, clear = seen.time_s[row, col], (seen.seen & seen.inside)[row, col]
    early = clear & (time_s < EARLY * seen.last_s)
    return np.where(early, 1.0, np.where(np.isinf(time_s) | ~clear, 0.0, np.nan))


def rim_photos(
    seen: PartSeen, read: Callable[[str], NDArray[np.uint8] | None]
) -> tuple[LatePhoto, list[LatePhoto]] | None:
    """Return the first photo that shows the part and the last ones; None where there are too few.

    Parameters
    ----------
    seen : PartSeen
    read : callable
        Given the name of a photo, its picture, or None where that is not at hand.
    """
    shown = [k for k in range(len(seen.frames)) if np.isfinite(seen.homographies[k]).all()]
    if len(shown) < 2 * LATE:
        return None
    photos = []
    for k in (shown[0], *shown[-LATE:]):
        image = read(seen.frames[k])
        if image is None:
            return None
        photos.append(LatePhoto(image, seen.homographies[k]))
    return photos[0], photos[1:]


def with_rim(
    shape: PartShape, seen: PartSeen, read: Callable[[str], NDArray[np.uint8] | None]
) -> PartSeen:
    """Return what was seen with what the part's rim in the photos says against its outline.

    Parameters
    ----------
    shape : PartShape
    seen : PartSeen
    read : callable
        As for `rim_photos`.
    """
    photos = rim_photos(seen, read) if seen.usable else None
    if photos is None:
        return seen
    doubts, warnings = rim_doubts(shape, check_rim(shape, seen, *photos))
    return replace(seen, doubts=(*doubts, *seen.doubts), warnings=(*warnings, *seen.warnings))


def rim_doubts(shape: PartShape, found: RimCheck) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return what a rim that is not where the outline is makes doubtful, and what to look at.

    Returns
    -------
    doubts, warnings : tuple of str
    """
    doubts: list[str] = []
    warnings: list[str] = []
    for places, what in (
        (found.goes_on, "what lies past the outline wets as the part does"),
        (found.ends_short, _short_words(found)),
    ):
        share = float(np.mean(places))
        if share < ASKED:
            continue
        x, y = np.median(found.at_mm[places], axis=0)
        line = (
            f"{what}, along {100 * share:.0f} % of its length, most of it at its "
            f"{_side(shape, found.at_mm[places])} (about {x:.0f}, {y:.0f} mm): see that outline, "
            "cards or tapped points are those of this part; if its cloth is cut otherwise, draw "
            "the outline as it lies"
        )
        (doubts if share >= DOUBTED else warnings).append(line)
    return tuple(doubts), tuple(warnings)


def _short_words(found: RimCheck) -> str:
    short = found.short_mm[found.ends_short]
    by = float(np.median(short)) if len(short) else 0.0
    return (
        f"the part seems to end about {round(by, -1):.0f} mm short of the outline, where the "
        "photos show what looks like the table"
    )


def _side(shape: PartShape, places: FloatArray) -> str:
    """Return at which side of the part, seen from above, most of some places lie."""
    low, high = shape.outline_mm.min(axis=0), shape.outline_mm.max(axis=0)
    share = (places - low) / (high - low)
    down = shape.y_runs == "down"
    near = {
        "left": share[:, 0],
        "right": 1 - share[:, 0],
        "upper side": share[:, 1] if down else 1 - share[:, 1],
        "lower side": 1 - share[:, 1] if down else share[:, 1],
    }
    return min(near, key=lambda name: float(np.median(near[name])))
