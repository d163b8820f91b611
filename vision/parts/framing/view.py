"""What of a part lies outside the photo: it is not seen, and that is said."""

from __future__ import annotations

from vision.parts.part_settings import PartCamera
from vision.scale.plane_map import PlaneMap, out_of_view

LEAST_TOLD = 0.001
"""Share of the part below which nothing is said: a row of pixels."""


def view_notes(camera: PartCamera, plane: PlaneMap) -> tuple[str, ...]:
    """Return what share of the part the reference photo does not show, if any.

    Parameters
    ----------
    camera : PartCamera
    plane : PlaneMap
        Map of the reference photo, from canvas mm.
    """
    outline = camera.setup().outline
    out, side = out_of_view(plane, outline or ())
    if out < LEAST_TOLD:
        return ()
    return (
        f"about {max(1.0, 100 * out):.0f} % of the part lies outside the picture, most of it at "
        f"its {side}: it counts as not seen, and its times are filled in from beside it. Move the "
        "camera back next time",
    )
