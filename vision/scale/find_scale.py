"""Finds the map from photo to panel by the reference that panel.toml names."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vision.errors import WetlineError
from vision.records import FloatArray
from vision.scale.checkerboard import find_board, fit_board, place_panel
from vision.scale.markers import SeenMarker, find_markers
from vision.scale.plane_fit import PIXEL_SD_GRID, PLACE_SD_GRID_MM, PlaneFit, PointSet, fit_plane
from vision.scale.plane_map import (
    PlaneMap,
    homography_from,
    lens_camera,
    panel_corners_mm,
    panel_grid_mm,
    require_in_picture,
)
from vision.scale.tape import click_sd_px, fit_tape
from vision.settings.panel_settings import PanelSetup
from vision.settings.scale_settings import ScaleSpec, turns

FEWEST_MARKERS = 3
MARKER_SQUARE = np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]])
_MISPLACED_MM = 5.0
_MISPLACED_SHARE = 0.02
_SIZE_CONTRADICTION = 0.05
_SHAPE_OFF, _SURELY_OFF, _ALIKE = 1.6, 3.0, 1.25
_LENS_SD = 0.02  # of length over width: a phone's lens is not quite free of distortion
_SHAPE_SDS, _SHAPE_LEAST = 3.0, 0.08  # beyond both, length over width is questioned
_LENGTH_CONTRADICTION = 0.03
_RULE_SD_MM = 0.5  # of a length taken with a tape measure: common practice, no source
_PRINT_SD = 0.005  # of a print's size, without the check bar
_BAR_SD = 0.002  # with it: 0.2 mm in 100 mm
_ON_YOUR_WORD = (
    "the cards lie where marker_centres_mm says: no photo shows whether all four are off by the "
    "same amount, so this rests on your tape measure"
)
_CARELESS = (
    "the markers stand some millimetres from where marker_centres_mm puts them: measure the "
    "centres again for a smaller error"
)


def find_scale(
    image: NDArray[np.uint8], setup: PanelSetup, focal_35mm: float | None = None
) -> PlaneMap:
    """Find the map from panel to photo in one photo.

    Parameters
    ----------
    image : ndarray of shape (H, W, 3), uint8
        The photo that shows the reference.
    setup : PanelSetup
        The panel and its scale reference.
    focal_35mm : float or None
        Focal length as for 35 mm film, if the photo tells it (tape method).

    Raises
    ------
    WetlineError
        If the reference does not show, contradicts itself, or the panel leaves the picture.
    """
    size = (int(image.shape[1]), int(image.shape[0]))
    method = setup.scale.method
    if method == "sheet":
        return scale_from_markers(find_markers(image), size, setup)
    if method == "corners":
        return _from_corners(size, setup, focal_35mm)
    if method == "tape":
        return _from_tape(size, setup, focal_35mm)
    if method == "checkerboard":
        return _from_board(image, size, setup)
    raise WetlineError(f"{setup.shown_file}: [scale] method = {method}: photos need a scale")


def _panel_size(setup: PanelSetup) -> tuple[float, float]:
    if setup.length_mm is None or setup.width_mm is None:
        raise WetlineError(f"{setup.shown_file}: [panel] length_mm and width_mm are needed")
    return setup.length_mm, setup.width_mm


def _checked(plane: PlaneMap, setup: PanelSetup) -> PlaneMap:
    require_in_picture(plane, setup.shown_file, setup.outline)
    return plane


def scale_from_markers(
    seen: Sequence[SeenMarker], size: tuple[int, int], setup: PanelSetup, quick: bool = False
) -> PlaneMap:
    """Fit the map to printed markers, from one photo or averaged over several.

    With `quick` the noise is taken as usual rather than found: a first look.

    Raises
    ------
    WetlineError
        If fewer than three markers show, or they contradict panel.toml.
    """
    length_mm, width_mm = _panel_size(setup)
    if len(seen) < FEWEST_MARKERS:
        shown = ", ".join(str(m.id) for m in seen) or "none"
        raise WetlineError(
            f"{setup.shown_file}: [scale] method = sheet: markers in view: {shown}: at least "
            f"{FEWEST_MARKERS} of 0, 1, 2, 3 must show, flat, sharp and not cut off"
        )
    _check_marker_order(seen, setup)
    levels = ((0.1,), (0.3,)) if quick else (PIXEL_SD_GRID, PLACE_SD_GRID_MM)
    fit = fit_plane(marker_points(seen, setup.scale), size, *levels)
    _check_marker_fit(fit, seen, setup)
    edge_sd = _PRINT_SD if setup.scale.check_bar_mm is None else _BAR_SD
    spacing = float(np.ptp(np.array(setup.scale.marker_centres_mm)[:, 0]))
    rule_sd = _RULE_SD_MM / max(spacing, 1.0)
    printed = edge_sd if setup.scale.centres_printed else 0.0
    return _checked(
        _plane_from_fit(fit, fit.homography, (length_mm, width_mm), "sheet", (rule_sd, printed)),
        setup,
    )


def marker_points(seen: Sequence[SeenMarker], spec: ScaleSpec) -> PointSet:
    """Pair the corners seen with their places on the markers."""
    size_sd = _PRINT_SD if spec.check_bar_mm is None else _BAR_SD
    return PointSet(
        local_mm=np.concatenate([MARKER_SQUARE * spec.marker_mm] * len(seen)),
        centre_mm=np.array([spec.marker_centres_mm[m.id] for m in seen]),
        group=np.repeat(np.arange(len(seen)), 4),
        px=np.concatenate([m.corners_px for m in seen]),
        size_sd=size_sd,
    )


def _check_marker_order(seen: Sequence[SeenMarker], setup: PanelSetup) -> None:
    centres = [(float(m.centre_px[0]), float(m.centre_px[1])) for m in seen]
    if not all(t > 0 for t in turns(centres)):
        raise WetlineError(
            f"{setup.shown_file}: [scale] marker_centres_mm: the photo does not show markers "
            f"{', '.join(str(m.id) for m in seen)} clockwise around the panel: two cards are "
            "swapped, or the photo is mirrored"
        )


def _check_marker_fit(fit: PlaneFit, seen: Sequence[SeenMarker], setup: PanelSetup) -> None:
    spec = setup.scale
    edge_px = np.mean([np.hypot(*(m.corners_px[1] - m.corners_px[0])) for m in seen])
    px_per_mm = edge_px / spec.marker_mm
    miss_mm = [
        float(np.hypot(*fit.residual_px[4 * i : 4 * i + 4].mean(axis=0)) / px_per_mm)
        for i in range(len(seen))
    ]
    worst = int(np.argmax(miss_mm))
    reach = float(np.ptp(np.array(spec.marker_centres_mm), axis=0).max())
    if miss_mm[worst] > max(_MISPLACED_MM, _MISPLACED_SHARE * reach):
        raise WetlineError(
            f"{setup.shown_file}: [scale] marker_centres_mm: the photo shows marker "
            f"{seen[worst].id} some {miss_mm[worst]:.0f} mm or more away from where it is said to "
            "be: measure the four centres again"
        )
    if abs(fit.size_factor - 1) > _SIZE_CONTRADICTION:
        raise WetlineError(
            f"{setup.shown_file}: [scale] marker_mm = {spec.marker_mm:g}: by the distances between "
            f"the centres the black squares measure {spec.marker_mm * fit.size_factor:.1f} mm: "
            "measure a square and the distances again, and see that the panel's size is right"
        )


def _plane_from_fit(
    fit: PlaneFit,
    homography: FloatArray,
    size_mm: tuple[float, float],
    method: str,
    shares: tuple[float, ...],
    to_fit: FloatArray | None = None,
) -> PlaneMap:
    """Return the record; `to_fit` maps panel mm to the fit's own mm."""
    grid = panel_grid_mm(*size_mm)
    ends = np.array([[0.0, size_mm[1] / 2], [size_mm[0], size_mm[1] / 2]])
    if to_fit is not None:
        grid = grid @ to_fit[:2, :2].T + to_fit[:2, 2]
        ends = ends @ to_fit[:2, :2].T + to_fit[:2, 2]
    share = float(np.sqrt(np.sum(np.square(shares))))
    position = float(np.sqrt(np.mean(fit.position_sd_mm(grid) ** 2)))
    systematic = share * np.hypot(*size_mm) / 2 / np.sqrt(3)
    length_share = fit.length_sd_mm(ends[0], ends[1]) / size_mm[0]
    return PlaneMap(
        homography=homography / homography[2, 2],
        camera=lens_camera(fit.image_size) if fit.lens else None,
        distortion=fit.distortion,
        image_size=fit.image_size,
        length_mm=size_mm[0],
        width_mm=size_mm[1],
        method=method,
        error_mm=float(np.hypot(position, systematic)),
        relative_sd=float(np.hypot(length_share, share)),
        assumption="; ".join(
            [_ON_YOUR_WORD] * (method == "sheet") + [_CARELESS] * (fit.place_sd_mm >= 1)
        ),
    )


