"""A panel folder to start from: panel.toml with every field explained, and no made-up value."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from analysis.panel.panel_toml import panel_from
from vision.common.atomic_files import write_text
from vision.common.outside.input_files import is_there, one_line
from vision.common.quantity import (
    LENGTH_MM,
    PRESSURE_MBAR,
    SHARE,
    TEMPERATURE_C,
    TIME_MIN,
    VISCOSITY_MPAS,
    Quantity,
    read_quantity,
    split_number,
)
from vision.errors import WetlineError


@dataclass(frozen=True)
class Ask:
    """One number that a new panel is asked for.

    Attributes
    ----------
    option : str
        Name of the command's option, without its dashes.
    key : str
        Field of panel.toml.
    kind : Quantity
    question : str
        As the user is asked; Enter leaves it open.
    """

    option: str
    key: str
    kind: Quantity
    question: str


ASKS = (
    Ask("length", "length_mm", LENGTH_MM, "Length of the panel along the flow, mm"),
    Ask("width", "width_mm", LENGTH_MM, "Width of the panel, mm"),
    Ask("porosity", "porosity", SHARE, "Open share of the stack (1 - fibre volume fraction)"),
    Ask("viscosity", "viscosity_mpas", VISCOSITY_MPAS, "Viscosity of the mixed resin, mPa s"),
    Ask("gel-time", "gel_time_min", TIME_MIN, "Gel time from mixing, min"),
    Ask("temperature", "temperature_c", TEMPERATURE_C, "Temperature in the shop, C"),
    Ask(
        "vacuum",
        "pressure_difference_mbar",
        PRESSURE_MBAR,
        'Vacuum: air less bag pressure in mbar, or what the gauge shows, as "27 inHg"',
    ),
    Ask("flow-length", "flow_length_mm", LENGTH_MM, "Longest way of the resin on the part, mm"),
)
SCALES = {
    "sheet": """\
# Printed scale cards: `wetline sheet {folder}` writes their size and places here.
method = "sheet"
# check_bar_mm =           # what the 100 mm bar on the print really measures""",
    "corners": """\
# Pixels of the panel's four corners in the first photo: `wetline corners {folder}` reads them.
# Feed corner, far corner, across from it, back to the feed: point by point round the panel.
method = "corners"
# corners_px =             # four [x, y]""",
    "tape": """\
# Pixels of the panel's corners, and of two marks on a tape measure lying beside it:
# `wetline corners {folder}` reads them.
method = "tape"
# corners_px =             # four [x, y]
# tape_px =                # two [x, y]
# tape_mm =                # the distance between the two marks""",
    "checkerboard": """\
# A checkerboard lying on the panel or the table beside it; `wetline corners {folder}` reads the
# panel's corners.
method = "checkerboard"
# square_mm =              # the edge of one square
# inner_corners =          # [columns, rows] of inner corners
# corners_px =             # four [x, y]""",
}

