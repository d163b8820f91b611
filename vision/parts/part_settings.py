"""The camera's part of part.toml: ``[frames]`` as of a panel, ``[scale]`` and ``[surface]``.

``[scale]`` has ``method = "sheet"`` with the fields of a panel's, in the part's coordinates, or
``method = "outline"``: ``points_px``, four or more points of the outline tapped in the photo that
``photo`` names, and ``points_mm``, the same points on the plan in the same order. ``[surface]``
has ``height_mm``, how far the part's surface lies above the plane of the scale, and
``height_varies_mm``, how far it may rise or fall from there.

Tested in tests/analysis/infusion/seen/test_part_setup.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from vision.common.toml_table import Table
from vision.part_records import PartShape
from vision.records import FloatArray
from vision.settings.frame_settings import FrameSource, read_frame_source
from vision.settings.panel_settings import PanelSetup
from vision.settings.scale_settings import SCALE_FIELDS, Points, ScaleSpec, read_scale_spec

PART_SCALE_FIELDS = (*SCALE_FIELDS, "points_px", "points_mm")
SURFACE_FIELDS = ("height_mm", "height_varies_mm")
METHODS = ("sheet", "outline")
_OUTLINE_FIELDS = ("method", "photo", "focal_35mm", "points_px", "points_mm", "confirmed")
FAR_OFF = 0.1
"""Share of the part's size by which a tapped point may lie outside the outline's box."""


@dataclass(frozen=True)
class PartCamera:
    """What is needed to look at one part.

    Attributes
    ----------
    folder, file : Path
        The part's folder and its part.toml.
    shape : PartShape
    frames : FrameSource
    scale : ScaleSpec
        In the part's coordinates.
    understood : tuple of str
        How values written with a unit were understood.
    """

    folder: Path
    file: Path
    shape: PartShape
    frames: FrameSource
    scale: ScaleSpec
    understood: tuple[str, ...] = ()

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of the outline's box."""
        span = np.ptp(self.shape.outline_mm, axis=0)
        return float(span[0]), float(span[1])

    def setup(self) -> PanelSetup:
        """Return the outline's box as a panel, for the rooms that follow the camera."""
        scale = replace(
            self.scale,
            marker_centres_mm=on_canvas(self.shape, self.scale.marker_centres_mm),
            points_mm=on_canvas(self.shape, self.scale.points_mm),
        )
        length, width = self.size_mm
        return PanelSetup(
            folder=self.folder,
            file=self.file,
            name=self.shape.name,
            length_mm=length,
            width_mm=width,
            flow="point",
            feed_point_mm=None,
            feed_radius_mm=None,
            frames=self.frames,
            scale=scale,
            understood=self.understood,
            outline=on_canvas(self.shape, tuple(map(tuple, self.shape.outline_mm))),
        )


def box_map(shape: PartShape) -> FloatArray:
    """Return the map from the plan's mm to the canvas's, shape (3, 3)."""
    low, high = shape.outline_mm.min(axis=0), shape.outline_mm.max(axis=0)
    if shape.y_runs == "up":
        return np.array([[1.0, 0, -low[0]], [0, -1.0, high[1]], [0, 0, 1]])
    return np.array([[1.0, 0, -low[0]], [0, 1.0, -low[1]], [0, 0, 1]])


def on_canvas(shape: PartShape, points_mm: Points) -> Points:
    """Return points of the plan in canvas mm."""
    matrix = box_map(shape)
    return tuple(
        (float(matrix[0, 0] * x + matrix[0, 2]), float(matrix[1, 1] * y + matrix[1, 2]))
        for x, y in points_mm
    )