def _from_corners(size: tuple[int, int], setup: PanelSetup, focal_35mm: float | None) -> PlaneMap:
    size_mm = _panel_size(setup)
    corners_px = np.array(setup.scale.corners_px)
    matrix = homography_from(panel_corners_mm(*size_mm), corners_px)
    plane = PlaneMap(
        homography=matrix,
        camera=None,
        distortion=None,
        image_size=size,
        length_mm=size_mm[0],
        width_mm=size_mm[1],
        method="corners",
        error_mm=0.0,
        relative_sd=0.0,
        assumption="the lens is taken as free of distortion",
    )
    click_mm = click_sd_px(corners_px) * plane.mm_per_px()
    plane = _checked(
        _with_error(plane, click_mm, float(np.hypot(click_mm, _RULE_SD_MM)) / size_mm[0]), setup
    )
    _check_shape(setup, size_mm, corners_px)
    return _questioned(plane, setup, focal_35mm)


def _check_shape(setup: PanelSetup, size_mm: tuple[float, float], corners_px: FloatArray) -> None:
    """Refuse a panel whose length and width do not go with its corners in the photo.

    Perspective shortens one direction by a third at 50 degrees of tilt; a ratio further off is
    another panel, another unit, or length and width the wrong way round.
    """
    sides = np.hypot(*(np.roll(corners_px, -1, axis=0) - corners_px).T)
    seen = float((sides[0] + sides[2]) / (sides[1] + sides[3]))
    stated = size_mm[0] / size_mm[1]
    off, swapped = abs(np.log(seen / stated)), abs(np.log(seen * stated))
    if off < np.log(_SHAPE_OFF) or (off < np.log(_SURELY_OFF) and swapped > np.log(_ALIKE)):
        return
    raise WetlineError(
        f"{setup.shown_file}: [panel] length_mm = {size_mm[0]:g}, width_mm = {size_mm[1]:g}: in "
        f"the photo the panel is {seen:.2g} times as long as wide, not {stated:.2g}: length runs "
        "along the flow; mend the size or the order of corners_px"
    )


