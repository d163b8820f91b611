"""Feeds, vents and edge gaps of part.toml: where they lie, and whether that is on the part.

Tested in tests/analysis/part/plan/test_part_toml.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from analysis.part.plan import outline as part_outline
from analysis.part.plan.outline import inside
from analysis.part.plan.plan import Gap, PartFeed, Place, Vent
from vision.common.toml_table import Table
from vision.errors import bad_field
from vision.records import FloatArray

POINT_RADIUS_MM = 5.0
TOUCH_MM = 1.0
"""A feed, or another gap, this far from a gap's own width still opens into it."""
LIKELY_GAP_MM = (0.05, 20.0)
"""Width of an open gap beside a stack (common practice, no source)."""
NEAR_MISS_MM = 30.0
GAP_FIELDS = ("name", "line_mm", "width_mm", "k_m2", "thickness_mm")
VENT_FIELDS = ("name", "line_mm", "point_mm", "radius_mm")
FEED_FIELDS = (*VENT_FIELDS, "opens_at_s", "opens_when", "resistance_mm")


class Entry(Table):
    """One entry of an array of tables, such as the second [[feed]]."""

    def __init__(self, file: Path, name: str, number: int, values: object) -> None:
        super().__init__(file, f"[{name}]", values)
        self.place = number

    def label(self, key: str) -> str:
        """Return the field's name as the user sees it."""
        return f"[{self.name}] number {self.place}: {key}"


def entries(file: Path, document: Mapping[str, Any], name: str) -> list[Entry]:
    """Take an array of tables of a document."""
    found = document.get(name, [])
    if not isinstance(found, list):
        raise bad_field(file, name, "one table", f"write [[{name}]] with two brackets")
    return [Entry(file, name, k, values) for k, values in enumerate(found, start=1)]


def read_gaps(path: Path, document: Mapping[str, Any], thickness_mm: float) -> list[Gap]:
    """Read the edge gaps of part.toml."""
    gaps = []
    for entry in entries(path, document, "gap"):
        entry.refuse_unknown(GAP_FIELDS)
        line = np.array(entry.points("line_mm") or [])
        width = entry.length("width_mm", above=0, at_most=50, likely=LIKELY_GAP_MM)
        entry.refuse_questions()
        if len(line) < 2:
            raise entry.bad("line_mm", "is needed: two or more points along the gap")
        if width is None:
            raise entry.bad("width_mm", "is needed: how wide the open gap is")
        # Flow between two walls a distance g apart: K = g^2 / 12 (plane Poiseuille flow).
        k = entry.number("k_m2", (width * 1e-3) ** 2 / 12.0, above=0, at_most=1e-4, unit="m2")
        deep = entry.length("thickness_mm", thickness_mm, above=0)
        gaps.append(Gap(line, width, float(k or 0), float(deep or thickness_mm)))
    return gaps


def _place(entry: Entry, with_radius: bool) -> Place:
    points, spot = entry.points("line_mm"), entry.pair("point_mm")
    if (points is None) == (spot is None):
        raise entry.bad("line_mm", "give either line_mm (two or more points) or point_mm")
    if points is not None:
        line = np.array(points)
        if len(line) < 2 or not np.any(np.ptp(line, axis=0) > 0):
            raise entry.bad("line_mm", "must be two or more different points")
        step = np.append(True, np.any(np.diff(line, axis=0) != 0, axis=1))
        return Place(line[step])
    radius = entry.length("radius_mm", POINT_RADIUS_MM if with_radius else 0.0, above=0)
    return Place(np.array([spot]), float(radius or 0.0))


def _on_part(
    entry: Entry, place: Place, outline: FloatArray, holes: list[FloatArray], near_mm: float
) -> None:
    """Refuse a feed or vent that leaves the part."""
    points = place.points_mm
    if place.is_line:
        ticks = np.linspace(0, 1, 33)[:, None]
        points = np.concatenate([a + ticks * (b - a) for a, b in pairwise(points)])
    off = ~inside(points, outline)
    away = np.where(off, part_outline.distance_mm(points, outline), 0.0)
    for hole in holes:
        within = inside(points, hole)
        away = np.where(within, part_outline.distance_mm(points, hole), away)
    worst = int(np.argmax(away))
    if away[worst] > near_mm:
        key = "line_mm" if place.is_line else "point_mm"
        raise entry.bad(
            key,
            f"leaves the part: ({points[worst, 0]:.1f}, {points[worst, 1]:.1f}) lies "
            f"{away[worst]:.1f} mm outside it: move it onto the part",
        )


def read_feeds(
    path: Path,
    document: Mapping[str, Any],
    outline: FloatArray,
    holes: list[FloatArray],
    near_mm: float,
) -> list[PartFeed]:
    """Read the feeds; at least one is open from the start."""
    feeds = []
    for entry in entries(path, document, "feed"):
        entry.refuse_unknown(FEED_FIELDS)
        place = _place(entry, True)
        _on_part(entry, place, outline, holes, near_mm)
        later = entry.number("opens_at_s", 0.0, at_least=0, unit="seconds")
        wet = entry.text("opens_when", None, choices=("wet",)) is not None
        slow = entry.length("resistance_mm", 0.0, at_least=0, at_most=1e5)
        name = str(entry.text("name", f"feed {entry.place}"))
        feeds.append(PartFeed(place, float(later or 0), wet, float(slow or 0), name))
    if not feeds:
        raise bad_field(path, "[[feed]]", "(missing)", "add a feed: line_mm or point_mm")
    if all(feed.opens_when_wet or feed.opens_at_s > 0 for feed in feeds):
        raise bad_field(
            path,
            "[[feed]]",
            "none is open at the start",
            "let one feed have neither opens_at_s nor opens_when",
        )
    return feeds


def read_vents(
    path: Path,
    document: Mapping[str, Any],
    outline: FloatArray,
    holes: list[FloatArray],
    near_mm: float,
) -> list[Vent]:
    """Read the vents; there is at least one."""
    vents = []
    for entry in entries(path, document, "vent"):
        entry.refuse_unknown(VENT_FIELDS)
        place = _place(entry, False)
        _on_part(entry, place, outline, holes, near_mm)
        vents.append(Vent(place, str(entry.text("name", f"vent {entry.place}"))))
    if not vents:
        raise bad_field(
            path, "[[vent]]", "(missing)", "add a vent, or no air can leave: line_mm or point_mm"
        )
    return vents


def near_misses(feeds: list[PartFeed], gaps: list[Gap]) -> list[str]:
    """Return a note for each gap that ends just short of a feed, and so is not fed by it."""
    notes = []
    for number, gap in enumerate(gaps, start=1):
        for feed in feeds:
            ends = np.concatenate([gap.line_mm[[0, -1]], feed.place.points_mm[[0, -1]]])
            off = np.concatenate(
                [
                    part_outline.line_distance_mm(ends[:2], feed.place.points_mm),
                    part_outline.line_distance_mm(ends[2:], gap.line_mm),
                ]
            )
            short = float(off.min()) - feed.place.radius_mm - gap.width_mm
            if TOUCH_MM < short < NEAR_MISS_MM:
                notes.append(
                    f"[[gap]] number {number} stops {short:.0f} mm short of {feed.name}: taken as "
                    "not fed by it; draw them to one point if resin runs from one into the other"
                )
    return notes