def read_part_camera(
    file: Path, document: Mapping[str, Any], shape: PartShape, need_clock: bool = True
) -> PartCamera:
    """Read what part.toml says of the camera.

    Parameters
    ----------
    file : Path
        part.toml.
    document : mapping
        Its content.
    shape : PartShape
        Outline, holes and feeds of the plan; height is read here.
    need_clock : bool
        Whether a film must say how fast it plays; where only its pictures are looked at, not.

    Raises
    ------
    WetlineError
        If a table or field is missing or wrong.
    """
    surface = Table.of(file, document, "surface")
    surface.refuse_unknown(SURFACE_FIELDS)
    height = surface.length("height_mm") or 0.0
    varies = surface.length("height_varies_mm", at_least=0) or 0.0
    shape = replace(shape, height_mm=height, height_sd_mm=varies)
    table = Table.of(file, document, "frames")
    frames = read_frame_source(table, file.parent, need_clock)
    if frames.kind == "marks":
        raise table.bad("source", "of a part must be photos or a film, not pen marks")
    scale_table = Table.of(file, document, "scale")
    scale = _read_scale(scale_table, shape)
    understood = (*frames.understood, *scale_table.understood, *scale_table.confirmed)
    return PartCamera(file.parent, file, shape, frames, scale, understood)


def _read_scale(table: Table, shape: PartShape) -> ScaleSpec:
    method = table.text("method", choices=METHODS)
    if method is None:
        raise table.bad(
            "method",
            'is needed: "sheet" (four cards, `wetline sheet`) or "outline" (`wetline corners`)',
        )
    span = np.ptp(shape.outline_mm, axis=0)
    if method == "outline":
        return _outline(table, shape)
    for key in ("points_px", "points_mm"):
        if table.has(key):
            raise table.bad(key, 'does not go with method = "sheet": take it out')
    if shape.y_runs == "down":
        return read_scale_spec(table, (float(span[0]), float(span[1])))
    # Cards are listed as they are seen from above; with y up the list is read in mirrored places.
    mirrored = dict(table.values)
    centres = table.points("marker_centres_mm", 4)
    if centres is not None:
        mirrored["marker_centres_mm"] = [[x, -y] for x, y in centres]
    spec = read_scale_spec(
        Table(table.file, table.name, mirrored), (float(span[0]), float(span[1]))
    )
    return replace(spec, marker_centres_mm=tuple((x, -y) for x, y in spec.marker_centres_mm))


def _outline(table: Table, shape: PartShape) -> ScaleSpec:
    table.refuse_unknown(PART_SCALE_FIELDS)
    for key in table.values:
        if key not in _OUTLINE_FIELDS:
            raise table.bad(key, 'does not go with method = "outline": take it out')
    px, mm = table.points("points_px"), table.points("points_mm")
    for key, points in (("points_px", px), ("points_mm", mm)):
        if points is None or len(points) < 4:
            raise table.bad(
                key,
                "needs four or more [x, y] points of the outline: "
                f"`wetline corners {table.file.resolve().parent.name}` asks for them",
            )
    if px is None or mm is None:
        raise table.bad("points_px", "is needed")
    if len(px) != len(mm):
        raise table.bad(
            "points_mm", f"has {len(mm)} points but points_px has {len(px)}: list the same points"
        )
    _check_points(table, shape, np.array(mm))
    return ScaleSpec(
        method="outline",
        photo=table.text("photo", "") or "",
        focal_35mm=table.number("focal_35mm", above=5, at_most=500, unit="mm"),
        confirmed=tuple(table.confirmed_names()),
        points_px=tuple(px),
        points_mm=tuple(mm),
    )


def _check_points(table: Table, shape: PartShape, mm: FloatArray) -> None:
    low, high = shape.outline_mm.min(axis=0), shape.outline_mm.max(axis=0)
    spare = FAR_OFF * (high - low).max()
    outside = ((mm < low - spare) | (mm > high + spare)).any(axis=1)
    if outside.any():
        x, y = mm[int(np.argmax(outside))]
        raise table.bad(
            "points_mm",
            f"the point ({x:g}, {y:g}) lies off the outline: give places on the plan, in its mm",
        )
    spread = np.linalg.svd(mm - mm.mean(axis=0), compute_uv=False)
    if spread[1] < 0.1 * spread[0]:
        raise table.bad(
            "points_mm", "lie about on one line: take points spread all round the outline"
        )
