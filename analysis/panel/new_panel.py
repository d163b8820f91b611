"""A panel folder to start from: panel.toml with every field explained in plain words."""

from __future__ import annotations

from pathlib import Path

from vision.common.atomic_files import write_text
from vision.errors import WetlineError

SCALES = {
    "sheet": """\
# Printed scale cards (`wetline sheet {folder}` makes them). Centres as laid out, in panel mm.
method = "sheet"
marker_mm = 40
# marker_centres_mm = [[0, -70], [400, -70], [400, 270], [0, 270]]
# check_bar_mm = 100       # what the 100 mm bar on the print really measures""",
    "corners": """\
# Pixels of the panel's four corners in the first photo (`wetline corners {folder}` reads them):
# feed corner, far corner, across from it, back to the feed. Point by point round the panel.
method = "corners"
# corners_px = [[310, 200], [980, 180], [1010, 560], [270, 570]]""",
    "tape": """\
# Pixels of the panel's corners, and of two marks on a tape measure lying beside it.
method = "tape"
# corners_px = [[310, 200], [980, 180], [1010, 560], [270, 570]]
# tape_px = [[300, 610], [990, 600]]
# tape_mm = 400""",
    "checkerboard": """\
# A checkerboard lying on the panel or the table beside it.
method = "checkerboard"
# square_mm = 20
# inner_corners = [8, 5]""",
}

TEMPLATE = """\
# One test panel. Lines that begin with # are notes; take the # away to use a field.
# Lengths are in mm; "40 in" is understood too.

[panel]
name = "{name}"
{length}
{width}
flow = "{flow}"            # "edge": feed along one edge; "point": feed at a point
{feed}
[frames]
# Put the photos into the folder frames/ (or give a video). Times come from the photos.
source = "{source}"
# interval_s = 30          # only if the photos carry no time
# resin_start = "14:05:30" # only if you want to set it yourself
# skip = ["IMG_0012.jpg", "20-22"]

[scale]
{scale}

[stack]
porosity = 0.50            # open share of the stack, or work it out from:
# layers = 6
# areal_weight_g_m2 = 600
# fibre_density_kg_m3 = 2560
# thickness_mm = 2.9

[resin]
# From the data sheet, at the temperature in the shop. Without these: front and curve only.
# viscosity_mpas = 200
# gel_time_min = 60
# density_kg_m3 = 1100
# temperature_c = 22
# hardener_parts = 30      # by weight to 100 of resin, for `wetline resin`
# pot_limit_kg = 5

[vacuum]
# Air pressure less bag pressure, mbar.
# pressure_difference_mbar = 950

[part]
# What you are going to infuse: the longest way the resin has to flow.
# flow_length_mm = 800
# area_m2 = 1.5
# thickness_mm = 3
"""


def new_panel(
    folder: Path,
    *,
    name: str | None,
    length_mm: float | None,
    width_mm: float | None,
    flow: str,
    scale: str,
) -> Path:
    """Make a panel folder with panel.toml and an empty frames folder.

    Returns
    -------
    file : Path
        The panel.toml.

    Raises
    ------
    WetlineError
        If there is a panel.toml already.
    """
    file = folder / "panel.toml"
    if file.exists():
        raise WetlineError(f"{file}: is there already: edit it, or choose another folder")
    shown = (name or folder.resolve().name).replace("\\", "/").replace('"', "'")
    text = TEMPLATE.format(
        name=shown,
        length=_size("length_mm", length_mm, "along the flow"),
        width=_size("width_mm", width_mm, "across the flow"),
        flow=flow,
        feed="# feed_point_mm = [200, 100]\n# feed_radius_mm = 6\n" if flow == "point" else "",
        source="frames",
        scale=SCALES[scale].format(folder=folder.as_posix()),
    )
    (folder / "frames").mkdir(parents=True, exist_ok=True)
    write_text(file, text)
    return file


def _size(key: str, value: float | None, what: str) -> str:
    if value is None:
        return f"# {key} = 400          # {what}"
    return f"{key} = {value:g}".ljust(27) + f"# {what}"
