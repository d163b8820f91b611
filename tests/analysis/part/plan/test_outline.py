"""Outlines from files, and the drawing readers."""

from __future__ import annotations

import os
import subprocess
import sys

import numpy as np
import pytest
from numpy.testing import assert_allclose

from analysis.part.plan import outline as part_outline
from analysis.part.plan.outline import area_mm2, crossing, disc, read_drawing, rectangle, tidy
from tests.made_up.cad import reader
from vision.errors import WetlineError


def test_csv_with_header_and_a_hole(tmp_path):
    path = tmp_path / "cover.csv"
    path.write_text("x_mm,y_mm\n0,0\n400,0\n400,200\n0,200\n0,0\n\n50,50\n90,50\n90,90\n", "utf-8")
    outline, holes = read_drawing(path)
    assert len(outline) == 4
    assert area_mm2(outline) == 400 * 200
    assert [area_mm2(hole) for hole in holes] == [40 * 40 / 2]


@pytest.mark.parametrize("line", ["12,5; 3,25", "12.5\t3.25", "12.5 3.25", "12.5, 3.25"])
def test_csv_takes_the_marks_shops_use(tmp_path, line):
    path = tmp_path / "cover.csv"
    path.write_text(f"0 0\n100 0\n{line}\n", encoding="utf-8")
    assert_allclose(read_drawing(path)[0][-1], [12.5, 3.25])


def test_csv_line_that_is_no_point_is_named(tmp_path):
    path = tmp_path / "cover.csv"
    path.write_text("0,0\n100,0\nright, top\n", encoding="utf-8")
    with pytest.raises(WetlineError, match="line 3 = right, top: must hold x and y"):
        read_drawing(path)


def test_a_file_of_another_kind_is_refused(tmp_path):
    path = tmp_path / "cover.step"
    path.write_text("x", encoding="utf-8")
    with pytest.raises(WetlineError, match=r"must be a \.csv, \.svg or \.dxf"):
        read_drawing(path)


def test_missing_package_is_said_in_one_line(tmp_path, monkeypatch):
    path = tmp_path / "cover.dxf"
    path.write_text("x", encoding="utf-8")
    monkeypatch.setitem(__import__("sys").modules, "ezdxf", None)
    with pytest.raises(WetlineError, match=r"pip install wetline\[cad\]"):
        read_drawing(path)


def test_dxf_outline_hole_and_unit(tmp_path):
    ezdxf = reader("ezdxf")
    drawing = ezdxf.new(setup=False)
    drawing.units = ezdxf.units.CM
    space = drawing.modelspace()
    space.add_line((0, 0), (40, 0))
    space.add_line((40, 20), (40, 0))
    space.add_line((40, 20), (0, 20))
    space.add_line((0, 0), (0, 20))
    space.add_circle((20, 10), 5)
    space.add_line((5, 5), (6, 6))  # a stray line is left out
    path = tmp_path / "cover.dxf"
    drawing.saveas(path)
    outline, holes = read_drawing(path)
    assert_allclose(area_mm2(outline), 400 * 200)
    assert len(holes) == 1
    assert_allclose(area_mm2(holes[0]), np.pi * 50**2, rtol=0.01)
    inches, _ = read_drawing(path, "in")
    assert_allclose(np.ptp(inches, axis=0), [40 * 25.4, 20 * 25.4])


def test_broken_dxf_is_told_in_one_line(tmp_path):
    reader("ezdxf")
    path = tmp_path / "cover.dxf"
    path.write_text("not a drawing", encoding="utf-8")
    with pytest.raises(WetlineError, match="is not a DXF"):
        read_drawing(path)


ROUND = "0\nSECTION\n2\nENTITIES\n0\nCIRCLE\n8\n0\n10\n0\n20\n0\n40\n5\n0\nENDSEC\n0\nEOF\n"
NO_UNIT = "9\n$INSUNITS\n70\n0\n"
ASKED = "from pathlib import Path; import os, sys; from analysis.part.plan.outline import *; "
ASKED += (
    "print(area_mm2(read_drawing(Path(sys.argv[1]), 'mm')[0]), os.environ['XDG_CONFIG_HOME'][:3])"
)
HEADER = "0\nSECTION\n2\nHEADER\n9\n$ACADVER\n1\nAC1015\n{unit}0\nENDSEC\n"


@pytest.mark.parametrize("head", ["", HEADER.format(unit=""), HEADER.format(unit=NO_UNIT)])
def test_dxf_that_names_no_unit_is_asked_for_it(tmp_path, head):
    reader("ezdxf")
    path = tmp_path / "cover.dxf"
    path.write_text(head + ROUND, encoding="ascii")
    with pytest.raises(WetlineError, match=r"10 x 10 units.* or 3 x 3 mm at 96 to the inch"):
        read_drawing(path)
    assert_allclose(area_mm2(read_drawing(path, "cm")[0]), np.pi * 50**2, rtol=0.02)


