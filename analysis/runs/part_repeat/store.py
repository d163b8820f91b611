"""Files of a repeat of parts: those of panels, and the map of places.

Tested in tests/analysis/runs/part_repeat/test_part_repeat.py.
"""

from __future__ import annotations

from pathlib import Path

from analysis.record.figures import png_bytes
from analysis.runs.panels.page import picture
from analysis.runs.part_repeat.figures import places_figure
from analysis.runs.part_repeat.job import PartsRepeat
from analysis.runs.repeat.figures import DPI
from analysis.runs.repeat.store import write_repeat
from vision.common.atomic_files import remove_file, replace_file

PLACES = "places.png"
CAPTION = (
    "Minutes late (+) and early (-) at each place against the good runs, once this run's own pace "
    "is taken out; outside the band: thick border."
)


def write_parts_repeat(folder: Path, found: PartsRepeat) -> Path:
    """Write page, pictures and JSON into a folder and return the page."""
    figure = places_figure(found)
    if figure is None:
        remove_file(folder / PLACES)
        return write_repeat(folder, found)
    png = png_bytes(figure, dpi=DPI)
    replace_file(folder / PLACES, lambda part: part.write_bytes(png))
    return write_repeat(folder, found, [picture(png, CAPTION)])
