"""The tracker on a made-up panel whose front runs as x = sqrt(120 mm2/s t)."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.made_up.live_run import CORNERS, LENGTH_MM, WIDTH_MM, front_mm, picture, write_panel
from tests.vision.front.test_front_curve import measured, straight
from vision.tracking.api import track, track_images
from vision.tracking.tracker import corrected

TIMES_S = np.arange(-60.0, 500.0, 20.0)


def covered(seed):
    return np.random.default_rng(seed).integers(0, 9, (356, 600, 3)).astype(np.uint8)


def run_with(shown):
    return track_images(shown, TIMES_S, CORNERS, LENGTH_MM, WIDTH_MM)


def test_a_covered_lens_for_most_of_the_run_gives_no_numbers():
    shown = [picture(t) if k < 8 else covered(k) for k, t in enumerate(TIMES_S)]
    run = run_with(shown)
    assert not run.front.usable
    assert "could not be found again in most frames" in run.front.reason
    assert not run.curve.used.any()


def test_a_lens_covered_from_the_second_frame_on_is_said_so():
    run = run_with([picture(TIMES_S[0]), *(covered(k) for k in range(len(TIMES_S) - 1))])
    assert run.arrival is None
    assert not run.front.usable
    assert np.isnan(run.curve.front_mean_mm).all()


def test_a_lens_covered_for_some_frames_costs_those_frames():
    shown = [covered(k) if 12 <= k < 15 else picture(t) for k, t in enumerate(TIMES_S)]
    run = run_with(shown)
    assert not run.curve.used[12:15].any()
    truth = np.array([front_mm(t) for t in TIMES_S])
    assert np.abs(run.curve.front_mean_mm - truth)[run.curve.used].max() < 2.0


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = write_panel(tmp_path_factory.mktemp("fixed") / "panel")
    text = (place / "panel.toml").read_text(encoding="utf-8")
    (place / "panel.toml").write_text(text + "[frames]\ninterval_s = 20\n", encoding="utf-8")
    (place / "frames").mkdir()
    for k, time_s in enumerate(TIMES_S):
        cv2.imwrite(str(place / "frames" / f"{k:03d}.png"), picture(time_s))
    return place


def test_points_by_hand_are_taken_as_the_truth(folder):
    (folder / "fix.csv").write_text(
        "time_s,x_mm,y_mm,line\n200,120,0,a\n200,120,160,a\n", encoding="utf-8"
    )
    run = track(folder)
    (folder / "fix.csv").unlink()
    plain = track(folder)
    told = [text for text in run.front.warnings if text.startswith("the front was corrected")]
    assert len(told) == 1
    assert "the farthest from what the camera saw is" in told[0]
    at = np.interp(200.0, run.curve.time_s, run.curve.front_mean_mm)
    assert at == pytest.approx(120.0, abs=3.0)
    assert np.interp(200.0, plain.curve.time_s, plain.curve.front_mean_mm) > 145.0


def in_doubt():
    # The start is found 19 s early, as a run does whose light was read as wetting.
    run = measured(straight())
    return replace(run, start_s=-19.0, stack_s=run.stack_s + 19.0, doubts=("light",))


def test_three_points_rescue_a_run_whose_start_was_misread_too():
    x_mm = np.array([60.0, 110.0, 160.0])
    points = np.stack([19.0 + x_mm**2 / 100, x_mm, np.full(3, 30.0)], axis=1)
    run = corrected(in_doubt(), points, None)
    assert run.doubts == ()
    assert run.start_s == pytest.approx(0.0)
    assert run.start_sd_s > 0
    at_mm = (np.arange(200) + 0.5) ** 2
    wet = np.isfinite(run.arrival.time_s[0])
    np.testing.assert_allclose(run.arrival.time_s[0][wet], at_mm[wet] / 100, rtol=1e-6)
    given = corrected(replace(in_doubt(), start_s=0.0), points - [19.0, 0.0, 0.0], 0.0)
    assert given.start_s == 0.0
    assert given.start_sd_s == 0.0


def test_points_that_tell_no_start_rescue_nothing():
    points = np.array([[100.0, 60.0, 30.0], [130.0, 60.0, 50.0]])
    assert corrected(in_doubt(), points, None).doubts == ("light",)
