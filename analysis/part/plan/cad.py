"""Closed lines from SVG and DXF drawings; needs the `cad` extra.

Tested in tests/analysis/part/plan/test_outline.py.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from analysis.part.plan.outline import PX_MM
from vision.common.quantity import LENGTH_MM
from vision.common.toml_table import length_mm
from vision.errors import WetlineError
from vision.records import FloatArray

JOIN = 1e-3
"""Ends nearer than this share of the drawing's size are taken as one point."""
CURVE_POINTS = 32


def read_dxf(path: Path) -> tuple[list[FloatArray], float | None]:
    """Read the closed lines of a DXF's model space, and its unit in mm.

    Raises
    ------
    WetlineError
        If it is no DXF.
    """
    import ezdxf
    from ezdxf import path as paths
    from ezdxf import units

    try:
        drawing: Any = ezdxf.readfile(path)
    except (OSError, ezdxf.DXFError) as error:
        raise WetlineError(f"{path}: is not a DXF that can be read: export it anew") from error
    code = drawing.units
    factor = (
        float(units.conversion_factor(units.InsertUnits(code), units.InsertUnits.Millimeters))
        if code
        else 1.0
    )
    pieces = []
    kinds = {"LINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE", "LWPOLYLINE", "POLYLINE"}
    for entity in drawing.modelspace():
        if entity.dxftype() in kinds:
            line = paths.make_path(entity)
            if len(line):
                flat = [(p.x, p.y) for p in line.flattening(0.05 / factor)]
                pieces.append(np.array(flat))
    return join(pieces), factor


def read_svg(path: Path) -> tuple[list[FloatArray], float | None]:
    """Read the closed lines of an SVG, and its unit in mm, None where it says no physical size.

    Raises
    ------
    WetlineError
        If it is no SVG.
    """
    import svgpathtools

    try:
        drawn, _, head = svgpathtools.svg2paths2(str(path))
    except Exception as error:  # the reader raises whatever its XML parser raises
        raise WetlineError(f"{path}: is not an SVG that can be read: export it anew") from error
    pieces = []
    for one in drawn:
        for sub in one.continuous_subpaths():
            points = [sub[0].start]
            for segment in sub:
                count = 1 if isinstance(segment, svgpathtools.Line) else CURVE_POINTS
                points += [segment.point((k + 1) / count) for k in range(count)]
            pieces.append(np.array([(p.real, p.imag) for p in points]))
    return join(pieces), _svg_unit_mm(head)


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
    if units is None:
        return PX_MM  # a width in mm without a viewBox: user units are CSS pixels
    return wide_mm / units if units > 0 else None


def join(pieces: list[FloatArray]) -> list[FloatArray]:
    """Join lines end to end into closed loops; what stays open is left out.

    Examples
    --------
    >>> corner = [np.array([[0, 0], [4, 0.0]]), np.array([[0, 3], [0, 0.0]])]
    >>> [len(loop) for loop in join([*corner, np.array([[4, 0], [0, 3.0]])])]
    [4]
    """
    if not pieces:
        return []
    size = float(np.ptp(np.concatenate(pieces), axis=0).max())
    near = JOIN * size
    closed, loose = [], [np.asarray(piece, float) for piece in pieces if len(piece) > 1]
    while loose:
        line = loose.pop(0)
        while np.hypot(*(line[0] - line[-1])) > near:
            follow = next(
                (
                    (k, turned)
                    for k, other in enumerate(loose)
                    for turned in (other, other[::-1])
                    if np.hypot(*(turned[0] - line[-1])) <= near
                ),
                None,
            )
            if follow is None:
                break
            loose.pop(follow[0])
            line = np.vstack([line, follow[1][1:]])
        if np.hypot(*(line[0] - line[-1])) <= near and len(line) > 2:
            closed.append(line)
    return closed
