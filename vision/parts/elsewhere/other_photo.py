"""Where the part lies in a photo that is not of its run: of the bag, of the demoulded part."""

from __future__ import annotations

from dataclasses import replace

from vision.drawing.strokes import Image
from vision.errors import WetlineError
from vision.parts.fit_outline import find_part_scale
from vision.parts.height import allow_height
from vision.parts.part_settings import PartCamera
from vision.rectify.other_photo import plane_by_cards, seen_from_there
from vision.rectify.rectifier import Rectifier
from vision.scale.plane_map import PlaneMap
from vision.settings.scale_settings import Points, ScaleSpec

BY_CARDS = "by the cards: right if the part lies between them as it did in the run"
BY_PLACE = "by the run's own camera: right if neither it nor the part has moved since"
BY_TAPS = "by the corners tapped in it"


def tapped_camera(camera: PartCamera, points_px: Points, points_mm: Points) -> PartCamera:
    """Return a part's camera as it stood for a photo with tapped points of its own."""
    scale = ScaleSpec(method="outline", photo="", points_px=points_px, points_mm=points_mm)
    return replace(camera, scale=scale)


def part_in_photo(
    image: Image,
    camera: PartCamera,
    run: Rectifier | None = None,
    points: tuple[Points, Points] | None = None,
    focal_35mm: float | None = None,
) -> tuple[PlaneMap, str]:
    """Find the part in any photo: by tapped points, by the cards, else as the run's camera saw.

    Parameters
    ----------
    image : ndarray of shape (H, W, 3), uint8
        The upright photo.
    camera : PartCamera
        Of the run.
    run : Rectifier, optional
        As `part_rectifier` makes it: a photo from the same place is laid over the run's.
    points : (points_px, points_mm), optional
        Points of the outline tapped in this photo, and the same on the plan; they go before all
        else.
    focal_35mm : float or None
        Where this photo tells it.

    Returns
    -------
    plane : PlaneMap
        From the canvas's mm on the part's surface to pixels of the photo.
    by : str
        What it rests on, in plain words.

    Raises
    ------
    WetlineError
        If the part cannot be found in the photo.
    """
    if points is not None:
        tapped = tapped_camera(camera, *points)
        plane = find_part_scale(image, tapped.setup(), focal_35mm)
        return _lifted(plane, tapped, focal_35mm), BY_TAPS
    by_cards = plane_by_cards(image, camera.setup())
    if by_cards is not None:
        return _lifted(by_cards, camera, focal_35mm), BY_CARDS
    seen = None if run is None else seen_from_there(image, run)
    if seen is not None:
        return seen, BY_PLACE
    need = "three of the four cards in view, or " if camera.scale.method == "sheet" else ""
    raise WetlineError(f"the part could not be found in it: it needs {need}its corners tapped")


def _lifted(plane: PlaneMap, camera: PartCamera, focal_35mm: float | None) -> PlaneMap:
    height = allow_height(plane, camera.shape, camera.setup().shown_file, focal_35mm)
    return replace(plane, homography=height.homography)