TEMPLATE = """\
# One test panel. A line that begins with # is a note or a field still open: take the # away and
# write your own value. A value may carry its unit in quotes: "40 in", "0.3 Pa s", "72 F".

[panel]
name = "{name}"
{length_mm}
{width_mm}
flow = "{flow}"            # "edge": feed along one edge; "point": feed at a point
{feed}
[frames]
# Put the photos into the folder frames/ (or give a film). Times come from the photos.
source = "frames"
# interval_s =             # seconds between photos, only if they carry no time
# speed_up =               # film only: how many times faster it plays than the run went
# resin_start =            # clock time in quotes, only if you want to set it yourself
# skip =                   # photos to leave out, as ["IMG_0012.jpg", "20-22"]

[scale]
{scale}

[stack]
{porosity}
# or, to work it out:
# layers =
# areal_weight_g_m2 =      # of one layer
# fibre_density_kg_m3 =
# thickness_mm =           # of the stack under the bag

[resin]
# From the data sheet or measured, at the temperature in the shop. Without these: front and curve
# only.
{viscosity_mpas}
{gel_time_min}
{temperature_c}
# density_kg_m3 =
# hardener_parts =         # by weight to 100 of resin, for `wetline resin`
# pot_limit_kg =           # most that is mixed in one pot

[vacuum]
{pressure_difference_mbar}
# or what the gauge shows, with its unit in quotes:
# vacuum_gauge =           # as "27 inHg", "-0.93 bar", "92 %"
# or the absolute pressure in the bag:
# bag_mbar =
# ambient_mbar =           # air pressure in the shop

[part]
# What you are going to infuse.
{flow_length_mm}
# area_m2 =
# thickness_mm =
"""
_NOTES = {
    "length_mm": "along the flow",
    "width_mm": "across the flow",
    "porosity": "open share of the stack, 0 to 1",
    "viscosity_mpas": "of the mixed resin",
    "gel_time_min": "from mixing",
    "temperature_c": "in the shop",
    "pressure_difference_mbar": "air pressure less bag pressure",
    "flow_length_mm": "the longest way the resin has to flow",
}


def read_answer(ask: Ask, text: str) -> str:
    """Return the line of panel.toml for one answer.

    Parameters
    ----------
    ask : Ask
    text : str
        As typed: a number, or a number with its unit.

    Raises
    ------
    ValueError
        With the rule that it breaks.

    Examples
    --------
    >>> read_answer(ASKS[0], "40 in"), read_answer(ASKS[6], "27 inHg")
    ('length_mm = 1016', 'vacuum_gauge = "27 inHg"')
    """
    if ask.option == "vacuum" and split_number(text)[1]:
        plain = " ".join(text.split()).replace('"', "")
        return f'vacuum_gauge = "{plain}"'
    return f"{ask.key} = {read_quantity(text, ask.kind):.10g}"


def new_panel(
    folder: Path, *, name: str | None, flow: str, scale: str, answers: Mapping[str, str]
) -> list[str]:
    """Write a panel folder with panel.toml and an empty frames folder.

    Parameters
    ----------
    folder : Path
    name : str or None
        The folder's name if None.
    flow : {"edge", "point"}
    scale : str
        Scale method.
    answers : mapping of str to str
        Lines of panel.toml by the key of their `Ask`, from `read_answer`; what is not there is
        left open.

    Returns
    -------
    questions : list of str
        Values that are possible but not likely.

    Raises
    ------
    WetlineError
        If there is a panel.toml already, or a value cannot be true. Nothing is written then.
    """
    file, shown = fresh_file(folder, "panel.toml", name)
    feed = "# feed_point_mm =          # [x, y]\n# feed_radius_mm =         # of the feed hole\n"
    text = TEMPLATE.format(
        name=shown,
        flow=flow,
        feed=feed if flow == "point" else "",
        scale=SCALES[scale].format(folder=one_line(folder.as_posix())),
        **{ask.key: line_to_fill(ask.key, answers.get(ask.key), _NOTES) for ask in ASKS},
    )
    questions = panel_from(tomllib.loads(text), file).questions
    (folder / "frames").mkdir(parents=True, exist_ok=True)
    write_text(file, text)
    return list(questions)


def fresh_file(folder: Path, file_name: str, name: str | None) -> tuple[Path, str]:
    """Return the file to write, and the name to write in it: the folder's if None.

    Raises
    ------
    WetlineError
        If the file is there already.
    """
    file = folder / file_name
    if is_there(file):
        raise WetlineError(f"{file}: is there already: edit it, or choose another folder")
    return file, one_line(name or folder.resolve().name).replace("\\", "/").replace('"', "'")


def line_to_fill(key: str, answer: str | None, notes: Mapping[str, str]) -> str:
    """Return a field's line with its note behind it, left open where nobody answered."""
    line = f"# {key} =" if answer is None else answer
    return f"{line:26s} # {notes[key]}"
