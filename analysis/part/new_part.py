"""A part folder to start from: part.toml with every usual field explained, and no made-up value.

Tested in tests/analysis/part/test_new_part.py.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path

from analysis.panel.new_panel import ASKS, Ask, fresh_file, line_to_fill
from analysis.panel.tables.resin import read_resin_table
from analysis.panel.tables.vacuum import read_vacuum_table
from vision.common.atomic_files import write_text
from vision.common.toml_table import Table

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
"""
_NOTES = {
    "viscosity_mpas": "of the mixed resin",
    "gel_time_min": "from mixing",
    "temperature_c": "in the shop",
    "pressure_difference_mbar": "air pressure less bag pressure",
}


def new_part(folder: Path, *, name: str | None, answers: Mapping[str, str]) -> list[str]:
    """Write a part folder with a part.toml to fill in.

    Parameters
    ----------
    folder : Path
    name : str or None
        The folder's name if None.
    answers : mapping of str to str
        Lines by the key of their `Ask`, from `analysis.panel.new_panel.read_answer`; what is not
        there is left open.

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
        **{key: line_to_fill(key, answers.get(key), _NOTES) for key in _NOTES},
    )
    questions = _questions(file, text)
    folder.mkdir(parents=True, exist_ok=True)
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


def _rectangle(answers: Mapping[str, str]) -> str:
    sides = [answers.get(key, "").partition(" = ")[2] for key in ("length_mm", "width_mm")]
    if all(sides):
        return f"rectangle_mm = [{', '.join(sides)}]   # length along x, width along y"
    return "# rectangle_mm =           # [length along x, width along y]"
