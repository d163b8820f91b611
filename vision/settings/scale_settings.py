"""What panel.toml says about the scale reference: its ``[scale]`` table.

``method`` is one of

- ``"sheet"``: four printed markers. ``marker_mm`` (edge of the black square) and
  ``marker_centres_mm`` (four [x, y] from the panel's feed corner), both written by
  ``wetline sheet``: nothing seen in the photos can replace them;
  ``check_bar_mm`` (what the printed 100 mm bar measures: the markers are then
  check_bar_mm / 100 of their nominal size). Centres are taken as measured with a tape on the
  table, unless ``centres_printed = true`` says that they stand on the same print, which then
  shrinks or grows them like the markers.
- ``"corners"``: ``corners_px``, the panel's corners in the photo, and the panel's length and width.
- ``"tape"``: ``corners_px`` of a panel whose size may be unknown, ``tape_px`` two photo points
  in the panel's plane and ``tape_mm`` the distance between them.
- ``"checkerboard"``: ``square_mm``, ``inner_corners = [columns, rows]``, and ``corners_px``, the
  panel's corners in the photo. The board lies flat in the panel's plane, anywhere in the picture,
  in the photo that ``photo`` names; it may be taken away afterwards. It gives the
  scale and the lens; the corners say where the panel is.

Corners and markers run (0, 0), (length, 0), (length, width), (0, width): clockwise as the photo
shows them, from the feed corner. ``photo`` names the photo that ``corners_px`` and ``tape_px``
were read on (left out: the first in time). ``focal_35mm``, the lens's focal length as for
35 mm film, helps the tape method if the photos do not tell it.

Tested in tests/vision/settings/test_panel_settings.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.common.toml_table import CONFIRMED, Table

Points = tuple[tuple[float, float], ...]

METHODS = ("sheet", "corners", "tape", "checkerboard")
MARKER_MM = 40.0
MARKER_INSET_MM = 30.0
MARKER_OFFSET_MM = 70.0
CHECK_BAR_MM = 100.0
LIKELY_BAR_MM = (90.0, 110.0)
LIKELY_MARKER_MM = (5.0, 500.0)
LIKELY_TAPE_MM = (50.0, 20_000.0)
LIKELY_SQUARE_MM = (2.0, 200.0)
"""What lies beside a panel as a scale (common practice, no source); the rest is questioned, for
it is most often another unit."""
LEAST_SPAN, MOST_SPAN = 0.4, 5.0
"""Cards around a panel stand apart by at least and at most these shares of its size."""
_FIELDS = {
    "sheet": ("marker_mm", "marker_centres_mm", "check_bar_mm", "centres_printed"),
    "corners": ("corners_px",),
    "tape": ("corners_px", "tape_px", "tape_mm"),
    "checkerboard": ("square_mm", "inner_corners", "corners_px"),
}
SCALE_FIELDS = ("method", "photo", "focal_35mm", *sorted({f for v in _FIELDS.values() for f in v}))


@dataclass(frozen=True)
class ScaleSpec:
    """The scale reference. Fields of other methods than `method` are empty.

    Attributes
    ----------
    method : {"sheet", "corners", "tape", "checkerboard", "outline", "none"}
        ``"outline"`` of a part only; ``"none"`` with pen marks, which carry their own distances.
    marker_mm : float
        True edge of the black squares, after the check bar.
    marker_centres_mm : tuple of 4 (x, y)
        True centres of markers 0 to 3, panel coordinates.
    centres_printed : bool
        Whether the centres stand on the same print as the markers.
    corners_px, tape_px : tuple of (x, y)
        Photo points.
    inner_corners : (int, int)
        Columns and rows.
    photo : str
        Frame that the photo points were read on; empty: the first.
    focal_35mm : float or None
        Focal length as for 35 mm film, given by the user.
    points_px, points_mm : tuple of (x, y)
        Of a part, method "outline": points tapped in the photo and their places.
    confirmed : tuple of str
        Fields whose unusual values the user has confirmed.
    """

    method: str
    marker_mm: float = 0.0
    marker_centres_mm: Points = ()
    centres_printed: bool = False
    check_bar_mm: float | None = None
    corners_px: Points = ()
    tape_px: Points = ()
    tape_mm: float = 0.0
    square_mm: float = 0.0
    inner_corners: tuple[int, int] = (0, 0)
    photo: str = ""
    focal_35mm: float | None = None
    confirmed: tuple[str, ...] = ()
    points_px: Points = ()
    points_mm: Points = ()


def read_scale_spec(table: Table, size_mm: tuple[float | None, float | None]) -> ScaleSpec:
    """Read the ``[scale]`` table.

    Parameters
    ----------
    table : Table
        The table.
    size_mm : (float or None, float or None)
        Panel length and width, where known.

    Raises
    ------
    WetlineError
        If a field is missing or wrong, or belongs to another method.
    """
    method = table.text("method", choices=METHODS)
    if method is None:
        raise table.bad("method", f"is needed: one of {', '.join(METHODS)}")
    table.refuse_unknown(SCALE_FIELDS)
    for key in table.values:
        if key not in (*_FIELDS[method], "method", "photo", "focal_35mm", CONFIRMED):
            raise table.bad(key, f'does not go with method = "{method}": take it out')
    read = {"sheet": _sheet, "corners": _corners, "tape": _tape, "checkerboard": _checkerboard}
    values = read[method](table, size_mm)
    spec = ScaleSpec(
        method=method,
        photo=table.text("photo", "") or "",
        focal_35mm=table.number("focal_35mm", above=5, at_most=500, unit="mm"),
        confirmed=tuple(table.confirmed_names()),
        **values,  # type: ignore[arg-type]
    )
    table.refuse_questions()
    return spec


def default_centres_mm(length_mm: float, width_mm: float, marker_mm: float = MARKER_MM) -> Points:
    """Return the places of the printed markers around a panel.

    Beside a panel too short for two of them 30 mm in from its ends, they stand half a marker
    apart about its middle.

    Examples
    --------
    >>> default_centres_mm(400, 200)
    ((30.0, -70.0), (370.0, -70.0), (370.0, 270.0), (30.0, 270.0))
    """
    inset = min(MARKER_INSET_MM, (float(length_mm) - 1.5 * marker_mm) / 2)
    left, right = inset, float(length_mm) - inset
    above, below = -MARKER_OFFSET_MM, float(width_mm) + MARKER_OFFSET_MM
    return ((left, above), (right, above), (right, below), (left, below))


def _need(value: float | None, table: Table, key: str, what: str) -> float:
    if value is None:
        raise table.bad(key, f"is needed: {what}")
    return value


def _sheet(table: Table, size_mm: tuple[float | None, float | None]) -> dict[str, object]:
    bar = table.length("check_bar_mm", above=0, at_most=1000, likely=LIKELY_BAR_MM)
    factor = 1.0 if bar is None else bar / CHECK_BAR_MM
    by_sheet = f"`wetline sheet {table.file.resolve().parent.name}` writes it"
    origin = "from the feed corner"
    if table.file.name != "panel.toml":
        by_sheet = by_sheet.replace("` writes", " --write` writes")
        origin = "in the plan's coordinates"
    marker = table.length("marker_mm", above=1, likely=LIKELY_MARKER_MM)
    marker = _need(marker, table, "marker_mm", f"the edge of a black square; {by_sheet}")
    centres = table.points("marker_centres_mm", 4)
    if centres is None:
        raise table.bad(
            "marker_centres_mm",
            f"is needed: four [x, y] of the card centres {origin}; {by_sheet}",
        )
    printed = table.values.get("centres_printed", False)
    if not isinstance(printed, bool):
        raise table.bad("centres_printed", "must be true or false")
    if printed:
        centres = [(x * factor, y * factor) for x, y in centres]
    check_order(table, "marker_centres_mm", centres, "marker centres")
    _around_panel(table, centres, size_mm)
    gaps = [np.hypot(a[0] - b[0], a[1] - b[1]) for a, b in _sides(centres)]
    if min(gaps) < 1.2 * marker * factor:
        raise table.bad(
            "marker_centres_mm",
            f"two centres stand {min(gaps):.0f} mm apart, too close for markers of "
            f"{marker * factor:.0f} mm: mend the centres or marker_mm",
        )
    return {
        "marker_mm": marker * factor,
        "marker_centres_mm": tuple(centres),
        "centres_printed": printed,
        "check_bar_mm": bar,
    }


def _around_panel(
    table: Table,
    centres: Sequence[tuple[float, float]],
    size_mm: tuple[float | None, float | None],
) -> None:
    """Question cards that do not lie around a panel of this size."""
    along, across = np.ptp(np.array(centres), axis=0)
    for span, size, what in ((along, size_mm[0], "length_mm"), (across, size_mm[1], "width_mm")):
        if size is not None and not LEAST_SPAN * size <= span <= MOST_SPAN * size:
            table.question(
                "marker_centres_mm",
                f"the cards stand {span:.0f} mm apart, but [panel] {what} = {size:g}: measure "
                "both again, in mm",
            )


def _corners(table: Table, size_mm: tuple[float | None, float | None]) -> dict[str, object]:
    return {"corners_px": _photo_corners(table)}


def _tape(table: Table, size_mm: tuple[float | None, float | None]) -> dict[str, object]:
    tape = table.points("tape_px", 2)
    if tape is None:
        raise table.bad("tape_px", "is needed: the photo points of two marks on the tape")
    if np.hypot(tape[0][0] - tape[1][0], tape[0][1] - tape[1][1]) < 20:
        raise table.bad("tape_px", "the two points are too close: take marks far apart")
    length = table.length("tape_mm", above=0, likely=LIKELY_TAPE_MM)
    return {
        "corners_px": _photo_corners(table),
        "tape_px": tuple(tape),
        "tape_mm": _need(length, table, "tape_mm", "the distance between the two marks"),
    }


def _checkerboard(table: Table, size_mm: tuple[float | None, float | None]) -> dict[str, object]:
    counts = table.pair("inner_corners")
    if counts is None or any(c != int(c) or c < 3 for c in counts):
        raise table.bad(
            "inner_corners", "must be [columns, rows] of inner corners, 3 or more each, as [9, 6]"
        )
    square = table.length("square_mm", above=0, likely=LIKELY_SQUARE_MM)
    return {
        "square_mm": _need(square, table, "square_mm", "the edge of one square"),
        "inner_corners": (int(counts[0]), int(counts[1])),
        "corners_px": _photo_corners(table),
    }


def _photo_corners(table: Table) -> Points:
    corners = table.points("corners_px", 4)
    if corners is None:
        raise table.bad(
            "corners_px", "is needed: the panel's corners in the photo; `wetline corners` helps"
        )
    if any(x < 0 or y < 0 for x, y in corners):
        raise table.bad(
            "corners_px", "the panel leaves the picture: use photos that show all of it"
        )
    check_order(table, "corners_px", corners, "corners")
    return tuple(corners)


def _sides(
    points: Sequence[tuple[float, float]],
) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    return [(points[i], points[(i + 1) % len(points)]) for i in range(len(points))]


def turns(points: Sequence[tuple[float, float]]) -> list[float]:
    """Return the turn at each corner of a polygon: above 0 is clockwise with y down.

    Examples
    --------
    >>> turns([(0, 0), (2, 0), (2, 1), (0, 1)])
    [2.0, 2.0, 2.0, 2.0]
    """
    p = np.asarray(points, dtype=float)
    ahead, behind = np.roll(p, -1, axis=0) - p, p - np.roll(p, 1, axis=0)
    return [float(t) for t in behind[:, 0] * ahead[:, 1] - behind[:, 1] * ahead[:, 0]]


def check_order(table: Table, key: str, points: Sequence[tuple[float, float]], what: str) -> None:
    """Refuse four points that do not run clockwise around a bulging outline.

    Raises
    ------
    WetlineError
        Naming the fault: mirrored, crossing, or dented.
    """
    corner = turns(points)
    order = "(0, 0), (length, 0), (length, width), (0, width)"
    if all(t > 0 for t in corner):
        return
    if all(t < 0 for t in corner):
        raise table.bad(
            key,
            f"the {what} run the wrong way round: list them clockwise as the photo shows them, "
            f"{order}; swapping the second and fourth mends it",
        )
    if sum(t > 0 for t in corner) == 2:
        raise table.bad(key, f"the lines between the {what} cross: list them in the order {order}")
    raise table.bad(key, f"the {what} do not outline a panel: check each point; order {order}")