def _questioned(plane: PlaneMap, setup: PanelSetup, focal_35mm: float | None) -> PlaneMap:
    """Ask where length over width is not what perspective says, and widen the scale by as much.

    Source: see `vision.scale.tape`; a wrong length is the commonest slip that corners allow. A
    photo cut out of a larger one has its own perspective, so this is no ground to refuse.
    """
    spec = setup.scale
    corners_px = np.array(spec.corners_px)
    told = spec.focal_35mm or focal_35mm
    fit = fit_tape(corners_px, corners_px[:2], plane.length_mm, plane.image_size, told)
    off = abs(np.log(plane.width_mm / fit.width_mm))
    doubt = float(np.hypot(fit.width_sd, _LENS_SD))
    if off <= max(_SHAPE_SDS * doubt, _SHAPE_LEAST) or "corners_px" in spec.confirmed:
        return plane
    seen = plane.length_mm / fit.width_mm
    low, high = seen * np.exp(-1.96 * doubt), seen * np.exp(1.96 * doubt)
    question = (
        f"by its perspective the panel is {low:.2f} to {high:.2f} times as long as wide, by "
        f"[panel] {plane.length_mm / plane.width_mm:.2f} times: measure it and its corners again, "
        'on a whole photo; if all is true, write confirmed = ["corners_px"] under [scale]'
    )
    wider = float(np.hypot(plane.relative_sd, off / 2.0))
    return replace(plane, relative_sd=wider, question=question)


