"""Lines on a photo: planned dashed, seen solid, unseen dotted, each with words."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.infusion.answer import photo_lines
from analysis.infusion.answer.photo_lines import draw_photo, to_px
from tests.made_up.infusion_answers import even_run, grey_photo, late_run, unusable_run


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    return late_run(tmp_path_factory.mktemp("late"))


def share(image, near, planned):
    """Return the share of rows, in a band of columns, that hold a planned or a seen line."""
    band = image[70:290, near - 4 : near + 5].astype(int)
    bluer = band[..., 0] - band[..., 2]
    return float(((bluer if planned else -bluer) > 50).any(axis=1).mean())


def test_points_go_to_pixels_by_the_homography():
    plane = np.array([[2.0, 0, 10], [0, 2.0, 20], [0, 0.001, 1]])
    assert to_px(plane, np.array([[5.0, 100.0]])) == pytest.approx(
        np.array([[20 / 1.1, 220 / 1.1]])
    )


def test_lines_are_bent_as_the_lens_bends_them(run, monkeypatch):
    # Brown (1971): what stands r focal lengths from the middle is seen at r (1 + k r^2).
    lens = (np.array([[500.0, 0, 300], [0, 500.0, 180], [0, 0, 1]]), np.array([-0.2, 0, 0, 0, 0]))
    drawn = []
    monkeypatch.setattr(photo_lines, "stroke", lambda image, points, *a: drawn.append(points))
    seen = replace(run.seen, lens=lens)
    draw_photo(replace(run, seen=seen), grey_photo(), len(seen.frames) - 1)
    straight = to_px(seen.homographies[-1], run.job.plan.outline_mm[:1])[0]
    away = (straight - [300, 180]) / 500
    assert drawn[0][0] == pytest.approx([300, 180] + 500 * away * (1 - 0.2 * away @ away))
    assert np.hypot(*(drawn[0][0] - straight)) > 5
    middles = np.abs(np.diff(drawn[0][:25], n=2, axis=0)).max()  # a side is bent, not straight
    assert middles > 1e-3


def test_the_seen_line_is_whole_and_the_planned_one_dashed(tmp_path, monkeypatch):
    monkeypatch.setattr(photo_lines, "_label", lambda *args: None)
    run = even_run(tmp_path, factor=0.7, noise_s=0.0, last_s=2400.0)
    image = draw_photo(run, grey_photo(), len(run.seen.frames) - 1)
    full_s = run.planned.vented_time_s  # x = sqrt(k t); the lines are those of 20 and 40 min

    def column(time_s):
        return round(60 + 0.8 * 600 * np.sqrt(time_s / full_s))

    assert share(image, column(1200 / 0.7), planned=False) > 0.95
    assert 0.3 < share(image, column(1200), planned=True) < 0.75


def test_what_was_not_seen_is_dotted_and_named(tmp_path, monkeypatch):
    words = []
    kept = photo_lines.write
    monkeypatch.setattr(
        photo_lines, "write", lambda *a, **k: (words.append(a[1]), kept(*a, **k))[1]
    )
    run = even_run(tmp_path, hidden=lambda x, y: y > 150)
    draw_photo(run, grey_photo(), len(run.seen.frames) - 1)
    assert "filled in, not seen: dotted" in words
    assert {"planned: dashed", "seen: solid"} <= set(words)
    assert any(text.startswith("planned ") and "min" in text for text in words)


def test_a_photo_without_the_part_or_without_a_measurement_says_so(run, tmp_path, monkeypatch):
    said = []
    kept = photo_lines.draw_title
    monkeypatch.setattr(
        photo_lines, "draw_title", lambda *a, **k: (said.extend(a[1]), kept(*a, **k))[1]
    )
    planes = run.seen.homographies.copy()
    planes[3] = np.nan
    lost = replace(run, seen=replace(run.seen, homographies=planes))
    image = draw_photo(lost, grey_photo(), 3)
    assert (image != grey_photo()).any()
    draw_photo(unusable_run(tmp_path), grey_photo(), 3)
    assert "the part was not found here" in said
    assert "nothing could be measured" in said


def test_the_photo_itself_is_left_as_it_was(run):
    photo = grey_photo()
    draw_photo(run, photo, 5)
    assert (photo == 128).all()
