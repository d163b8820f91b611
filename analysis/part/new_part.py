"""A part folder to start from: part.toml with every usual field explained, and no made-up value.

Tested in tests/analysis/part/test_new_part.py.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis.panel.new_panel import ASKS, Ask, fresh_file, line_to_fill
from analysis.panel.tables.resin import read_resin_table
from analysis.panel.tables.vacuum import read_vacuum_table
from vision.common.atomic_files import write_text
from vision.common.outside.folder_contents import VIDEO_SUFFIXES
from vision.common.outside.input_files import one_line
from vision.common.quantity import LENGTH_MM
from vision.common.toml_table import Table
from vision.scale.sheet_lines import CLEAR_MM, PAPERS, centres_line, paper_for, places_around

PART_ASKS = tuple(
    Ask(one.option, one.key, one.kind, question)
    for one in ASKS
    for option, question in (
        ("length", "Length of the part along x, mm (Enter where it is no rectangle)"),
        ("width", "Width of the part along y, mm"),
        ("viscosity", one.question),
        ("gel-time", one.question),
        ("temperature", one.question),
        ("vacuum", one.question),
    )
    if one.option == option
)
"""What a new part is asked for, of what a new panel is asked for."""

TEMPLATE = """\
# A flat part. A line that begins with # is a note or a field still open: take the # away and write
# your own value. A value may carry its unit in quotes: "1.8 m", "0.3 Pa s", "72 F".
# x runs right and y runs down, as the part is looked at from above.

name = "{name}"

[outline]
{rectangle}
# or point by point round the edge:
# points_mm =              # [[x, y], [x, y], ...]
# or a drawing:
# file =                   # "cover.dxf" or "cover.svg", with units = "mm"
# holes_mm =               # [[[x, y], ...], ...]

[stack]
# From a panel of the same lay-up: permeability, resin and vacuum are taken from it.
# panel =                  # its folder, as "../my_panel"
# or by numbers:
# k_m2 =                   # permeability; k1_m2, k2_m2 and angle_deg where it has directions
# k_low_m2 =               # its 95 % interval
# k_high_m2 =
# porosity =               # open share of the stack, 0 to 1
# thickness_mm =

# [[feed]]                 # where the resin comes in; as many as there are
# name =
# line_mm =                # [[x, y], [x, y]] along the line, or point_mm = [x, y]
# opens_when =             # "wet": opens when the resin has come there; left out: at the start

# [[vent]]                 # where the air leaves; as many as there are
# name =
# line_mm =

# Resin and vacuum where no panel is named, or where they are not as on it. Both tables count
# whole: what is written here stands for all that the panel says of it.
{resin_head}
{viscosity_mpas}
{gel_time_min}
{temperature_c}
# density_kg_m3 =

{vacuum_head}
{pressure_difference_mbar}

{camera}"""
NO_CAMERA = """\
# A camera that watches the part itself fill: its photos, and what tells how big things are.
# [frames]
# source =                 # the folder of the photos, as "frames", or a film
# [scale]
# method =                 # "sheet": four cards (`wetline sheet`); "outline": `wetline corners`
"""
CAMERA = """\
[frames]
# The photos of the part as it fills, or a film. Times come from the photos.
source = {source}
{film}# resin_start =            # clock time in quotes, only if you want to set it yourself