def _with_error(plane: PlaneMap, error_mm: float, relative_sd: float) -> PlaneMap:
    return replace(
        plane,
        error_mm=float(np.hypot(error_mm, relative_sd * plane.length_mm / np.sqrt(3))),
        relative_sd=relative_sd,
    )


def _from_tape(size: tuple[int, int], setup: PanelSetup, focal_35mm: float | None) -> PlaneMap:
    spec = setup.scale
    corners_px, tape_px = np.array(spec.corners_px), np.array(spec.tape_px)
    if setup.length_mm is not None:
        plane = _from_corners(size, setup, focal_35mm)
        seen = plane.to_mm(tape_px)
        _agree(setup, "tape_mm", spec.tape_mm, float(np.hypot(*(seen[1] - seen[0]))))
        return plane
    told = spec.focal_35mm or focal_35mm
    fit = fit_tape(corners_px, tape_px, spec.tape_mm, size, told)
    lens = (
        f"a lens of {told:.0f} mm (as for 35 mm film)"
        if told
        else "a usual phone lens where perspective leaves it open (give focal_35mm to know better)"
    )
    return _checked(
        PlaneMap(
            homography=fit.homography,
            camera=None,
            distortion=None,
            image_size=size,
            length_mm=fit.length_mm,
            width_mm=fit.width_mm,
            method="tape",
            error_mm=fit.position_sd_mm,
            relative_sd=float(np.hypot(fit.length_sd, _RULE_SD_MM / spec.tape_mm)),
            assumption=(
                f"the panel is a true rectangle, measured {fit.length_mm:.0f} x {fit.width_mm:.0f} "
                f"mm, seen through {lens}, free of distortion and centred on the picture"
            ),
        ),
        setup,
    )


def _agree(setup: PanelSetup, key: str, stated_mm: float, seen_mm: float) -> None:
    if abs(seen_mm / stated_mm - 1) > _LENGTH_CONTRADICTION:
        raise WetlineError(
            f"{setup.shown_file}: [scale] {key} = {stated_mm:g}: by the panel's size and corners "
            f"it is {seen_mm:.0f} mm: one of them is wrong, measure again"
        )


def _from_board(image: NDArray[np.uint8], size: tuple[int, int], setup: PanelSetup) -> PlaneMap:
    spec, size_mm = setup.scale, _panel_size(setup)
    found = find_board(image, spec.inner_corners)
    if found is None:
        columns, rows = spec.inner_corners
        raise WetlineError(
            f"{setup.shown_file}: [scale] inner_corners = [{columns}, {rows}]: no such board shows "
            "in the photo: count the inner corners again, see that the whole board with a white "
            "rim is in view, and name the photo with photo ="
        )
    fit = fit_board(found, spec.inner_corners, spec.square_mm, size)
    board = PlaneMap(
        fit.homography,
        lens_camera(size) if fit.lens else None,
        fit.distortion,
        size,
        *size_mm,
        "checkerboard",
        0.0,
        0.0,
    )
    corners_px = np.array(spec.corners_px)
    to_board, measured = place_panel(board.to_mm(corners_px), *size_mm)
    for key, stated, seen in zip(("length_mm", "width_mm"), size_mm, measured, strict=True):
        if abs(seen / stated - 1) > _LENGTH_CONTRADICTION:
            raise WetlineError(
                f"{setup.shown_file}: [panel] {key} = {stated:g}: by the checkerboard it is "
                f"{seen:.0f} mm: check square_mm and corners_px, or mend the size"
            )
    plane = _plane_from_fit(
        fit, fit.homography @ to_board, size_mm, "checkerboard", (_BAR_SD,), to_board
    )
    return _checked(
        _with_error(
            plane,
            float(np.hypot(plane.error_mm, click_sd_px(corners_px) * board.mm_per_px() / 2)),
            plane.relative_sd,
        ),
        setup,
    )
