"""Closed lines from SVG and DXF drawings; needs the `cad` extra.

Tested in tests/analysis/part/plan/test_outline.py.
"""

from __future__ import annotations

import configparser
import contextlib
import importlib
import io
import math
import os
import tempfile
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

from analysis.part.plan.outline import PX_MM
from vision.common.outside.input_files import check_file, read_file
from vision.common.quantity import LENGTH_MM
from vision.common.toml_table import length_mm
from vision.errors import WetlineError
from vision.records import FloatArray

JOIN = 1e-3
"""Ends nearer than this share of the drawing's size are taken as one point."""
CURVE_POINTS = 32
MOST_MM = 1e6
"""Nothing a kilometre away belongs to a part: such a drawing is damaged."""
MOST_PIECES = 20_000
"""Lines of one drawing that are joined."""
_DRAWN = ("LINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE", "LWPOLYLINE", "POLYLINE")
NOT_LOADED = (OSError, RuntimeError, configparser.Error)
"""What a package raises that looks for its settings while it is loaded."""
_SETTINGS_IN = ("XDG_CONFIG_HOME", "XDG_CACHE_HOME")


def load(package: str) -> Any:
    """Return a package of the `cad` extra, loaded without its settings where those fail it.

    A reader of drawings looks for its own settings and its list of fonts in the home folder when
    it is loaded. Where there is no home folder, or where it may not be looked into (a service, a
    shared computer), that fails; then it is shown an empty folder: nothing read here needs them.

    Raises
    ------
    ImportError
        If the package is not installed.
    OSError, RuntimeError, configparser.Error
        If it cannot be loaded with an empty folder either (`NOT_LOADED`).
    """
    try:
        return importlib.import_module(package)
    except NOT_LOADED:
        before = {name: os.environ.get(name) for name in _SETTINGS_IN}
        with tempfile.TemporaryDirectory() as empty:
            os.environ.update(dict.fromkeys(_SETTINGS_IN, empty))
            try:
                with contextlib.redirect_stdout(io.StringIO()):  # folders of fonts it may not enter
                    return importlib.import_module(package)
            finally:
                for name, value in before.items():
                    os.environ.pop(name) if value is None else os.environ.update({name: value})


def read_dxf(path: Path) -> tuple[list[FloatArray], float | None]:
    """Read the closed lines of a DXF's model space, and its unit in mm, None where it says none.

    A drawing without a header is read by the library as if it were in metres, so that the unit
    is believed only where the file itself names it.

    Raises
    ------
    WetlineError
        If it is no DXF, or a line in it cannot be read.
    """
    import ezdxf

    says_unit = b"$INSUNITS" in read_file(path)
    try:
        drawing: Any = ezdxf.readfile(path)
        entities = [one for one in drawing.modelspace() if one.dxftype() in _DRAWN]
        unit_mm = _dxf_unit_mm(drawing) if says_unit else None
    except WetlineError:
        raise
    except Exception as error:  # a damaged file makes the reader raise whatever it meets
        raise WetlineError(f"{path}: is not a DXF that can be read: export it anew") from error
    pieces = []
    for entity in entities:
        try:
            flat = _flat_line(entity, unit_mm or 1.0)
        except Exception as error:  # as above
            raise _bad_line(path, f"a {entity.dxftype()}") from error
        if len(flat):
            pieces.append(flat)
        elif "POLYLINE" not in entity.dxftype():  # which may be empty, and harms nobody
            raise _bad_line(path, f"a {entity.dxftype()}")
    return join(_checked(path, pieces, unit_mm)), unit_mm


def _dxf_unit_mm(drawing: Any) -> float | None:
    """Return a DXF's unit in mm, None where it says that it has none or one unknown."""
    from ezdxf import units

    code = drawing.units
    if not code:
        return None
    try:
        unit = units.InsertUnits(code)
        return float(units.conversion_factor(unit, units.InsertUnits.Millimeters))
    except (TypeError, ValueError, KeyError):
        return None


def _flat_line(entity: Any, unit_mm: float) -> FloatArray:
    """Return the points of one drawn line, to 0.05 mm; none for an empty one."""
    from ezdxf import path as paths

    line = paths.make_path(entity)
    if not len(line):
        return np.zeros((0, 2))
    corners = np.array([(p.x, p.y) for p in line.control_vertices()])
    if not (np.abs(corners) * unit_mm <= MOST_MM).all():
        return corners  # refused by `_checked`, before an endless number of points is set
    return np.array([(p.x, p.y) for p in line.flattening(0.05 / unit_mm)])


