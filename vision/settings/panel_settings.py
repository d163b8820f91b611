"""The camera's part of panel.toml: ``[panel]``, ``[frames]`` and ``[scale]``.

``[panel]`` holds ``name``, ``length_mm`` (along the flow) and ``width_mm`` (both needed except
with the tape method), ``flow`` (``"edge"``, as left out, or ``"point"``), ``feed_point_mm`` and
``feed_radius_mm`` (point feed), and two things a user may add:

- ``ignore_mm = [[[10, 20], [60, 20], [60, 80]], ...]``: patches of the panel not to look at, each
  a polygon in panel mm; two points stand for the opposite corners of a rectangle.
- ``region_mm = [[0, 20], [400, 180]]``: look at this part of the panel only, written alike.

`vision.settings.frame_settings` and `vision.settings.scale_settings` describe the other two tables.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from vision.common.toml_table import Table, read_toml
from vision.errors import WetlineError
from vision.settings.frame_settings import FrameSource, read_frame_source
from vision.settings.scale_settings import Points, ScaleSpec, read_scale_spec

PANEL_FIELDS = (
    "name",
    "length_mm",
    "width_mm",
    "flow",
    "feed_point_mm",
    "feed_radius_mm",
    "ignore_mm",
    "region_mm",
    "slope_deg",
    "date",
    "operator",
    "notes",
)


LEAST_REGION = 0.02
"""Share of the panel below which a region to look at is most often in another unit."""


@dataclass(frozen=True)
class PanelSetup:
    """What the camera needs to know about one panel.

    Attributes
    ----------
    folder, file : Path
        The panel's folder and its panel.toml.
    name : str
        As shown to the user; the folder's name if none is given.
    length_mm, width_mm : float or None
        Along and across the flow; None only with the tape method.
    flow : {"edge", "point"}
        Feed along x = 0, or from a point.
    feed_point_mm : (float, float) or None
        Point feed; None when it is to be found.
    feed_radius_mm : float or None
        Radius of the feed hole.
    ignore : tuple of polygons
        Patches not to look at, panel mm.
    region : polygon or None
        The only part to look at, panel mm.
    outline : polygon or None
        Of a part: its own outline inside the rectangle, of which most must lie in the picture.
    understood : tuple of str
        How values of [frames] and [scale] written with a unit were understood, and unusual ones
        that the user has confirmed.
    """

    folder: Path
    file: Path
    name: str
    length_mm: float | None
    width_mm: float | None
    flow: str
    feed_point_mm: tuple[float, float] | None
    feed_radius_mm: float | None
    frames: FrameSource
    scale: ScaleSpec
    ignore: tuple[Points, ...] = ()
    region: Points | None = None
    outline: Points | None = None
    understood: tuple[str, ...] = ()

    @property
    def shown_file(self) -> str:
        """The file as error messages show it."""
        return "/".join(self.file.parts[-2:])


def read_setup(folder: Path) -> PanelSetup:
    """Read the camera's part of a panel folder's panel.toml.

    Parameters
    ----------
    folder : Path
        The panel folder, or the .toml file itself.

    Raises
    ------
    WetlineError
        If the file is missing or a field is missing, unknown or wrong.
    """
    folder = Path(folder)
    if folder.suffix.lower() == ".toml" and not folder.is_dir():
        folder, file = folder.parent, folder
    else:
        file = folder / "panel.toml"
    if not folder.is_dir():
        raise WetlineError(f"{folder}: no such folder: make one with `wetline new FOLDER`")
    return setup_from(read_toml(file), file, folder)


def setup_from(
    document: Mapping[str, Any], file: Path, folder: Path, need_clock: bool = True
) -> PanelSetup:
    """Return the setup for a TOML document already read (see `read_setup`).

    Without `need_clock` a film need not say how fast it plays: only its pictures are looked at.
    """
    frames = read_frame_source(Table.of(file, document, "frames"), folder, need_clock)
    return setup_with(frames, document, file, folder)


def setup_with(
    frames: FrameSource, document: Mapping[str, Any], file: Path, folder: Path
) -> PanelSetup:
    """Return the setup for a source of frames and the other tables (see `read_setup`)."""
    panel = Table.of(file, document, "panel")
    panel.refuse_unknown(PANEL_FIELDS)
    size = panel.length("length_mm", above=0), panel.length("width_mm", above=0)
    scale_table = Table.of(file, document, "scale")
    _need_size(panel, size, str(scale_table.values.get("method")), frames.kind)
    if frames.kind == "marks":
        scale = ScaleSpec(method="none")
    else:
        scale = read_scale_spec(scale_table, size)
    flow = panel.text("flow", "edge", choices=("edge", "point")) or "edge"
    outline = panel.values.get("region_mm")
    region = None if outline is None else _polygon(panel, "region_mm", outline)
    ignore = _polygons(panel)
    _check_outlines(panel, size, region, ignore)
    return PanelSetup(
        folder=folder,
        file=file,
        name=panel.text("name") or folder.resolve().name,
        length_mm=size[0],
        width_mm=size[1],
        flow=flow,
        feed_point_mm=_feed_point(panel, flow, size),
        feed_radius_mm=_feed_radius(panel, flow),
        frames=frames,
        scale=scale,
        ignore=ignore,
        region=region,
        understood=(*frames.understood, *scale_table.understood, *scale_table.confirmed),
    )


def _need_size(
    panel: Table, size: tuple[float | None, float | None], method: str, kind: str
) -> None:
    if kind == "marks" or method == "tape":
        if method == "tape" and (size[0] is None) != (size[1] is None):
            missing = "length_mm" if size[0] is None else "width_mm"
            raise panel.bad(missing, "give both length_mm and width_mm, or neither")
        return
    for key, value, along in (
        ("length_mm", size[0], "along the flow"),
        ("width_mm", size[1], "across the flow"),
    ):
        if value is None:
            raise panel.bad(key, f"is needed: the panel's size {along}, in mm")


def _feed_point(
    panel: Table, flow: str, size: tuple[float | None, float | None]
) -> tuple[float, float] | None:
    point = panel.pair("feed_point_mm")
    if point is None:
        return None
    if flow != "point":
        raise panel.bad("feed_point_mm", 'goes with flow = "point": set that, or take it out')
    for value, limit in zip(point, size, strict=True):
        if value < 0 or (limit is not None and value > limit):
            raise panel.bad("feed_point_mm", "lies off the panel: give [x, y] in panel mm")
    return point


def _feed_radius(panel: Table, flow: str) -> float | None:
    radius = panel.length("feed_radius_mm", above=0)
    if radius is not None and flow != "point":
        raise panel.bad("feed_radius_mm", 'goes with flow = "point": set that, or take it out')
    return radius


def _polygons(panel: Table) -> tuple[Points, ...]:
    value = panel.values.get("ignore_mm", [])
    if not isinstance(value, list):
        raise panel.bad("ignore_mm", _POLYGON_RULE)
    return tuple(_polygon(panel, "ignore_mm", item) for item in value)


_POLYGON_RULE = (
    "must be outlines in panel mm, such as [[[10, 20], [60, 80]]] for a rectangle by two corners"
)


def _check_outlines(
    panel: Table,
    size: tuple[float | None, float | None],
    region: Points | None,
    ignore: Sequence[Points],
) -> None:
    """Refuse outlines that lie off the panel, and a region too small to be one."""
    length, width = size
    if length is None or width is None:
        return
    keys = ["ignore_mm"] * len(ignore) + ["region_mm"] * (region is not None)
    for key, outline in zip(keys, (*ignore, *([region] if region else [])), strict=True):
        low, high = np.min(outline, axis=0), np.max(outline, axis=0)
        inside = np.minimum(high, (length, width)) - np.maximum(low, 0.0)
        if np.any(inside <= 0):
            raise panel.bad(key, f"lies off the panel of {length:g} x {width:g} mm: give panel mm")
        if key == "region_mm" and np.prod(inside) < LEAST_REGION * length * width:
            raise panel.bad(
                key, f"is less than 2 % of the panel of {length:g} x {width:g} mm: give panel mm"
            )


def _polygon(panel: Table, key: str, value: object) -> Points:
    rule = (
        _POLYGON_RULE if key == "ignore_mm" else "must be an outline such as [[0, 20], [400, 180]]"
    )
    try:
        array = np.array(value, dtype=float)
    except (TypeError, ValueError):
        raise panel.bad(key, rule) from None
    if array.ndim != 2 or array.shape[0] < 2 or array.shape[1] != 2:
        raise panel.bad(key, rule)
    if not np.isfinite(array).all():
        raise panel.bad(key, rule)
    if len(array) == 2:
        (x0, y0), (x1, y1) = array
        if x0 == x1 or y0 == y1:
            raise panel.bad(key, "the two corners of a rectangle must differ in x and in y")
        return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
    return tuple((float(x), float(y)) for x, y in array)
