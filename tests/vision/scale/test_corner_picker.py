"""Reading corners off the first photo, with and without a window."""

import cv2
import numpy as np
import pytest
from click.testing import CliRunner

from analysis.commands.camera import corners, sheet
from vision.errors import WetlineError
from vision.scale import corner_picker as tool
from vision.settings.panel_settings import read_setup

IMAGE = np.full((360, 640, 3), 120, np.uint8)


def click_at(picker, *points):
    for x, y in points:
        picker.mouse(cv2.EVENT_LBUTTONDOWN, x, y)


def panel_folder(tmp_path, text="[panel]\nlength_mm = 400\nwidth_mm = 200\n"):
    (tmp_path / "frames").mkdir()
    for i in range(4):
        image = IMAGE.copy()
        image[0, 0] = i
        cv2.imwrite(str(tmp_path / "frames" / f"{i}.png"), image)
    (tmp_path / "panel.toml").write_text("[frames]\ninterval_s = 10\n" + text, encoding="utf-8")
    return tmp_path


def test_clicks_become_points_and_can_be_taken_back():
    picker = tool.Picker(IMAGE)
    click_at(picker, (10, 20), (600, 25), (9, 9))
    picker.mouse(cv2.EVENT_RBUTTONDOWN, 0, 0)
    click_at(picker, (590, 300), (15, 310))
    assert picker.points == [(10, 20), (600, 25), (590, 300), (15, 310)]
    assert picker.may_stop()
    assert not picker.done
    click_at(picker, (20, 340))
    assert not picker.may_stop()
    click_at(picker, (620, 345), (1, 1))
    assert picker.done
    assert len(picker.points) == 6


def test_the_window_shows_points_and_an_enlarged_view():
    picker = tool.Picker(IMAGE)
    click_at(picker, (100, 200))
    shown = picker.picture()
    assert shown.shape == IMAGE.shape
    assert (shown[200, 100] == (0, 0, 255)).all()
    assert (shown[:180, -180:] != 120).any()  # the loupe, away from the pointer
    assert (IMAGE == 120).all()
    picker.mouse(cv2.EVENT_MOUSEMOVE, 639, 359)
    assert picker.picture().shape == IMAGE.shape


def test_order_of_clicks():
    good = [(10, 20), (600, 25), (590, 300), (15, 310)]
    assert tool.order_fault(good) == ""
    assert "wrong way round" in tool.order_fault(good[::-1])
    assert "do not outline" in tool.order_fault([good[0], good[2], good[1], good[3]])


def test_lines_for_panel_toml_are_read_back(tmp_path):
    folder = panel_folder(tmp_path)
    points = [(10, 20), (600, 25), (590.5, 300), (15, 310)]
    text = (folder / "panel.toml").read_text()
    tape = tool.scale_lines(points, [(20, 340), (620, 345)], 350.0)
    (folder / "panel.toml").write_text(text + tape)
    spec = read_setup(folder).scale
    assert spec.corners_px == ((10, 20), (600, 25), (590.5, 300), (15, 310))
    assert spec.tape_mm == 350.0


def test_grid_picture_is_labelled_every_hundred_pixels():
    picture = tool.draw_grid(IMAGE)
    assert (picture[150, 200] == (0, 255, 255)).all()
    assert (picture[100, 350] == (0, 255, 255)).all()
    assert (picture[150, 250] == 120).all()


def test_command_without_a_window_says_what_to_write(tmp_path):
    folder = panel_folder(tmp_path)
    result = CliRunner().invoke(corners, [str(folder), "--no-window"])
    assert result.exit_code == 0, result.output
    assert "corners_px = [[x, y]" in result.output
    assert "0.png" in result.output
    picture = cv2.imread(str(folder / "results" / "first_frame.png"))
    assert picture is not None
    assert picture.shape == IMAGE.shape


def test_command_needs_no_scale_table_and_no_size(tmp_path):
    folder = panel_folder(tmp_path, '[panel]\nname = "x"\n[scale]\nmethod = "corners"\n')
    assert CliRunner().invoke(corners, [str(folder), "--no-window"]).exit_code == 0


def test_command_with_a_window(tmp_path, monkeypatch):
    folder = panel_folder(tmp_path)
    points = [(10.0, 20.0), (600.0, 25.0), (590.0, 300.0), (15.0, 310.0)]
    monkeypatch.setattr(tool, "has_display", lambda: True)
    monkeypatch.setattr(tool, "pick", lambda image: [*points, (20.0, 340.0), (620.0, 345.0)])
    result = CliRunner().invoke(corners, [str(folder)], input="350\n")
    assert result.exit_code == 0, result.output
    assert "tape_mm = 350.0" in result.output
    monkeypatch.setattr(tool, "pick", lambda image: points[::-1])
    result = CliRunner().invoke(corners, [str(folder)])
    assert isinstance(result.exception, WetlineError)
    monkeypatch.setattr(tool, "pick", lambda image: None)
    assert CliRunner().invoke(corners, [str(folder)]).exit_code == 1


def test_sheet_command(tmp_path):
    folder = panel_folder(tmp_path)
    result = CliRunner().invoke(sheet, [str(folder), "--paper", "letter"])
    assert result.exit_code == 0, result.output
    assert "100 %" in result.output
    assert (folder / "results" / "scale_sheet.pdf").read_bytes().startswith(b"%PDF")
    out = tmp_path / "own.pdf"
    result = CliRunner().invoke(
        sheet, ["--length", "40 in", "--width", "200", "--output", str(out)]
    )
    assert result.exit_code == 0, result.output
    assert out.is_file()
    result = CliRunner().invoke(sheet, ["--length", "wide"])
    assert isinstance(result.exception, WetlineError)


@pytest.mark.parametrize("name", ["DISPLAY", "WAYLAND_DISPLAY"])
def test_display_is_known_from_the_environment(monkeypatch, name):
    monkeypatch.setattr(tool.sys, "platform", "linux")
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    assert not tool.has_display()
    monkeypatch.setenv(name, ":0")
    assert tool.has_display()


def test_corners_of_another_photo_are_for_the_record(tmp_path):
    photo = tmp_path / "face.png"
    cv2.imwrite(str(photo), np.full((300, 400, 3), 90, np.uint8))
    result = CliRunner().invoke(corners, [str(tmp_path), str(photo), "--no-window"])
    assert result.exit_code == 0, result.output
    assert "--corners" in result.output
    assert (tmp_path / "results" / "face_grid.png").is_file()
    assert "corners_px" not in result.output