[scale]
{scale}"""
FILM = (
    "# speed_up =               # how many times faster than real the film plays; 1 in real time\n"
)
SHEET = """\
# Four printed cards round the part: `wetline sheet {folder}{paper}` prints them, and where they go.
method = "sheet"
{cards}
# check_bar_mm =           # what the 100 mm bar on the print really measures
"""
OUTLINE = """\
# Corners of the part tapped on a photo: `wetline corners {folder}` asks for them and writes them.
method = "outline"
"""
SURFACE = """
[surface]
height_mm = {height:g}          # of the part's surface above the cards
# height_varies_mm =       # how far it may rise or fall from there
"""
HEIGHT = Ask("height", "height_mm", LENGTH_MM, "Height of the part's surface above the cards, mm")
SCALES = ("sheet", "outline")
_NOTES = {
    "viscosity_mpas": "of the mixed resin",
    "gel_time_min": "from mixing",
    "temperature_c": "in the shop",
    "pressure_difference_mbar": "air pressure less bag pressure",
}


@dataclass(frozen=True)
class WatchedBy:
    """How a new part is looked at.

    Attributes
    ----------
    photos : str
        Folder of its photos, or a film, as seen from the part's folder.
    scale : {"sheet", "outline"}
        Cards, or corners tapped on a photo.
    height_mm : float
        Of its surface above the cards.
    """

    photos: str
    scale: str = "sheet"
    height_mm: float = 0.0

    @property
    def is_film(self) -> bool:
        """Whether the photos are a film."""
        return Path(self.photos).suffix.lower() in VIDEO_SUFFIXES


def new_part(
    folder: Path, *, name: str | None, answers: Mapping[str, str], camera: WatchedBy | None = None
) -> list[str]:
    """Write a part folder with a part.toml to fill in.

    Parameters
    ----------
    folder : Path
    name : str or None
        The folder's name if None.
    answers : mapping of str to str
        Lines by the key of their `Ask`, from `analysis.panel.new_panel.read_answer`; what is not
        there is left open.
    camera : WatchedBy, optional
        How it is looked at; left out, the tables for it stay open.

    Returns
    -------
    questions : list of str
        Values that are possible but not likely.

    Raises
    ------
    WetlineError
        If there is a part.toml already, or a value cannot be true. Nothing is written then.
    """
    file, shown = fresh_file(folder, "part.toml", name)
    text = TEMPLATE.format(
        name=shown,
        rectangle=_rectangle(answers),
        resin_head=_head("resin", answers),
        vacuum_head=_head("vacuum", answers),
        camera=NO_CAMERA if camera is None else _camera(folder, camera, answers),
        **{key: line_to_fill(key, answers.get(key), _NOTES) for key in _NOTES},
    )
    questions = _questions(file, text)
    folder.mkdir(parents=True, exist_ok=True)
    if camera is not None and not camera.is_film:
        (folder / camera.photos).mkdir(parents=True, exist_ok=True)
    write_text(file, text)
    return questions


def _questions(file: Path, text: str) -> list[str]:
    """Return what is asked about the values, once each is found possible."""
    document = tomllib.loads(text)
    outline = Table.of(file, document, "outline")
    resin, vacuum = (Table.of(file, document, table) for table in ("resin", "vacuum"))
    sides = outline.pair("rectangle_mm")
    if sides is not None and not min(sides) > 0:
        raise outline.bad("rectangle_mm", "must be two lengths above 0")
    read_resin_table(resin)
    read_vacuum_table(vacuum)
    return [*resin.questions, *vacuum.questions]


def _head(table: str, answers: Mapping[str, str]) -> str:
    """Return a table's head, open while nothing stands in it: empty it would hide the panel's."""
    vacuum = "pressure_difference_mbar"
    filled = any((key == vacuum) == (table == "vacuum") for key in _NOTES if key in answers)
    return f"[{table}]" if filled else f"# [{table}]"


def paper_of(answers: Mapping[str, str]) -> str:
    """Return the paper for the cards of a part of the answered sides; A4 where they were not."""
    return paper_for(max(_sides(answers), default=0.0))


def _camera(folder: Path, camera: WatchedBy, answers: Mapping[str, str]) -> str:
    """Return the tables for the camera."""
    shown = one_line(folder.as_posix())
    if camera.scale == "outline":
        scale = OUTLINE.format(folder=shown)
    else:
        paper, sides = paper_of(answers), _sides(answers)
        cards = "# marker_mm =              # edge of a card's black square, and\n"
        cards += "# marker_centres_mm =      # where the cards lie: `wetline sheet --write`"
        if sides:
            marker = PAPERS[paper].marker_mm
            outline = np.array([[0.0, 0.0], sides])
            centres = places_around(outline, "down", marker, CLEAR_MM)
            cards = f"marker_mm = {marker:g}\n{centres_line(centres)}"
        option = "" if paper == "A4" else f" --paper {paper}"
        scale = SHEET.format(folder=shown, paper=option, cards=cards)
    source, film = json.dumps(camera.photos, ensure_ascii=False), FILM if camera.is_film else ""
    text = CAMERA.format(source=source, film=film, scale=scale)
    return text + (SURFACE.format(height=camera.height_mm) if camera.height_mm else "")


def _sides(answers: Mapping[str, str]) -> list[float]:
    """Return length and width in mm; empty unless both were answered."""
    sides = [answers.get(key, "").partition(" = ")[2] for key in ("length_mm", "width_mm")]
    return [float(side) for side in sides] if all(sides) else []


def _rectangle(answers: Mapping[str, str]) -> str:
    sides = _sides(answers)
    if sides:
        return (
            f"rectangle_mm = [{sides[0]:.10g}, {sides[1]:.10g}]   # length along x, width along y"
        )
    return "# rectangle_mm =           # [length along x, width along y]"
