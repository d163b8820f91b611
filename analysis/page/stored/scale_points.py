"""Points tapped on a picture, written into panel.toml as its scale.

Tested in tests/analysis/page/routes/test_app.py.
"""

from __future__ import annotations

import json
from pathlib import Path

from analysis.page.stored.panels import panel_size_mm
from vision.common.atomic_files import write_text
from vision.common.outside.input_files import cannot_read, read_text
from vision.errors import WetlineError
from vision.scale.corner_picker import order_fault, scale_lines
from vision.scale.sheet_lines import replace_scale


def save_scale(
    folder: Path,
    corners: list[tuple[float, float]],
    tape: list[tuple[float, float]],
    tape_mm: float | None,
    photo: str,
) -> None:
    """Write tapped points into panel.toml as its ``[scale]`` table.

    Parameters
    ----------
    folder : Path
    corners : list of 4 (x, y)
        Pixels of the photo, clockwise from the feed corner.
    tape : list of 0 or 2 (x, y)
        Two points of known distance, where the panel's size is not known.
    tape_mm : float or None
    photo : str
        The photo they were tapped on.

    Raises
    ------
    WetlineError
        If the points make no panel, or panel.toml cannot be changed safely.
    """
    if len(corners) != 4 or len(tape) not in (0, 2):
        raise WetlineError("scale points: four corners are needed, and two tape marks or none")
    fault = order_fault(corners)
    if fault:
        raise WetlineError(fault.replace("click", "tap"))
    if tape and not (tape_mm and tape_mm > 0):
        raise WetlineError("scale points: say how far apart the two tape marks are, in mm")
    size = panel_size_mm(folder)
    if not tape and (size[0] is None or size[1] is None):
        raise WetlineError("scale points: panel.toml has no size: tap two tape marks too")
    path = folder / "panel.toml"
    lines = scale_lines(_rounded(corners), _rounded(tape), tape_mm)
    lines += f"\nphoto = {json.dumps(photo, ensure_ascii=False)}"
    try:
        text = read_text(path)
    except (OSError, UnicodeDecodeError) as error:
        raise cannot_read(Path("panel.toml"), error) from error
    write_text(path, replace_scale(text, lines.splitlines()[1:], "panel.toml"))


def _rounded(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    return [(round(x, 1), round(y, 1)) for x, y in points]
