"""A part's corners tapped on the page: what is asked for, the plan drawn back, and the writing.

Tested in tests/analysis/page/routes/test_scale.py.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from analysis.infusion.seen import tap_outline
from analysis.infusion.seen.part_setup import camera_to_place
from analysis.infusion.seen.tap_outline import Tapping
from analysis.page.stored.part_plan import drawn_shape
from analysis.part.plan.part_toml import read_part
from vision.common.outside.input_files import shown_name
from vision.drawing.live_picture import jpeg_bytes
from vision.errors import WetlineError
from vision.part_records import PartShape
from vision.parts.part_settings import on_canvas
from vision.parts.tapping.asked_points import FEWEST, AskedPoint
from vision.parts.tapping.tap_check import Pixel
from vision.parts.tapping.tap_window import prompts_of

JPEG_QUALITY = 92


def begin_tapping(folder: Path, photo: str | None = None) -> Tapping:
    """Return a part's photo and the corners to tap on it.

    Parameters
    ----------
    folder : Path
    photo : str, optional
        Name of one of the run's photos; the first where left out.

    Raises
    ------
    WetlineError
        If the photos lie outside the part's folder, or as `tap_outline.begin`.
    """
    source = camera_to_place(read_part(folder)).frames
    _refuse_outside(source.path, folder)
    tapping = tap_outline.begin(folder, photo)
    if source.kind == "photos":
        _refuse_outside(source.path / tapping.photo.name, folder)
    return tapping


def _refuse_outside(path: Path, folder: Path) -> None:
    """Refuse what a link, or part.toml, has elsewhere than in the part's folder."""
    if not path.resolve().is_relative_to(folder.resolve()):
        raise WetlineError(
            f"{shown_name(path)}: leads out of the part's folder: the page does not follow it; "
            "use `wetline corners` on this computer"
        )


def photo_jpeg(tapping: Tapping) -> bytes:
    """Return the photo that is tapped on, upright, as JPEG."""
    return jpeg_bytes(tapping.photo.image, JPEG_QUALITY)


def asked_corners(shape: PartShape, asked: Sequence[AskedPoint]) -> dict[str, Any]:
    """Return what the page leads the finger with.

    Returns
    -------
    led : dict
        As `drawn_shape`, and `points`, each with `words` and its place `mm` where the plan is
        drawn; `fewest`, how many are enough.
    """
    places = on_canvas(shape, tuple(point.mm for point in asked))
    words = prompts_of(asked)
    return drawn_shape(shape) | {
        "points": [{"words": w, "mm": at} for w, at in zip(words, places, strict=True)],
        "fewest": FEWEST,
    }


def check_taps(
    folder: Path, photo: str, taps: Sequence[Pixel | None], write: bool
) -> dict[str, Any]:
    """Check tapped corners against the plan; write them into part.toml once the user has looked.

    Parameters
    ----------
    folder : Path
    photo : str
        The photo they were tapped on.
    taps : sequence of (x, y) or None
        By the order that was asked for; None for a corner that does not show.
    write : bool
        Whether to write them, or only to draw the plan back on the photo.

    Returns
    -------
    found : dict
        `error_mm`, `warnings`, and `drawn`, the plan on the photo as a data address, or
        `written`, the lines of part.toml.

    Raises
    ------
    WetlineError
        As `tap_outline.tapped` and `tap_outline.write_scale`.
    """
    tapping = begin_tapping(folder, photo)
    if len(taps) > len(tapping.asked):
        raise WetlineError(f"{photo}: {len(tapping.asked)} corners are asked for, no more")
    found = tap_outline.tapped(tapping, taps)
    told: dict[str, Any] = {"error_mm": found.error_mm, "warnings": found.warnings}
    if write:
        return told | {"written": tap_outline.write_scale(found)}
    data = base64.b64encode(jpeg_bytes(found.drawn, JPEG_QUALITY)).decode("ascii")
    return told | {"drawn": f"data:image/jpeg;base64,{data}"}
