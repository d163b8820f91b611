"""Where the panel lies in a photo that is not of the run: another camera, another day."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vision.errors import WetlineError
from vision.frames.reader import Frames
from vision.records import Frame
from vision.rectify.rectifier import Rectifier
from vision.scale.find_scale import FEWEST_MARKERS, find_scale, scale_from_markers
from vision.scale.markers import find_markers
from vision.scale.plane_map import PlaneMap
from vision.settings.panel_settings import PanelSetup
from vision.settings.scale_settings import Points, ScaleSpec

BY_CARDS = "by the cards: right if the panel lies between them as it did in the run"
BY_CORNERS = "by the four corners"
MOST_MOVED = 0.05
"""Share of the picture's width by which the run's own camera may have been nudged: past that the
photo is from elsewhere, and things that look alike may be paired wrongly."""
BY_PLACE = "by the run's own camera: right if neither it nor the panel has moved since"


def plane_by_corners(
    image: NDArray[np.uint8], setup: PanelSetup, size_mm: tuple[float, float], corners_px: Points
) -> PlaneMap:
    """Find the map from panel to photo by the panel's four corners.

    Parameters
    ----------
    image : ndarray of shape (H, W, 3), uint8
        The upright photo.
    setup : PanelSetup
        For messages.
    size_mm : (length, width)
        The panel, in mm.
    corners_px : tuple of 4 (x, y)
        (0, 0), (length, 0), (length, width), (0, width) in the photo. Seen from the back they run
        anticlockwise, and the map mirrors the panel as the photo does.

    Raises
    ------
    WetlineError
        If the corners do not go with the panel's size, or leave the picture.
    """
    return find_scale(
        image,
        replace(
            setup,
            length_mm=size_mm[0],
            width_mm=size_mm[1],
            scale=ScaleSpec("corners", corners_px=tuple(corners_px)),
        ),
    )


def plane_in_photo(
    image: NDArray[np.uint8],
    setup: PanelSetup,
    size_mm: tuple[float, float],
    frames: Frames | None = None,
    corners_px: Points = (),
) -> tuple[PlaneMap, str]:
    """Find the panel in any photo: by corners, by the printed cards, else as the run's camera saw.

    Parameters
    ----------
    image : ndarray of shape (H, W, 3), uint8
        The upright photo.
    setup : PanelSetup
        The panel and its scale reference.
    size_mm : (length, width)
        The panel, in mm.
    frames : Frames, optional
        The run's frames: a photo from the same place is then laid over them.
    corners_px : tuple of 4 (x, y), optional
        The panel's corners in the photo; they go before all else.

    Returns
    -------
    plane : PlaneMap
    by : str
        What it rests on, in plain words.

    Raises
    ------
    WetlineError
        If the panel cannot be found in the photo.
    """
    if corners_px:
        return plane_by_corners(image, setup, size_mm, corners_px), BY_CORNERS
    by_cards = plane_by_cards(image, setup)
    if by_cards is not None:
        return by_cards, BY_CARDS
    seen = None if frames is None else seen_from_there(image, Rectifier(setup, frames))
    if seen is not None:
        return seen, BY_PLACE
    need = "three of the four cards in view, or " if setup.scale.method == "sheet" else ""
    raise WetlineError(f"the panel could not be found in it: it needs {need}its four corners")


def plane_by_cards(image: NDArray[np.uint8], setup: PanelSetup) -> PlaneMap | None:
    """Find the map from panel to photo by the printed cards.

    Parameters
    ----------
    image : ndarray of shape (H, W, 3), uint8
        The upright photo.
    setup : PanelSetup

    Returns
    -------
    plane : PlaneMap or None
        None where the scale does not rest on cards, or too few of them are in view.
    """
    markers = find_markers(image) if setup.scale.method == "sheet" else []
    if len(markers) < FEWEST_MARKERS:
        return None
    return scale_from_markers(markers, (int(image.shape[1]), int(image.shape[0])), setup)


def seen_from_there(image: NDArray[np.uint8], rectifier: Rectifier) -> PlaneMap | None:
    """Find the panel in a photo from a run's own place.

    Parameters
    ----------
    image : ndarray of shape (H, W, 3), uint8
        The upright photo.
    rectifier : Rectifier
        Of the run.

    Returns
    -------
    plane : PlaneMap or None
        None for a photo from elsewhere.
    """
    if rectifier.reference.image.shape != image.shape:
        return None
    flat = rectifier.rectify(Frame(-1, "photo", 0.0, image))
    outline = rectifier.plane.outline_px()
    moved_px = np.hypot(*(flat.plane.outline_px() - outline).T)
    if flat.lost or flat.taken_still or moved_px.max() > MOST_MOVED * image.shape[1]:
        return None
    return flat.plane
