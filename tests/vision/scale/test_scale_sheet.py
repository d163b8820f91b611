"""The printable sheet: true scale, all four markers, words that can be read."""

import re
import zlib

import cv2
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from vision.errors import WetlineError
from vision.scale.markers import SeenMarker, find_again, find_markers
from vision.scale.scale_sheet import (
    draw_sheet,
    marker_cells,
    sheet_plan,
    steps_text,
    write_sheet,
)
from vision.scale.sheet_lines import PAPERS
from vision.settings.scale_settings import default_centres_mm

DPI = 300


def raster(plan):
    figure = draw_sheet(plan, default_centres_mm(400.0, 220.0), "hatch cover")
    figure.set_dpi(DPI)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    return np.ascontiguousarray(np.asarray(canvas.buffer_rgba())[:, :, 2::-1])


@pytest.mark.parametrize("paper", list(PAPERS))
def test_printed_page_carries_four_markers_at_true_scale(paper):
    plan = sheet_plan(paper)
    seen = find_markers(raster(plan))
    assert [m.id for m in seen] == [0, 1, 2, 3]
    for marker in seen:
        sides = np.hypot(*(np.roll(marker.corners_px, -1, axis=0) - marker.corners_px).T)
        edge_mm = sides * 25.4 / DPI
        assert edge_mm == pytest.approx(plan.paper.marker_mm, rel=0.002)
        centre_mm = (marker.centre_px + 0.5) * 25.4 / DPI
        assert centre_mm == pytest.approx(plan.centres_mm[marker.id], abs=0.1)


@pytest.mark.parametrize("paper", list(PAPERS))
def test_cards_lie_on_the_page_and_apart(paper):
    plan = sheet_plan(paper)
    width, height = plan.card_mm
    boxes = [
        (x - width / 2, y - width / 2, x + width / 2, y - width / 2 + height)
        for x, y in plan.centres_mm
    ]
    for left, top, right, bottom in boxes:
        assert left > 5
        assert top > 90
        assert right < plan.paper.width_mm - 5
        assert bottom < plan.paper.height_mm - 5
    for i, a in enumerate(boxes):
        for b in boxes[i + 1 :]:
            assert a[2] < b[0] or b[2] < a[0] or a[3] < b[1] or b[3] < a[1]


def test_cells_are_those_of_the_dictionary():
    # Marker 0 of OpenCV 5.0's predefined DICT_4X4_50, rows of 4 cells, written down here so that
    # a mirrored, turned or inverted drawing fails.
    inner = marker_cells(0)[1:-1, 1:-1].astype(int).tolist()
    assert inner == [[1, 0, 1, 1], [0, 1, 0, 1], [0, 0, 1, 1], [0, 0, 1, 0]]
    assert not marker_cells(3)[0].any()


def test_pdf_is_true_size_real_text_and_the_same_each_time(tmp_path):
    write_sheet(tmp_path / "a.pdf", "A4", default_centres_mm(400, 220))
    write_sheet(tmp_path / "b.pdf", "A4", default_centres_mm(400, 220))
    data = (tmp_path / "a.pdf").read_bytes()
    assert data == (tmp_path / "b.pdf").read_bytes()
    box = re.search(rb"/MediaBox \[ ?0 0 ([\d.]+) ([\d.]+) ?\]", data)
    assert box is not None
    # A4 is 210 mm x 297 mm (ISO 216), a PDF unit 1/72 inch (ISO 32000).
    assert float(box.group(1)) * 25.4 / 72 == pytest.approx(210, abs=0.1)
    assert float(box.group(2)) * 25.4 / 72 == pytest.approx(297, abs=0.1)
    assert b"/FontFile2" in data
    streams = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", data, re.DOTALL)
    page = b"".join(zlib.decompress(s) for s in streams if s[:1] == b"\x78")
    assert b"Tj" in page or b"TJ" in page  # text operators
    assert b" Do" not in page  # no picture on the page


def test_steps_name_places_and_check_distances():
    text = steps_text(PAPERS["A4"], default_centres_mm(400, 220))
    assert "marker_centres_mm = [[30, -70], [370, -70], [370, 290], [30, 290]]" in text
    assert "0 to 1 340 mm, 1 to 2 360 mm, 0 to 2 495 mm" in text
    assert "100 %" in text
    assert "70 mm outside the long edges" in steps_text(PAPERS["A3"], None)


def test_a_short_panel_still_has_room_for_two_cards():
    (x0, _), (x1, _), _, _ = default_centres_mm(70, 200, 40)
    assert x1 - x0 == pytest.approx(60)
    assert (x0 + x1) / 2 == pytest.approx(35)


def test_unknown_paper():
    with pytest.raises(WetlineError, match="must be one of A4, A3, letter"):
        sheet_plan("A5")


def test_a_photographed_print_is_found(tmp_path):
    page = raster(sheet_plan("A4"))
    small = cv2.resize(page, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    turned = cv2.rotate(small, cv2.ROTATE_90_CLOCKWISE)
    assert [m.id for m in find_markers(np.asarray(turned, np.uint8))] == [0, 1, 2, 3]


def test_markers_are_found_again_where_they_are_expected_and_nowhere_else():
    page = raster(sheet_plan("A4"))
    seen = find_markers(page)
    roughly = [SeenMarker(m.id, m.corners_px + 9.0) for m in seen]
    again = find_again(page, roughly)
    assert [m.id for m in again] == [0, 1, 2, 3]
    for marker, other in zip(seen, again, strict=True):
        assert other.corners_px == pytest.approx(marker.corners_px, abs=0.01)
    wrong = [SeenMarker(1, seen[0].corners_px), SeenMarker(2, seen[2].corners_px + 1e5)]
    assert find_again(page, wrong) == ()