def test_dxf_is_read_where_the_home_folder_may_not_be_looked_into(tmp_path):
    reader("ezdxf")
    (tmp_path / "cover.dxf").write_text(ROUND, encoding="ascii")
    nowhere = {"XDG_CONFIG_HOME": "abc" * 200, "XDG_CACHE_HOME": "abc" * 200}  # no folder's name
    done = subprocess.run(
        [sys.executable, "-c", ASKED, tmp_path / "cover.dxf"],
        env={**os.environ, **nowhere}, capture_output=True, check=False, timeout=120, text=True,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    area, shown = done.stdout.split()
    assert_allclose(float(area), np.pi * 5**2, rtol=0.02)
    assert shown == "abc"  # what it was set to, as before


@pytest.mark.parametrize("fault", [PermissionError(13, "no entry"), RuntimeError("no home")])
def test_settings_of_a_reader_that_cannot_be_read_are_told_in_one_line(
    tmp_path, monkeypatch, fault
):
    path = tmp_path / "cover.dxf"
    path.write_text("x", encoding="utf-8")

    def refused(package):
        raise fault

    monkeypatch.setattr("analysis.part.plan.cad.load", refused)
    with pytest.raises(WetlineError, match=r"cover\.dxf: .*whose own settings cannot be read"):
        read_drawing(path)


SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" {head}>'
    '<path d="M 0 0 L 200 0 L 200 100 L 0 50 Z"/><circle cx="100" cy="40" r="10"/></svg>'
)


def svg(tmp_path, head):
    pytest.importorskip("svgpathtools")
    path = tmp_path / "cover.svg"
    path.write_text(SVG.format(head=head), encoding="utf-8")
    return path


@pytest.mark.parametrize("y_runs", ["down", "up"])
def test_svg_outline_keeps_its_look_whichever_way_y_runs(tmp_path, y_runs):
    path = svg(tmp_path, 'width="400mm" height="200mm" viewBox="0 0 200 100"')
    outline, holes = read_drawing(path, None, y_runs)
    assert_allclose(area_mm2(outline), 400 * (200 + 100) / 2)
    # The picture's upper edge is its long side: y = 0 where y runs down, the greatest where up.
    upper = 0.0 if y_runs == "down" else 200.0
    top = outline[np.abs(outline[:, 1] - upper) < 1]
    assert_allclose(np.sort(top[:, 0]), [0, 400])
    assert_allclose(area_mm2(holes[0]), np.pi * 20**2, rtol=0.01)


@pytest.mark.parametrize("head", ['width="200" height="100"', 'viewBox="0 0 200 100"', ""])
def test_svg_without_a_physical_size_is_asked_for_its_scale(tmp_path, head):
    path = svg(tmp_path, head)
    with pytest.raises(WetlineError, match=r"200 x 100 units.* or 53 x 26 mm at 96 to the inch"):
        read_drawing(path)
    in_mm, _ = read_drawing(path, "mm")
    in_px, _ = read_drawing(path, "px")
    assert_allclose(np.ptp(in_mm, axis=0), [200, 100])
    # 1/96 inch (W3C, CSS Values and Units Level 3).
    assert_allclose(np.ptp(in_px, axis=0), [200 * 25.4 / 96, 100 * 25.4 / 96])


def test_dxf_is_turned_so_that_y_runs_down(tmp_path):
    ezdxf = reader("ezdxf")
    drawing = ezdxf.new(setup=False)
    drawing.units = ezdxf.units.MM
    drawing.modelspace().add_lwpolyline([(0, 0), (200, 0), (0, 100)], close=True)
    path = tmp_path / "cover.dxf"
    drawing.saveas(path)
    down, _ = read_drawing(path)
    up, _ = read_drawing(path, None, "up")
    # In the drawing the long side lies below.
    assert_allclose(np.sort(down[down[:, 1] > 99][:, 0]), [0, 200])
    assert_allclose(np.sort(up[up[:, 1] < 1][:, 0]), [0, 200])


def test_svg_is_taken_as_it_is_shown(tmp_path):
    """Shapes are moved and scaled by their groups; what only the definitions hold is not drawn."""
    pytest.importorskip("svgpathtools")
    path = tmp_path / "cover.svg"
    path.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="50mm" viewBox="0 0 100 50">'
        '<defs><path d="M 0 0 L 900 0 L 900 900 Z"/></defs>'
        '<g transform="scale(2) translate(5, 0)"><path d="M 0 0 L 40 0 L 40 20 L 0 20 Z"/>'
        '<circle cx="20" cy="10" r="3" transform="translate(0, 2)"/></g></svg>',
        encoding="utf-8",
    )
    outline, holes = read_drawing(path)
    assert_allclose([outline.min(axis=0), outline.max(axis=0)], [[10, 0], [90, 40]])
    assert_allclose((holes[0].min(axis=0) + holes[0].max(axis=0)) / 2, [50, 24], atol=1e-9)
    assert_allclose(area_mm2(holes[0]), np.pi * 6**2, rtol=0.01)


def test_svg_without_a_closed_line(tmp_path):
    pytest.importorskip("svgpathtools")
    path = tmp_path / "cover.svg"
    path.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg"><path d="M 0 0 L 200 0"/></svg>', encoding="utf-8"
    )
    with pytest.raises(WetlineError, match="holds no closed line"):
        read_drawing(path)


def test_crossing_finds_where():
    bow = np.array([[0, 0], [4, 4], [4, 0], [0, 4.0]])
    assert_allclose(crossing(bow), [2, 2])
    assert crossing(disc(100)) is None
    assert crossing(rectangle(2, 2), rectangle(2, 2) + np.array([1, 1])) is not None
    assert crossing(rectangle(2, 2), rectangle(2, 2) + np.array([5, 5])) is None


def test_tidy_drops_repeats():
    assert len(tidy([[0, 0], [0, 0], [1, 0], [1, 1], [0, 0]])) == 3
    assert part_outline.area_mm2(tidy([[0, 0], [2, 0], [2, 2], [0, 0]])) == 2.0