def read_svg(path: Path) -> tuple[list[FloatArray], float | None]:
    """Read the closed lines of an SVG, and its unit in mm, None where it says no physical size.

    Groups that are moved, turned or scaled are laid out as they are shown; what only stands
    among the definitions is left out.

    Raises
    ------
    WetlineError
        If it is no SVG, or a line in it cannot be read.
    """
    import svgpathtools

    check_file(path)
    pieces = []
    try:
        document = svgpathtools.Document(str(path))
        drawn, head = document.paths(), dict(document.root.attrib)
        for one in drawn:
            for sub in one.continuous_subpaths() if len(one) else ():
                points = [sub[0].start]
                for segment in sub:
                    count = 1 if isinstance(segment, svgpathtools.Line) else CURVE_POINTS
                    points += [segment.point((k + 1) / count) for k in range(count)]
                pieces.append(np.array([(p.real, p.imag) for p in points]))
    except Exception as error:  # the reader raises whatever its XML parser raises
        raise WetlineError(f"{path}: is not an SVG that can be read: export it anew") from error
    unit_mm = _svg_unit_mm(head)
    return join(_checked(path, pieces, unit_mm)), unit_mm


def _bad_line(path: Path, what: str) -> WetlineError:
    return WetlineError(f"{path}: {what} in it cannot be read: mend the drawing or export it anew")


def _checked(path: Path, pieces: list[FloatArray], unit_mm: float | None) -> list[FloatArray]:
    """Refuse lines without finite points, a kilometre away, or in their ten thousands."""
    if len(pieces) > MOST_PIECES:
        raise WetlineError(
            f"{path}: holds {len(pieces)} lines, more than {MOST_PIECES}: leave the outline and "
            "its holes alone in the drawing"
        )
    for piece in pieces:
        if not np.isfinite(piece).all():
            raise _bad_line(path, "a line without an end")
        if np.abs(piece).max() * (unit_mm or 1.0) > MOST_MM:
            raise _bad_line(path, f"a line more than {MOST_MM / 1e6:g} km away")
    return pieces


def _svg_unit_mm(head: dict[str, str]) -> float | None:
    """Return the size of an SVG's user unit from its width and viewBox, None where it says none."""
    box = head.get("viewBox", "").replace(",", " ").split()
    width = head.get("width", "").strip()
    known = any(width.endswith(unit) for unit in LENGTH_MM.factors)
    wide_mm = length_mm(width) if known else None
    if not wide_mm:
        return None
    try:
        units = float(box[2]) if len(box) == 4 else None
    except ValueError:
        return None
    if units is None and box:
        return None
    if units is None:
        return PX_MM  # a width in mm without a viewBox: user units are CSS pixels
    return wide_mm / units if 0 < units < math.inf else None


def join(pieces: Iterable[FloatArray]) -> list[FloatArray]:
    """Join lines end to end into closed loops; what stays open is left out.

    Examples
    --------
    >>> corner = [np.array([[0, 0], [4, 0.0]]), np.array([[0, 3], [0, 0.0]])]
    >>> [len(loop) for loop in join([*corner, np.array([[4, 0], [0, 3.0]])])]
    [4]
    """
    lines = [np.asarray(piece, float) for piece in pieces]
    if not lines:
        return []
    near = JOIN * float(np.ptp(np.concatenate(lines), axis=0).max())
    lines = [line for line in lines if len(line) > 1]
    starts = np.array([line[0] for line in lines]).reshape(-1, 2)
    ends = np.array([line[-1] for line in lines]).reshape(-1, 2)
    loose = np.ones(len(lines), bool)
    closed = []
    for first in range(len(lines)):
        if not loose[first]:
            continue
        loose[first] = False
        chain, end = [lines[first]], ends[first]
        while np.hypot(*(starts[first] - end)) > near:
            as_drawn = np.hypot(*(starts - end).T) <= near
            follows = np.flatnonzero(loose & (as_drawn | (np.hypot(*(ends - end).T) <= near)))
            if not len(follows):
                break
            k = follows[0]
            loose[k] = False
            chain.append((lines[k] if as_drawn[k] else lines[k][::-1])[1:])
            end = ends[k] if as_drawn[k] else starts[k]
        line = np.vstack(chain)
        if np.hypot(*(line[0] - line[-1])) <= near and len(line) > 2:
            closed.append(line)
    return closed
