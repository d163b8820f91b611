"""What the camera needs to know of a part, from its plan and part.toml."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from analysis.part.plan.part_toml import PartJob
from vision.common.toml_table import read_toml
from vision.errors import WetlineError
from vision.part_records import FeedPlace, PartShape
from vision.parts.part_settings import PartCamera, read_part_camera


def part_shape(job: PartJob) -> PartShape:
    """Return outline, holes, feeds and vents of a plan, as the camera looks for them."""
    plan = job.plan
    feeds = tuple(
        FeedPlace(
            name=feed.name or f"feed {number}",
            points_mm=np.atleast_2d(np.asarray(feed.place.points_mm, float)),
            radius_mm=float(feed.place.radius_mm or 0.0),
            first=not feed.opens_at_s and not feed.opens_when_wet,
        )
        for number, feed in enumerate(plan.feeds, start=1)
    )
    vents = tuple(
        FeedPlace(
            name=vent.name or f"vent {number}",
            points_mm=np.atleast_2d(np.asarray(vent.place.points_mm, float)),
            radius_mm=float(vent.place.radius_mm or 0.0),
        )
        for number, vent in enumerate(plan.vents, start=1)
    )
    holes = tuple(plan.holes_mm)
    return PartShape(plan.name, plan.outline_mm, holes, feeds, plan.y_runs, vents=vents)


def part_camera(job: PartJob) -> PartCamera:
    """Read `[frames]`, `[scale]` and `[surface]` of a part's part.toml.

    Raises
    ------
    WetlineError
        If a table or field is missing or wrong.
    """
    camera = read_part_camera(job.path, read_toml(job.path), part_shape(job))
    return replace(camera, folder=job.path.parent)


def camera_to_place(job: PartJob) -> PartCamera:
    """Read a part's camera while its `[scale]` is still to be written; what it says is passed over.

    Raises
    ------
    WetlineError
        If `[frames]` is missing, or another table is wrong.
    """
    document: dict[str, Any] = dict(read_toml(job.path))
    if "frames" not in document:
        raise WetlineError(
            f"{job.path}: [frames]: is missing: put the photos into a folder beside it and write "
            'source = "frames" under [frames]'
        )
    told = document.get("scale")
    focal = told.get("focal_35mm") if isinstance(told, dict) else None
    (x0, y0), (x1, y1) = job.plan.outline_mm.min(axis=0), job.plan.outline_mm.max(axis=0)
    corners = [[x0, y0], [x1, y0], [x1, y1], [x0, y1]]
    document["scale"] = {"method": "outline", "points_px": corners, "points_mm": corners}
    if focal is not None:
        document["scale"]["focal_35mm"] = focal
    camera = read_part_camera(job.path, document, part_shape(job), need_clock=False)
    frames = replace(camera.frames, speed_up=camera.frames.speed_up or 1.0)
    return replace(camera, folder=job.path.parent, frames=frames)
